; The beacon on Kestrel Rock, on the 6502.
;
; The board: RAM from 0000 to 01FF (page zero and the stack), one register for the lamp and the bell at 8000, the tide
; gauge at 8001, ROM from F000 upward.

        TARGET 6502
        INCLUDE "../shared/kestrel.inc"

OUTPUTS EQU 0x8000
GAUGE   EQU 0x8001
QUARTER EQU 195                 ; passes of 1284 cycles: a quarter of a second at 1 MHz

        ORG 0x0000              ; page zero; nothing of this is in the ROM
lines:  DS 1                    ; what the lamp and the bell were told last
turns:  DS 1                    ; turns of the character, modulo 256
highest: DS 1                   ; the log: highest level, and the turn in which it came
when:   DS 1

        ORG 0xF000
start:  CLD                     ; a reset does not end decimal mode on this chip
        LDX #0xFF
        TXS                     ; stack from 01FF downward
        INX                     ; X = 0
        STX lines               ; dark and silent
        STX turns
        STX highest
        STX when

character:
        LDX #0                  ; place in the table
.step:  LDA table,X
        BEQ .round              ; a duration of 0 is the end
        TAY                     ; ticks
        LDA lines
        EOR #LAMP               ; on, off, on, off
        STA lines
.hold:  JSR tick
        DEY
        BNE .hold
        INX
        BNE .step               ; always: the table is short, X does not come round to 0
.round: INC turns
        JMP character

; One tick. Reads the gauge, sets lamp and bell, keeps the highest level, waits. X and Y stay as they are.
tick:   TXA
        PHA
        TYA
        PHA
        LDX GAUGE               ; read once: the sea does not hold still between two looks
        LDA lines
        AND #~BELL
        CPX #ALARM
        BCC .quiet              ; carry 0: X - ALARM did borrow, the water is low
        ORA #BELL
.quiet: STA lines
        STA OUTPUTS             ; both lines change at once
        CPX highest
        BCC .wait               ; lower,
        BEQ .wait               ; or the same: nothing new
        STX highest
        LDA turns
        STA when
.wait:  LDY #QUARTER
        LDX #0
.count: DEX
        BNE .count              ; 256 times round,
        DEY
        BNE .count              ; QUARTER times over
        PLA
        TAY
        PLA
        TAX
.done:  RTS
        ASSERT HIGH .count == HIGH .done, "a branch across a page border takes longer"

; On and off in turn, the lamp being off before the first.
table:  DB BRIEF, PAUSE, BRIEF, PAUSE, LONG, DARK
last:   DB 0
        ASSERT (last - table) % 2 == 0, "a turn must end in the dark"

nobody: RTI                     ; no device asks for an interrupt; if one comes all the same, go on

        ORG 0xFFFA
        DW nobody               ; NMI
        DW start                ; reset
        DW nobody               ; IRQ and BRK
