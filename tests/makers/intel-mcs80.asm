; maker: Intel, as in the 8080/8085 Assembly Language Programming Manual
; from memory: the manner of the listing, the opcodes; the program is made up, its bytes were put together by hand
; differs from print: the line TARGET; a parameter of a macro stands in braces in its lines
        TARGET  8080
CR      EQU     0DH             ; carriage return
TRACE   EQU     0
MASK    SET     0FH             ; given anew below
;
SUM     MACRO   REG
        ADD     {REG}
        MOV     {REG},A
        ENDM
;
        ORG     100H
START:  LXI     SP,STACK
        LXI     H,TEXT
        MVI     C,0
NEXT:   MOV     A,M
        CPI     CR
        JZ      DONE            ; end of the text
        IF      TRACE
        OUT     1
        ENDIF
        ANI     MASK
        SUM     C
        INX     H
        JMP     NEXT
MASK    SET     MASK OR 11110000B
DONE:   MOV     A,C
        XRI     MASK AND NOT 1
        STA     TOTAL
        JNC     $+4             ; over the HLT
        HLT
        JMP     DONE
;
TEXT:   DB      'IT''S 5',CR
        DB      17Q,'A' OR 80H,HIGH START,-1
        DW      START,TEXT+1
TOTAL:  DS      1
        DS      2*8
STACK:
        END     START
