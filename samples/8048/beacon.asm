; The beacon on Kestrel Rock, on the 8048.
;
; The board: program from 000, inside or outside. Port 1 has the lamp on line 0 and the bell on line 1, the tide gauge answers
; on the bus when RD goes low. A reset makes all lines of port 1 high: for a moment the lamp is lit and the bell rings.
;
; Who lives where:  R0 address in the RAM   R2 place in the table   R3 level   R4 R5 delay   R7 ticks left   F0 lamp
; The log is in the inside RAM: R0..R7 lie at 00..07, the stack at 08..17, the other bank of registers at 18..1F.

        TARGET 8048
        INCLUDE "../shared/kestrel.inc"
        ASSERT LAMP == 1 && BELL == 2, "the lamp is line 0 of port 1, the bell is line 1"

QUARTER EQU 195                 ; passes of 514 machine cycles, the first one shorter: with 125 counts of 2
FIRST   EQU 125                 ; a quarter of a second at 6 MHz

turns   EQU 0x20                ; turns of the character, modulo 256
highest EQU 0x21                ; the log: highest level, and the turn in which it came
when    EQU 0x22

        ORG 0x000
start:  JMP main
        ORG 0x003
        RETR                    ; an interrupt comes here, that of the timer to 007; none is enabled after a reset
        ORG 0x007
        RETR

main:   ANL P1,#~(LAMP | BELL)  ; dark and silent; F0 is 0 after a reset
        MOV R0,#turns
        MOV @R0,#0
        INC R0                  ; highest
        MOV @R0,#0
        INC R0                  ; when
        MOV @R0,#0

character:
        MOV R2,#LOW table
.step:  MOV A,R2
        MOVP A,@A               ; out of the page in which this instruction lies
        JZ .round               ; a duration of 0 is the end
        MOV R7,A                ; ticks
        CPL F0                  ; on, off, on, off
        JF0 .lit
        ANL P1,#~LAMP
        JMP .hold
.lit:   ORL P1,#LAMP
.hold:  CALL tick
        DJNZ R7,.hold
        INC R2
        JMP .step
.round: MOV R0,#turns
        INC @R0
        JMP character

; One tick. Reads the gauge, sets the bell, keeps the highest level, waits. Changes A, carry, R0, R3, R4 and R5.
tick:   INS A,BUS               ; read once: the sea does not hold still between two looks
        MOV R3,A
        ADD A,#256 - ALARM      ; there is no instruction that subtracts; the carry is 1 from ALARM upward
        JC .high
        ANL P1,#~BELL
        JMP .log
.high:  ORL P1,#BELL
.log:   MOV R0,#highest
        MOV A,@R0
        CPL A
        ADD A,R3                ; 255 - highest + level: carry 1 if level is the higher one
        JNC .wait
        MOV A,R3
        MOV @R0,A
        MOV R0,#turns
        MOV A,@R0
        MOV R0,#when
        MOV @R0,A
.wait:  MOV R4,#FIRST
        MOV R5,#QUARTER
.count: DJNZ R4,.count          ; after the first pass 256 times round
        DJNZ R5,.count
        RET

; On and off in turn, the lamp being off before the first.
table:  DB BRIEF, PAUSE, BRIEF, PAUSE, LONG, DARK
last:   DB 0
        ASSERT (last - table) % 2 == 0, "a turn must end in the dark"
        ASSERT last < 0x100, "MOVP and the table must lie in one page"
