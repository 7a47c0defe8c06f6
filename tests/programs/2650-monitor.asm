; source: 2650 application memo SS50, monitor listing (PIPBUG), start-up and command recognizer, Signetics; from memory
; Source and words were recalled apart from each other. Cut behind the command recognizer; the two vectors at 0019 are left out.
        TARGET 2650
COM     EQU  0x0400
XGOT    EQU  0x0409
BUFF    EQU  0x0413
BPTR    EQU  0x0427
CRLF    EQU  0x008A
ALTE    EQU  0x00AB
SREG    EQU  0x00F4
GOTO    EQU  0x013A
CLR     EQU  0x01CA
BKPT    EQU  0x01E5
COUT    EQU  0x02B4
DUMP    EQU  0x0310
LOAD    EQU  0x03B5
        ORG  0
INIT:   LODI,R3 63
        EORZ R0
AINI:   STRA,R0 COM,R3,-
        BRNR,R3 AINI
        LODI,R0 0x77
        STRA,R0 XGOT
        LODI,R0 0x1B
        STRA,R0 XGOT+2
        LODI,R0 0x80
        STRA,R0 XGOT+3
        BCTR,UN MBUG
        ORG  0x001D
EBUG:   LODI,R0 '?'
        BSTA,UN COUT
MBUG:   CPSL 0xFF
        BSTA,UN CRLF
        LODI,R0 '*'
        BSTA,UN COUT
        BSTR,UN LINE
        EORZ R0
        STRA,R0 BPTR
        LODA,R0 BUFF
        COMI,R0 'A'
        BCTA,EQ ALTE
        COMI,R0 'B'
        BCTA,EQ BKPT
        COMI,R0 'C'
        BCTA,EQ CLR
        COMI,R0 'D'
        BCTA,EQ DUMP
        COMI,R0 'G'
        BCTA,EQ GOTO
        COMI,R0 'L'
        BCTA,EQ LOAD
        COMI,R0 'S'
        BCTA,EQ SREG
        BCTA,UN EBUG
LINE:
        END
