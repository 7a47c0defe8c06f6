; source: Z-80 CPU Technical Manual, listings BUBBLE and MULTIPLY, Zilog; read: a public typed copy of both with their object code
; Both are printed at 0000. Nothing in MULTIPLY depends on where it stands; it is put at 0100 here.
; Printed JR NC,NOEX-$ and the like: the distance from the instruction is what a label means here.
        TARGET z80
FLAG    EQU 0

; *** STANDARD EXCHANGE (BUBBLE) SORT ROUTINE ***
; AT ENTRY: HL CONTAINS ADDRESS OF DATA, C CONTAINS NUMBER OF ELEMENTS TO BE SORTED (1<C<256)
; AT EXIT: DATA SORTED IN ASCENDING ORDER
        ORG 0x0000
SORT:   LD   (DATA),HL
LOOP:   RES  FLAG,H
        LD   B,C
        DEC  B
        LD   IX,(DATA)
NEXT:   LD   A,(IX+0)       ; printed (IX)
        LD   D,A
        LD   E,(IX+1)
        SUB  E
        JR   NC,NOEX
        LD   (IX+0),E       ; printed (IX)
        LD   (IX+1),D
        SET  FLAG,H
NOEX:   INC  IX
        DJNZ NEXT
        BIT  FLAG,H
        JR   NZ,LOOP
        HALT
DATA:   DS   2

; UNSIGNED SIXTEEN BIT INTEGER MULTIPLY
; ON ENTRANCE: MULTIPLIER IN DE, MULTIPLICAND IN HL. ON EXIT: RESULT IN HL
        ORG 0x0100
MULT:   LD   B,16
        LD   C,D
        LD   A,E
        EX   DE,HL
        LD   HL,0
MLOOP:  SRL  C
        RRA
        JR   NC,NOADD
        ADD  HL,DE
NOADD:  EX   DE,HL
        ADD  HL,HL
        EX   DE,HL
        DJNZ MLOOP
        HALT
        END
