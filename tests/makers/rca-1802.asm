; maker: RCA, as in the User Manual for the CDP1802 COSMAC Microprocessor (MPM-201)
; from memory: the manner of the listing, the opcodes; the program is made up, its bytes were put together by hand
; differs from print: the line TARGET; remarks begin with a semicolon, not with two points; one statement to a line, without a
; semicolon behind it; numbers are written 0D3H, not #D3; HIGH and LOW stand for A.1( ) and A.0( ), and
; DC has commas between its bytes
        TARGET 1802
        ORG  0
START:  LDI  HIGH MAIN      ; R0 is the program counter
        PHI  R3
        LDI  LOW MAIN
        PLO  R3
        SEP  R3             ; now R3 is
MAIN:   LDI  HIGH TABLE
        PHI  RF
        LDI  LOW TABLE
        PLO  RF
        SEX  RF
LOOP:   LDN  RF
        BZ   DONE
        XRI  0FFH
        BNQ  DARK
        REQ
DARK:   OUT  4              ; and RF goes on
        BR   LOOP
DONE:   SEQ
        B1   DONE
        LBR  START
        PAGE
TABLE:  DC   0D3H,5,0
        END
