; The beacon on Kestrel Rock, on the 8008, in the later names. Line by line the program of the folder 8008; the bytes
; are the same.
;
; The board: ROM from 0000, RAM from 1000 to 10FF, output 8 for the lamp and the bell, input 0 for the tide gauge. After
; power on the board asks for one interrupt and hands the chip RST 0, which calls 0000. The stack is inside the chip and
; holds seven addresses; there is nothing to set up. Memory is reached through H and L only.
;
; Who lives where:  E place in the table   B ticks left   C lines out   D level   H L addresses, and the delay

        TARGET 8008-new
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
main:   MVI H,HIGH turns
        MVI L,LOW turns
        XRA A                   ; A = 0
        MOV M,A
        INR L                   ; highest
        MOV M,A
        INR L                   ; when
        MOV M,A
        MOV C,A                 ; dark and silent

character:
        MVI E,LOW table
.step:  MVI H,HIGH table
        MOV L,E
        MOV A,M
        ANA A                   ; MOV sets no flags
        JZ .round               ; a duration of 0 is the end
        MOV B,A
        MOV A,C
        XRI LAMP                ; on, off, on, off
        MOV C,A
.hold:  CALL tick
        DCR B
        JNZ .hold
        INR E                   ; E alone: the table lies within 256 bytes
        JMP .step
.round: MVI H,HIGH turns
        MVI L,LOW turns
        MOV B,M
        INR B                   ; there is no INR M on this chip
        MOV M,B
        JMP character

; One tick. Reads the gauge, sets lamp and bell, keeps the highest level, waits. Changes A, D, H, L, and the bell in C.
tick:   IN GAUGE                ; read once: the sea does not hold still between two looks
        MOV D,A
        CPI ALARM
        MOV A,C                 ; flags stay
        JC .low                 ; carry 1: level - ALARM did borrow, the water is low
        ORI BELL
        JMP .out
.low:   ANI ~BELL
.out:   MOV C,A
        OUT OUTPUTS             ; both lines change at once
        MVI H,HIGH highest
        MVI L,LOW highest
        MOV A,M
        CMP D
        JNC .wait               ; carry 0: highest - level did not borrow, nothing new
        MOV M,D
        DCR L                   ; turns
        MOV A,M
        INR L
        INR L                   ; when
        MOV M,A
.wait:  MVI H,HIGH QUARTER
        MVI L,LOW QUARTER
.count: DCR L
        JNZ .count              ; 16 states; from the second pass on, 256 times
        DCR H
        JNZ .count
        RET

; On and off in turn, the lamp being off before the first.
table:  DB BRIEF, PAUSE, BRIEF, PAUSE, LONG, DARK
last:   DB 0
        ASSERT (last - table) % 2 == 0, "a turn must end in the dark"
        ASSERT HIGH table == HIGH last, "INR E does not carry into H"
        ASSERT HIGH turns == HIGH when, "nor does INR L"
