; maker: Motorola, as in the listings of the MC6809-MC6809E Microprocessor Programming Manual
; from memory: the manner of the listing, the opcodes; the program is made up, its bytes were put together by hand
; differs from print: the line TARGET; a remark behind a statement begins with a semicolon, and so do those above TARGET
        TARGET 6809
*
* Letters of a text as numbers, 0 for A
*
CR      EQU   $0D
        ORG   $2000
COUNT   RMB   1
BUFFER  RMB   16
        ORG   $1000
        SETDP $20
START   LDS   #$2FFF
        LDA   #$20
        TFR   A,DP        ; as SETDP has it
        LDX   #TEXT
        LDY   #BUFFER
        CLR   COUNT
LOOP    LDA   ,X+
        CMPA  #CR
        BEQ   DONE
        SUBA  #'A
        CMPA  #@31
        BHI   LOOP        ; not a letter
        STA   ,Y+
        INC   COUNT
        BRA   LOOP
DONE    LDB   >COUNT      ; extended, though direct would do
        CMPB  #SIZE
        BLS   *+4
        BRA   START
        LEAX  TEXT,PCR
        STX   BUFFER+2
        BRA   *
TEXT    FCC   /TIDE: 5*4/
        FCB   CR,'*,'A,%101,@17,-1
        FDB   START,TEXT+2
SIZE    EQU   *-TEXT
        END   START
