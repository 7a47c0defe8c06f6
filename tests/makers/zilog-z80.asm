; maker: Zilog, as in the Z80 Assembly Language Programming Manual
; from memory: the manner of the listing, the opcodes; the program is made up, its bytes were put together by hand
; differs from print: the line TARGET
        TARGET Z80
CR:     EQU  0DH
LEVEL:  DEFL 5              ; given anew below
        ORG  2000H
START:  LD   SP,STACK
        LD   HL,TEXT
        LD   DE,BUFF
NEXT:   LD   A,(HL)
        CP   CR
        JR   Z,DONE
        AND  7FH
        CP   'A'
        JR   C,SKIP
        XOR  LEVEL
SKIP:   LD   (DE),A
        INC  HL
        INC  DE
        JP   NEXT
LEVEL:  DEFL LEVEL+1
DONE:   LD   IX,BUFF
        LD   (IX+2),LEVEL
        BIT  7,(IX+0)
        DJNZ DONE
        JR   $              ; stay here
TEXT:   DEFM 'ZILOG'
        DEFB CR,10110B,17Q,'Z',-1
        DEFW START,TEXT+1
BUFF:   DEFS 8
        DEFS 16
STACK:
        END
