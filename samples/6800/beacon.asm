; The beacon on Kestrel Rock, on the 6800.
;
; The board: RAM from 0000 to 00FF (data and stack), one register for the lamp and the bell at 8000, the tide gauge at 8001,
; ROM from F000 upward.

        TARGET 6800
        INCLUDE "../shared/kestrel.inc"

OUTPUTS EQU 0x8000
GAUGE   EQU 0x8001
QUARTER EQU 31240               ; passes of 8 cycles: a quarter of a second at 1 MHz

        ORG 0x0000              ; within reach of one byte of address; nothing of this is in the ROM
lines:  DS 1                    ; what the lamp and the bell were told last
turns:  DS 1                    ; turns of the character, modulo 256
highest: DS 1                   ; the log: highest level, and the turn in which it came
when:   DS 1
place:  DS 2                    ; keeps X: no instruction pushes it

        ORG 0xF000
start:  LDS #0x00FF             ; the first byte that is pushed goes to 00FF
        CLRA
        STAA lines              ; dark and silent; CLR has no form with one byte of address, STAA has
        STAA turns
        STAA highest
        STAA when

character:
        LDX #table
.step:  LDAB 0,X                ; ticks
        BEQ .round              ; a duration of 0 is the end
        LDAA lines
        EORA #LAMP              ; on, off, on, off
        STAA lines
.hold:  BSR tick
        DECB
        BNE .hold
        INX
        BRA .step
.round: INC turns
        BRA character

; One tick. Reads the gauge, sets lamp and bell, keeps the highest level, waits. Changes A; B and X stay as they are.
tick:   PSHB
        STX place
        LDAB GAUGE              ; read once: the sea does not hold still between two looks
        LDAA lines
        ANDA #~BELL
        CMPB #ALARM
        BCS .quiet              ; carry 1: B - ALARM did borrow, the water is low
        ORAA #BELL
.quiet: STAA lines
        STAA OUTPUTS            ; both lines change at once
        CMPB highest
        BLS .wait               ; lower or the same: nothing new
        STAB highest
        LDAA turns
        STAA when
.wait:  LDX #QUARTER
.count: DEX                     ; sets the zero flag
        BNE .count
        LDX place
        PULB
        RTS

; On and off in turn, the lamp being off before the first.
table:  DB BRIEF, PAUSE, BRIEF, PAUSE, LONG, DARK
last:   DB 0
        ASSERT (last - table) % 2 == 0, "a turn must end in the dark"

nobody: RTI                     ; no device asks for an interrupt; if one comes all the same, go on

        ORG 0xFFF8
        DW nobody               ; IRQ
        DW nobody               ; SWI
        DW nobody               ; NMI
        DW start                ; reset
