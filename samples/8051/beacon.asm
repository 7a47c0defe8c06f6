; The beacon on Kestrel Rock, on the 8051.
;
; The board: program from 0000. Port 1 has the lamp on line 0 and the bell on line 1, the tide gauge is outside data
; memory at 8000. A reset makes all lines of the ports high: for a moment the lamp is lit and the bell rings.
;
; Who lives where:  R0 place in the table   R7 ticks left   R2 level   R4 R5 R6 delay; the log is in the inside RAM

        TARGET 8051
        INCLUDE "../shared/kestrel.inc"
        ASSERT LAMP == 1 && BELL == 2, "the lamp is line 0 of port 1, the bell is line 1"

GAUGE   EQU 0x8000
QUARTER EQU 230 + 256           ; passes of 514 machine cycles: a quarter of a second at 12 MHz
        ASSERT LOW QUARTER != 0, "R5 = 0 would count 256 passes more"

turns   EQU 0x30                ; turns of the character, modulo 256
highest EQU 0x31                ; the log: highest level, and the turn in which it came
when    EQU 0x32

        ORG 0x0000
start:  LJMP main

        ORG 0x0030              ; behind the places that interrupts call; none is enabled after a reset
main:   ANL P1,#~(LAMP | BELL)  ; dark and silent
        MOV SP,#0x3F            ; the stack grows upward, the first byte goes to 40
        MOV turns,#0
        MOV highest,#0
        MOV when,#0

character:
        MOV R0,#0
.step:  MOV DPTR,#table
        MOV A,R0
        MOVC A,@A+DPTR
        JZ .round               ; a duration of 0 is the end
        MOV R7,A                ; ticks
        CPL P1.0                ; on, off, on, off
.hold:  ACALL tick
        DJNZ R7,.hold
        INC R0
        SJMP .step
.round: INC turns
        SJMP character

; One tick. Reads the gauge, sets the bell, keeps the highest level, waits. Changes A, carry, DPTR, R2, R4, R5 and R6.
tick:   MOV DPTR,#GAUGE
        MOVX A,@DPTR            ; read once: the sea does not hold still between two looks
        MOV R2,A
        CJNE A,#ALARM,.compared ; the jump does not matter, the carry does:
.compared:
        CPL C                   ; it was 1 for A below ALARM
        MOV P1.1,C              ; high water: ring
        MOV A,highest
        CLR C                   ; SUBB takes the carry as a borrow
        SUBB A,R2
        JNC .wait               ; highest - level did not borrow: nothing new
        MOV highest,R2
        MOV when,turns
.wait:  MOV R4,#0
        MOV R5,#LOW QUARTER
        MOV R6,#HIGH QUARTER + 1
.count: DJNZ R4,.count          ; 256 times round,
        DJNZ R5,.count          ; QUARTER times over
        DJNZ R6,.count
        RET

; On and off in turn, the lamp being off before the first.
table:  DB BRIEF, PAUSE, BRIEF, PAUSE, LONG, DARK
last:   DB 0
        ASSERT (last - table) % 2 == 0, "a turn must end in the dark"
