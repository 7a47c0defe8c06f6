; The beacon on Kestrel Rock, on the 8085.
;
; The board: ROM from 0000, RAM from 8000 to 80FF. The lamp hangs on the chip's own line SOD, the bell on bit 1 of port
; 10. The tide gauge is port 10 when it is read. The line SID is a button: the bell rings while somebody holds it down.
;
; Who lives where:  HL place in the table   B ticks left   C lines out   E level, DE delay

        TARGET 8085
        INCLUDE "../shared/kestrel.inc"
        ASSERT LAMP == 1, "one rotation to the right brings the lamp to bit 7"

OUTPUTS EQU 0x10                ; writing
GAUGE   EQU 0x10                ; reading the same port
SET_SOD EQU 0x40                ; for SIM: let bit 7 go to SOD
QUARTER EQU 31230               ; passes of 24 states: a quarter of a second at 3 MHz (a crystal of 6 MHz)

        ORG 0x8000              ; RAM; nothing of this is in the ROM
turns:  DS 1                    ; turns of the character, modulo 256
highest: DS 1                   ; the log: highest level, and the turn in which it came
when:   DS 1

        ORG 0x0000
start:  DI                      ; no device asks for an interrupt
        JMP main

        ORG 0x0024              ; TRAP, which DI does not stop; nobody is wired to it
        RET

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
        RRC                     ; the lamp to bit 7
        ANI 0x80
        ORI SET_SOD
        SIM                     ; bits 3 and 4 are 0: the interrupt masks are not touched
.hold:  CALL tick
        DCR B
        JNZ .hold
        INX H
        JMP .step
.round: LXI H,turns
        INR M
        JMP character

; One tick. Reads gauge and button, sets the bell, keeps the highest level, waits. Changes A and DE, and the bell in C.
tick:   PUSH H
        IN GAUGE                ; read once: the sea does not hold still between two looks
        MOV E,A
        RIM
        RAL                     ; SID is bit 7; now it is the carry
        JC .ring
        MOV A,E
        CPI ALARM
        JNC .ring               ; carry 0: level - ALARM did not borrow, the water is high
        MOV A,C
        ANI ~BELL
        JMP .out
.ring:  MOV A,C
        ORI BELL
.out:   MOV C,A
        OUT OUTPUTS
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
