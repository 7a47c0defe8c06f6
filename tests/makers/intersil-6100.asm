; maker: Intersil, as in the listings of the IM6100 family handbook
; from memory: the manner of the listing, the opcodes; the program is made up, its words were put together by hand
; differs from print: the line TARGET; remarks begin with a semicolon, not with a stroke; a colon, not a comma, stands behind a
; label; octal numbers have a Q behind them; ORG, DB and END are our own names
        TARGET IM6100
        ORG     20Q
PTR:    DB      LIST
        ORG     200Q
START:  CLA CLL
        TAD I   PTR
        SNA
        JMP     DONE
        CIA
        DCA     SUM
        ISZ     PTR
        JMP     START
DONE:   JMS     SUB
        HLT
SUB:    DB      0               ; the way back
        CLL RTL
        SZA SNL CLA
        JMP I   SUB
SUM:    DB      0
LIST:   DB      5,7777Q,'A',0
        END     START
