; source: User Manual for the CDP1802 COSMAC Microprocessor (MPM-201), standard call and return technique, RCA; from memory
; Addresses as in RCA's utility ROM, whose entries are 8364 and 8374; from memory.
        TARGET 1802
        ORG  0x8363
EXITA:  SEP  R3             ; goes to the subroutine
CALL:   SEX  R2             ; points to the stack
        GHI  R6             ; pushes R6, the link to the caller
        STXD
        GLO  R6
        STXD
        GHI  R3             ; copies the return address to R6
        PHI  R6
        GLO  R3
        PLO  R6
        LDA  R6             ; picks up the subroutine's address behind the call
        PHI  R3
        LDA  R6
        PLO  R3
        BR   EXITA
EXITR:  SEP  R3             ; goes back to the caller
RETURN: GHI  R6             ; copies the return address to R3
        PHI  R3
        GLO  R6
        PLO  R3
        SEX  R2
        INC  R2             ; pops the caller's own link to R6
        LDXA
        PLO  R6
        LDX
        PHI  R6
        BR   EXITR
        END
