; The beacon on Kestrel Rock, on the Z80.
;
; The board: ROM from 0000, RAM from 8000 to 80FF, port 10 for the lamp and the bell (out) and the tide gauge (in).
;
; Who lives where:  HL place in the table   B ticks left   C lines out   D level, DE delay   IY always the log

        TARGET z80
        INCLUDE "../shared/kestrel.inc"

OUTPUTS EQU 0x10                ; writing
GAUGE   EQU 0x10                ; reading the same port
RAM     EQU 0x8000
QUARTER EQU 38450               ; passes of 26 T states: a quarter of a second at 4 MHz

; The log, as distances from IY.
TURNS   EQU 0                   ; turns of the character, modulo 256
HIGHEST EQU 1                   ; highest level
WHEN    EQU 2                   ; the turn in which it came

        ORG 0x0000
start:  DI
        JP main

        ORG 0x0038              ; RST 0x38 is FF, which is also what an empty ROM reads:
        JP start                ; whoever runs off the program is brought home

        ORG 0x0066              ; the interrupt that DI does not stop; nobody is wired to it
        RETN

        ORG 0x0080
main:   LD SP,RAM + 0x100       ; the first byte goes to 80FF
        LD IY,RAM
        XOR A
        LD (IY+TURNS),A
        LD (IY+HIGHEST),A
        LD (IY+WHEN),A
        LD C,A                  ; dark and silent

character:
        LD HL,table
.step:  LD A,(HL)
        OR A                    ; LD sets no flags
        JR Z,.round             ; a duration of 0 is the end
        LD B,A
        LD A,C
        XOR LAMP                ; on, off, on, off
        LD C,A
.hold:  CALL tick
        DJNZ .hold
        INC HL
        JR .step
.round: INC (IY+TURNS)
        JR character

; One tick. Reads the gauge, sets lamp and bell, keeps the highest level, waits. Changes A and DE, and the bell in C.
tick:   IN A,(GAUGE)            ; read once: the sea does not hold still between two looks
        LD D,A
        CP ALARM
        RES BELL_BIT,C          ; RES and SET leave the flags alone
        JR C,.quiet             ; carry 1: A - ALARM did borrow, the water is low
        SET BELL_BIT,C
.quiet: LD A,C
        OUT (OUTPUTS),A         ; both lines change at once
        LD A,(IY+HIGHEST)
        CP D
        JR NC,.wait             ; carry 0: highest - level did not borrow, nothing new
        LD (IY+HIGHEST),D
        LD A,(IY+TURNS)
        LD (IY+WHEN),A
.wait:  LD DE,QUARTER
.count: DEC DE                  ; sets no flags either, so
        LD A,D
        OR E                    ; ask both halves whether they are zero
        JR NZ,.count
        RET

; On and off in turn, the lamp being off before the first.
table:  DB BRIEF, PAUSE, BRIEF, PAUSE, LONG, DARK
last:   DB 0
        ASSERT (last - table) % 2 == 0, "a turn must end in the dark"
