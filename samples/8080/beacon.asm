; The beacon on Kestrel Rock, on the 8080.
;
; The board: ROM from 0000, RAM from 8000 to 80FF, port 10 for the lamp and the bell (out) and the tide gauge (in).
;
; Who lives where:  HL place in the table   B ticks left   C lines out   E level, DE delay

        TARGET 8080
        INCLUDE "../shared/kestrel.inc"

OUTPUTS EQU 0x10                ; writing
GAUGE   EQU 0x10                ; reading the same port
QUARTER EQU 20822               ; passes of 24 states: a quarter of a second at 2 MHz

        ORG 0x8000              ; RAM; nothing of this is in the ROM
turns:  DS 1                    ; turns of the character, modulo 256
highest: DS 1                   ; the log: highest level, and the turn in which it came
when:   DS 1

        ORG 0x0000
start:  DI                      ; no device asks for an interrupt
        JMP main

        ORG 0x0038              ; RST 7 is FF, which is also what an empty ROM reads:
        JMP start               ; whoever runs off the program is brought home

        ORG 0x0040
main:   LXI SP,0x8100           ; the first byte goes to 80FF
        XRA A
        STA turns
        STA highest
        STA when
        MOV C,A                 ; dark and silent

character:
        LXI H,table
.step:  MOV A,M
        ORA A                   ; MOV sets no flags
        JZ .round               ; a duration of 0 is the end
        MOV B,A
        MOV A,C
        XRI LAMP                ; on, off, on, off
        MOV C,A
.hold:  CALL tick
        DCR B
        JNZ .hold
        INX H
        JMP .step
.round: LXI H,turns
        INR M
        JMP character

; One tick. Reads the gauge, sets lamp and bell, keeps the highest level, waits. Changes A and DE, and the bell in C.
tick:   PUSH H
        IN GAUGE                ; read once: the sea does not hold still between two looks
        MOV E,A
        MOV A,C
        ANI ~BELL
        MOV C,A
        MOV A,E
        CPI ALARM
        MOV A,C
        JC .quiet               ; carry 1: level - ALARM did borrow, the water is low
        ORI BELL
.quiet: MOV C,A
        OUT OUTPUTS             ; both lines change at once
        LXI H,highest
        MOV A,M
        CMP E
        JNC .wait               ; carry 0: highest - level did not borrow, nothing new
        MOV M,E
        LDA turns
        STA when
.wait:  LXI D,QUARTER
.count: DCX D                   ; sets no flags, so
        MOV A,D
        ORA E                   ; ask both halves whether they are zero
        JNZ .count
        POP H
        RET

; On and off in turn, the lamp being off before the first.
table:  DB BRIEF, PAUSE, BRIEF, PAUSE, LONG, DARK
last:   DB 0
        ASSERT (last - table) % 2 == 0, "a turn must end in the dark"
