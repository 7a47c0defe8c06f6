; Recovered from mended.txt, a typed listing, for the MOS Technology 6502, 8-bit microprocessor (MCS6500 family).
; Of its 73 words 56 are code, 17 are data, and to 0 nothing leads.

            TARGET 6502

left        EQU 0x0010                  ; of a pause, in RAM
HORN        EQU 0x8000                  ; at 0x0305, 0x031F, 0x0327
SIGHT       EQU 0x8001                  ; how far one can see

            ORG 0x0300

; THE FOGHORN OF KESTREL ROCK - typed from the keeper's notebook
START:      LDX #0xFF                   ; stack from 01FF down
            TXS
            LDA #0x00
            STA HORN                    ; horn off
WATCH:      LDA SIGHT                   ; how far can we see?; from 0x030D, 0x0314
            CMP #0x60
            BCS WATCH                   ; far enough
            LDX #0x00
CALL:       LDA TIMES,X                 ; from 0x031A
            BEQ WATCH
            JSR BLAST
            INX
            BNE CALL

; called at 0x0316 in CALL
BLAST:      TAY                         ; A: how long
            LDA #0x01
            STA HORN                    ; horn on
            JSR PAUSE
            LDA #0x00
            STA HORN                    ; horn off
            LDY #0x04

; called at 0x0322 in BLAST
PAUSE:      LDA #0xFA                   ; Y: how long
            STA left
go_0330:    DEC left                    ; from 0x0332
            BNE go_0330
            DEY
            BNE PAUSE
            RTS

; used at 0x0311 in CALL
TIMES:      DB 0x02, 0x02, 0x08, 0x00   ; of the blasts; 0 ends them

keeper:     DB "KESTREL ROCK", 0x0D
