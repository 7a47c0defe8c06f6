; The beacon on Kestrel Rock, on the 8008.
;
; The board: ROM from 0000, RAM from 1000 to 10FF, output 8 for the lamp and the bell, input 0 for the tide gauge. After
; power on the board asks for one interrupt and hands the chip RST 0, which calls 0000. The stack is inside the chip and
; holds seven addresses; there is nothing to set up. Memory is reached through H and L only.
;
; Who lives where:  E place in the table   B ticks left   C lines out   D level   H L addresses, and the delay

        TARGET 8008
        INCLUDE "../shared/kestrel.inc"

OUTPUTS EQU 8
GAUGE   EQU 0
QUARTER EQU 0x102C              ; a quarter of a second at 500 kHz: the low half down to 0, then 15 times 256

        ORG 0x1000              ; RAM; nothing of this is in the ROM
turns:  DS 1                    ; turns of the character, modulo 256
highest: DS 1                   ; the log: highest level, and the turn in which it came
when:   DS 1

        ORG 0x0000
start:  JMP main

        ORG 0x0040              ; behind the eight places that RST calls
main:   LHI HIGH turns
        LLI LOW turns
        XRA                     ; A = 0
        LMA
        INL                     ; highest
        LMA
        INL                     ; when
        LMA
        LCA                     ; dark and silent

character:
        LEI LOW table
.step:  LHI HIGH table
        LLE
        LAM
        NDA                     ; loads set no flags
        JTZ .round              ; a duration of 0 is the end
        LBA
        LAC
        XRI LAMP                ; on, off, on, off
        LCA
.hold:  CAL tick
        DCB
        JFZ .hold
        INE                     ; E alone: the table lies within 256 bytes
        JMP .step
.round: LHI HIGH turns
        LLI LOW turns
        LBM
        INB                     ; memory cannot be counted up where it is
        LMB
        JMP character

; One tick. Reads the gauge, sets lamp and bell, keeps the highest level, waits. Changes A, D, H, L, and the bell in C.
tick:   INP GAUGE               ; read once: the sea does not hold still between two looks
        LDA                     ; not a load from an address: D = A
        CPI ALARM
        LAC                     ; flags stay
        JTC .low                ; carry 1: level - ALARM did borrow, the water is low
        ORI BELL
        JMP .out
.low:   NDI ~BELL
.out:   LCA
        OUT OUTPUTS             ; both lines change at once
        LHI HIGH highest
        LLI LOW highest
        LAM
        CPD
        JFC .wait               ; carry 0: highest - level did not borrow, nothing new
        LMD
        DCL                     ; turns
        LAM
        INL
        INL                     ; when
        LMA
.wait:  LHI HIGH QUARTER
        LLI LOW QUARTER
.count: DCL
        JFZ .count              ; 16 states; from the second pass on, 256 times
        DCH
        JFZ .count
        RET

; On and off in turn, the lamp being off before the first.
table:  DB BRIEF, PAUSE, BRIEF, PAUSE, LONG, DARK
last:   DB 0
        ASSERT (last - table) % 2 == 0, "a turn must end in the dark"
        ASSERT HIGH table == HIGH last, "INE does not carry into H"
        ASSERT HIGH turns == HIGH when, "nor does INL"
