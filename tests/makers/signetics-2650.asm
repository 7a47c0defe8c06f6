; maker: Signetics, as in the listings of the 2650 microprocessor manual and its application memos
; from memory: the manner of the listing, the opcodes; the program is made up, its bytes were put together by hand
; differs from print: the line TARGET; a remark behind a statement begins with a semicolon, and so do those above TARGET;
; texts are 'TEXT', not A'TEXT'
        TARGET 2650
*
* A text into RAM, without its stars
*
        ORG  H'0400'
COUNT   RES  1
BUFFER  RES  8
        ORG  0
START   PPSL H'02'              ; compare without signs
        EORZ R0
        STRA,R0 COUNT
        LODI,R3 LAST-TEXT
NEXT    LODA,R0 TEXT,R3,-       ; from the last to the first
        COMI,R0 '*'
        BCTR,EQ SKIP
        STRA,R0 BUFFER,R3
SKIP    BRNR,R3 NEXT
        BSTA,UN *VECTOR
        BCTR,UN $
*
SHOW    LODA,R0 COUNT
        ADDI,R0 H'0F'
        BCTA,GT START
        RETC,UN
TEXT    DATA 'TIDE',H'0D',10
LAST    DATA 0
VECTOR  ACON SHOW,START
        END  START
