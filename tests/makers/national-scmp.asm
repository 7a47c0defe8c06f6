; maker: National Semiconductor, as in the manuals of the SC/MP
; from memory: the manner of the listing, the opcodes; the program is made up, its bytes were put together by hand
; differs from print: the line TARGET; hexadecimal numbers are written 0FFH, not X'FF; HIGH and LOW stand for H( ) and L( );
; ORG, DB and DS are our own names
        TARGET SCMP
        ORG     1               ; the program counter counts before it fetches
START:  LDI     HIGH(TABLE)
        XPAH    P1
        LDI     LOW(TABLE)
        XPAL    P1
        LDI     0
        XAE
LOOP:   LD      @1(P1)
        JZ      DONE
        CCL
        ADE
        XAE
        NOP
        JMP     LOOP
DONE:   LDE
        ST      SUM
        XPAH    3
        LD      -2(P2)
        AND     E(P2)
        DLY     10
        XPPC    P3
        HALT
TABLE:  DB      5,0FFH,'A',0
SUM:    DS      1
        END     START
