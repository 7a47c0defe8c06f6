; source: 8080 Assembly Language Programming Manual, multiplication, division, multibyte addition, decimal subtraction, Intel; from memory
; bytes assembled by hand from the maker's opcode table, from memory; the program's text as published
; The manual prints no addresses: the routines stand one behind the other here, and labels that it uses twice are told apart.
        TARGET 8080
        ORG  0
MULT:   MVI  B,0            ; initialize most significant byte of result
        MVI  E,9            ; bit counter
MULT0:  MOV  A,C            ; rotate least significant bit of multiplier to carry and shift low-order byte of result
        RAR
        MOV  C,A
        DCR  E
        JZ   DONE1          ; exit if complete
        MOV  A,B
        JNC  MULT1
        ADD  D              ; add multiplicand to high-order byte of result if bit was a one
MULT1:  RAR                 ; carry = 0 here: shift high-order byte of result
        MOV  B,A
        JMP  MULT0
DONE1:

DIV:    MVI  E,9            ; bit counter
        MOV  A,B
DIV0:   MOV  B,A
        MOV  A,C            ; rotate carry into C register; rotate next most significant bit to carry
        RAL
        MOV  C,A
        DCR  E
        JZ   DIV2
        MOV  A,B            ; rotate most significant bit to high-order quotient
        RAL
        JNC  DIV1           ; subtract divisor and loop
        SUB  D
        JMP  DIV0
DIV1:   SUB  D              ; subtract divisor; if less than high-order quotient, go to DIV0
        JNC  DIV0
        ADD  D              ; otherwise add it back
        JMP  DIV0
DIV2:   RAL
        MOV  E,A
        MVI  A,0FFH         ; complement the quotient
        XRA  C
        MOV  C,A
        MOV  A,E
        RAR

MADD:   LXI  B,FIRST
        LXI  H,SECND
        XRA  A              ; clear carry bit
LOOP1:  LDAX B              ; load byte of FIRST
        ADC  M              ; add byte of SECND with carry
        STAX B              ; store result at FIRST
        DCR  E
        JZ   DONE2
        INX  B
        INX  H
        JMP  LOOP1
DONE2:
FIRST:  DB   90H,0BAH,84H
SECND:  DB   8AH,0AFH,32H

DSUB:   LXI  D,MINU
        LXI  H,SBTRA
        MVI  C,2            ; each loop subtracts 2 digits
        STC                 ; set carry, indicating no borrow
LOOP2:  MVI  A,99H
        ACI  0              ; add zero with carry
        SUB  M              ; complement of subtrahend
        XCHG
        ADD  M              ; add minuend
        DAA
        MOV  M,A
        XCHG
        DCR  C
        JZ   DONE3
        INX  D
        INX  H
        JMP  LOOP2
DONE3:  NOP
MINU:   DB   58H,43H
SBTRA:  DB   62H,13H
        END
