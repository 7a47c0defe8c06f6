; source: MC6809 8-Bit Microprocessor Programming Manual, monitor listing of the appendix, its first two routines, Motorola; from memory
; Source and words were recalled apart from each other. Cut behind the reset routine.
        TARGET 6809
ROM2OF  EQU  0xF000         ; extension ROM
VECTAB  EQU  0xDFC2         ; vector table
STACK   EQU  0xDF51
BASEPG  EQU  0x9D           ; DF9D, its low half: the direct page is DF
NUMVTR  EQU  27             ; vectors in the table
INTVS   EQU  13             ; bytes of static values
MONITR  EQU  8              ; monitor service
        ORG  0xF800
BLDVTR: LEAX VECTAB,PCR     ; address vector table
        TFR  X,D            ; obtain base page address
        TFR  A,DP           ; set up direct page register
        STA  <BASEPG        ; store for quick reference
        LEAU ,X             ; return table to caller
        LEAY INITVT,PCR     ; load from address
        STU  ,X++           ; init vector table address
        LDB  #NUMVTR-5      ; number of relocatable vectors
        PSHS B              ; store index on stack
BLD2:   TFR  Y,D            ; prepare address resolve
        ADDD ,Y++           ; to absolute address
        STD  ,X++           ; into vector table
        DEC  ,S             ; count down
        BNE  BLD2
        LDB  #INTVS         ; static value init length
BLD3:   LDA  ,Y+            ; load next byte
        STA  ,X+            ; store into position
        DECB
        BNE  BLD3
        LEAY ROM2OF,PCR     ; test possible extension ROM
        LDX  #0x20FE        ; load BRA * flag pattern
        CMPX ,Y++           ; extended ROM here?
        BNE  BLDRTN
        JSR  ,Y             ; call extended ROM initialize
BLDRTN: PULS PC,B           ; return to initializer
RESET:  LEAS STACK,PCR      ; set up initial stack
        BSR  BLDVTR         ; build vector table
RESET2: CLRA                ; issue startup message
        TFR  A,DP           ; default to page zero
        SWI                 ; perform monitor fireup
        DB   MONITR         ; to enter command processing
        BRA  RESET2         ; reenter monitor if continue
INITVT:
        END
