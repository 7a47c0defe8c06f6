; source: application note AP-69, An Introduction to the Intel MCS-51 Single-Chip Microcomputer Family, Intel; from memory
; bytes assembled by hand from the maker's opcode table, from memory; the program's text as published
; The note prints the routines without addresses: they stand one behind the other here.
        TARGET 8051
HUND    EQU  0x21
TENONE  EQU  0x22
        ORG  0
; BINBCD: converts an 8-bit binary variable in ACC to 3-digit packed BCD
BINBCD: MOV  B,#100         ; divides by 100 to find the number of hundreds
        DIV  AB
        MOV  HUND,A
        MOV  A,#10          ; divides the remainder by 10 to find the number of tens left
        XCH  A,B
        DIV  AB             ; tens in ACC, ones in B
        SWAP A
        ADD  A,B            ; packs the digits
        MOV  TENONE,A
        RET
; MULBCD: unpacks two BCD digits in ACC, returns their product in packed BCD
MULBCD: MOV  B,#0x10        ; divides by 16
        DIV  AB             ; one digit in ACC, the other in B
        MUL  AB
        MOV  B,#10          ; divides the product by 10
        DIV  AB
        SWAP A
        ORL  A,B            ; packs the digits
        RET
; SUBSTR: subtracts the string at R1 from the string at R0, R2 bytes
SUBSTR: CLR  C              ; no borrow
SUBS1:  MOV  A,@R0
        SUBB A,@R1
        MOV  @R0,A
        INC  R0
        INC  R1
        DJNZ R2,SUBS1
        JNB  OV,OV_OK       ; the reader's own overflow routine would follow
OV_OK:  RET
        END
