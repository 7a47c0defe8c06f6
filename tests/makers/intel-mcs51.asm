; maker: Intel, as in the manuals of the MCS-51
; from memory: the manner of the listing, the opcodes; the program is made up, its bytes were put together by hand
; differs from print: the line TARGET; SECTION stands where print has BSEG AT 8 and CSEG
        TARGET  8051
LAMP    BIT     P1.3
READY   BIT     20H.1
COUNT   DATA    30H             ; directly addressed
BUFFER  IDATA   40H             ; addressed through R0
DEVICE  XDATA   8000H
BASE    CODE    0100H
LIMIT   SET     10
;
        SECTION FLAGS,BIT
        ORG     8
SEEN:   DBIT    1
OTHER:  DBIT    2
        SECTION
;
        ORG     0
        LJMP    START
        ORG     BASE
START:  MOV     SP,#5FH
        MOV     COUNT,#LIMIT
        MOV     R0,#BUFFER
        MOV     DPTR,#DEVICE
AGAIN:  MOVX    A,@DPTR
        MOV     @R0,A
        INC     R0
        CJNE    A,#'E',SKIP     ; an E ends it
        SETB    SEEN
SKIP:   DJNZ    COUNT,AGAIN
        CPL     LAMP
        MOV     C,READY
        ANL     C,/OTHER
        JNC     $               ; until it is ready
LIMIT   SET     LIMIT+2
        MOV     R7,#LIMIT
        ACALL   SHOW
        SJMP    AGAIN
        NOP
SHOW:   MOV     A,#HIGH(DEVICE)
        XRL     A,COUNT
        MOV     P1,A
        RET
;
TEXT:   DB      'READY',0DH,0AH
        DW      START,101B,77Q
ROOM:   DS      2
LAST:   DB      0FFH
        END
