; source: Z80 CPU manual, four programming examples (move, search, decimal shift, decimal subtraction), Zilog; from memory
; bytes assembled by hand from the maker's opcode table, from memory; the program's text as published
; The manual prints no addresses: the examples stand one behind the other here, and DATA, BUFFER, COUNT and LENGTH are chosen.
        TARGET z80
DATA    EQU 0x1000
BUFFER  EQU 0x2000
COUNT   EQU 8
ARG1    EQU 0x1000
ARG2    EQU 0x2000
LENGTH  EQU 8

        ORG  0x0000
; moves a string of 737 bytes
        LD   HL,DATA
        LD   DE,BUFFER
        LD   BC,737
        LDIR
; moves a string up to a '$', at most 132 bytes
        LD   HL,DATA
        LD   DE,BUFFER
        LD   BC,132
        LD   A,'$'
LOOP:   CP   (HL)
        JR   Z,DONE
        LDI
        JP   PE,LOOP
DONE:
; shifts a decimal number by one digit
        LD   HL,DATA
        LD   B,COUNT
        XOR  A
ROTAT:  RLD
        INC  HL
        DJNZ ROTAT
; subtracts one decimal number from another
        LD   HL,ARG1
        LD   DE,ARG2
        LD   B,LENGTH
        AND  A
SUBDEC: LD   A,(DE)
        SBC  A,(HL)
        DAA
        LD   (HL),A
        INC  HL
        INC  DE
        DJNZ SUBDEC
        END
