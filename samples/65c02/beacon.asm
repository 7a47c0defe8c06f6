; The beacon on Kestrel Rock, on the 65C02.
;
; The board is that of the 6502: RAM from 0000 to 01FF (page zero and the stack), one register for the lamp and the bell
; at 8000, the tide gauge at 8001, ROM from F000 upward. The program is shorter for what the later chip adds: STZ, BRA,
; TSB and TRB, PHX and PLX, DEC A, and a pointer that needs no index.

        TARGET 65c02
        INCLUDE "../shared/kestrel.inc"

OUTPUTS EQU 0x8000
GAUGE   EQU 0x8001
QUARTER EQU 195                 ; passes of 1284 cycles: a quarter of a second at 1 MHz

        ORG 0x0000              ; page zero; nothing of this is in the ROM
lines:  DS 1                    ; what the lamp and the bell were told last
turns:  DS 1                    ; turns of the character, modulo 256
highest: DS 1                   ; the log: highest level, and the turn in which it came
when:   DS 1
place:  DS 2                    ; place in the table, low byte first

        ORG 0xF000
start:  LDX #0xFF               ; no CLD: on this chip a reset ends decimal mode
        TXS                     ; stack from 01FF downward
        STZ lines               ; dark and silent
        STZ turns
        STZ highest
        STZ when

character:
        LDA #LOW table
        STA place
        LDA #HIGH table
        STA place + 1
.step:  LDA (place)
        BEQ .round              ; a duration of 0 is the end
        TAX                     ; ticks
        LDA lines
        EOR #LAMP               ; on, off, on, off
        STA lines
.hold:  JSR tick
        DEX
        BNE .hold
        INC place               ; the low byte alone: the table lies within one page
        BRA .step
.round: INC turns
        BRA character

; One tick. Reads the gauge, sets lamp and bell, keeps the highest level, waits. Changes A; X stays as it is.
tick:   PHX
        LDX GAUGE               ; read once: the sea does not hold still between two looks
        LDA #BELL
        TRB lines               ; clears in memory the bits that are 1 in A,
        CPX #ALARM
        BCC .quiet              ; carry 0: X - ALARM did borrow, the water is low
        TSB lines               ; and sets them
.quiet: LDA lines
        STA OUTPUTS             ; both lines change at once
        CPX highest
        BCC .wait               ; lower,
        BEQ .wait               ; or the same: nothing new
        STX highest
        LDA turns
        STA when
.wait:  LDA #QUARTER
        LDX #0
.count: DEX
        BNE .count              ; 256 times round,
        DEC A
        BNE .count              ; QUARTER times over
        PLX
.done:  RTS
        ASSERT HIGH .count == HIGH .done, "a branch across a page border takes longer"

; On and off in turn, the lamp being off before the first.
table:  DB BRIEF, PAUSE, BRIEF, PAUSE, LONG, DARK
last:   DB 0
        ASSERT (last - table) % 2 == 0, "a turn must end in the dark"
        ASSERT HIGH table == HIGH last, "INC place does not carry into the high byte"

nobody: RTI                     ; no device asks for an interrupt; if one comes all the same, go on

        ORG 0xFFFA
        DW nobody               ; NMI
        DW start                ; reset
        DW nobody               ; IRQ and BRK
