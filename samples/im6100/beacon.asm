; The beacon on Kestrel Rock, on the IM6100. Addresses and words are octal, as the maker writes them.
;
; The board: RAM everywhere, filled before the chip is let go; a subroutine keeps its way back in its own first word. Device 40
; is the board: command 1 adds the tide gauge to the accumulator bit by bit, command 2 puts the accumulator's lowest bits out,
; bit 11 to the lamp and bit 10 to the bell. Nobody asks for an interrupt.
;
; The accumulator is 0 wherever a step begins: DCA stores it and clears it.

        TARGET im6100
        INCLUDE "../shared/kestrel.inc"
        ASSERT LAMP == 1, "lit is 0 or 1 and is the lamp"

BOARD   EQU 0o40
GAUGE   EQU 1
OUTPUTS EQU 2
; A quarter of a second at 4 MHz: rounds of 26 states, FIRST of them and then four times 4096.
FIRST   EQU 2834

        ORG 0o0010              ; eight words that count by themselves when they are used with I
next:   DS 1                    ; place in the table

        ORG 0o0020              ; page 0 is seen from everywhere
turns:  DS 1                    ; turns of the character, modulo 4096
highest: DS 1                   ; the log: highest level, and the turn in which it came
when:   DS 1
lit:    DS 1                    ; whether the lamp is
level:  DS 1
ticks:  DS 1                    ; left of a step, negative
fine:   DS 1
coarse: DS 1

behind: DB table - 1            ; there is no immediate data
alarm:  DB -ALARM
bell:   DB BELL
first:  DB 4096 - FIRST
five:   DB -5

; One tick. Reads the gauge, sets lamp and bell, keeps the highest level, waits. The accumulator is 0 before and after.
tick:   DB 0                    ; JMS puts the way back here
        IOT BOARD,GAUGE         ; read once: the sea does not hold still between two looks
        DCA level
        TAD level
        TAD alarm
        SMA CLA                 ; minus: the water is low
        TAD bell
        TAD lit
        IOT BOARD,OUTPUTS       ; both lines change at once
        CLA
        TAD highest
        CIA
        TAD level               ; level - highest
        SPA SNA CLA             ; plus, and not zero: something new
        JMP .wait
        TAD level
        DCA highest
        TAD turns
        DCA when
.wait:  TAD first
        DCA fine
        TAD five
        DCA coarse
.count: ISZ fine                ; counts up, and skips at 0
        JMP .count
        ISZ coarse
        JMP .count
        JMP I tick

        ORG 0o7600              ; the page of the chip's first instruction
main:   CLA CLL
        DCA turns
        DCA highest
        DCA when
        DCA lit

character:
        TAD behind
        DCA next
.step:  TAD I next              ; next is counted up, then used
        SNA
        JMP .round              ; a duration of 0 is the end
        CIA
        DCA ticks
        TAD lit
        CIA                     ; 0 stays 0, 1 becomes -1
        IAC                     ; on, off, on, off
        DCA lit
.hold:  JMS tick
        ISZ ticks
        JMP .hold
        JMP .step
.round: ISZ turns
        NOP                     ; skipped once in 4096 turns
        JMP character

; On and off in turn, the lamp being off before the first.
table:  DB BRIEF, PAUSE, BRIEF, PAUSE, LONG, DARK
last:   DB 0
        ASSERT (last - table) % 2 == 0, "a turn must end in the dark"

        ORG 0o7777              ; where the chip begins after a reset
start:  JMP main
