; The beacon on Kestrel Rock, on the 6809.
;
; The board: RAM from 0000 to 00FF (direct page and stack), one register for the lamp and the bell at 8000, the tide gauge
; at 8001, ROM from F000 upward. But for its vectors and I/O the program does not mind where it lies.

        TARGET 6809
        INCLUDE "../shared/kestrel.inc"

OUTPUTS EQU 0x8000
GAUGE   EQU 0x8001
QUARTER EQU 31240               ; passes of 8 cycles: a quarter of a second at 1 MHz (a crystal of 4 MHz)

        ORG 0x0000              ; the direct page; nothing of this is in the ROM
lines:  DS 1                    ; what the lamp and the bell were told last
turns:  DS 1                    ; turns of the character, modulo 256
highest: DS 1                   ; the log: highest level, and the turn in which it came
when:   DS 1

        ORG 0xF000
start:  ORCC #0x50              ; no device asks for an interrupt
        LDS #0x0100             ; stack from 00FF downward
        CLRA
        TFR A,DP                ; direct addresses are in page 0
        CLR <lines              ; dark and silent
        CLR <turns
        CLR <highest
        CLR <when

character:
        LEAX table,PCR          ; wherever the table is, seen from here
.step:  LDB ,X+                 ; ticks
        BEQ .round              ; a duration of 0 is the end
        LDA <lines
        EORA #LAMP              ; on, off, on, off
        STA <lines
.hold:  BSR tick
        DECB
        BNE .hold
        BRA .step
.round: INC <turns
        BRA character

; One tick. Reads the gauge, sets lamp and bell, keeps the highest level, waits. Changes A; B and X stay as they are.
tick:   PSHS B,X
        LDB >GAUGE              ; read once: the sea does not hold still between two looks
        LDA <lines
        ANDA #~BELL
        CMPB #ALARM
        BCS .quiet              ; carry 1: B - ALARM did borrow, the water is low
        ORA #BELL
.quiet: STA <lines
        STA >OUTPUTS            ; both lines change at once
        CMPB <highest
        BLS .wait               ; lower or the same: nothing new
        STB <highest
        LDA <turns
        STA <when
.wait:  LDX #QUARTER
.count: LEAX -1,X               ; sets the zero flag
        BNE .count
        PULS B,X                ; both registers back in one stroke
        RTS

; On and off in turn, the lamp being off before the first.
table:  DB BRIEF, PAUSE, BRIEF, PAUSE, LONG, DARK
last:   DB 0
        ASSERT (last - table) % 2 == 0, "a turn must end in the dark"

nobody: RTI                     ; no device asks for an interrupt; if one comes all the same, go on

        ORG 0xFFF2
        DW nobody               ; SWI3
        DW nobody               ; SWI2
        DW nobody               ; FIRQ
        DW nobody               ; IRQ
        DW nobody               ; SWI
        DW nobody               ; NMI
        DW start                ; reset
