; source: user's manual of the maker's 8085 system design kit, monitor listing VER 2.1, 1977, Intel; read: a public typed copy of the listing
; Cut behind 028D: what lies beyond is named by the addresses that the listing prints in the instructions.
; The listing's macros TRUE and FALSE are written as the jumps that they print.
        TARGET 8085
RAMST   EQU  2000H          ; start address of RAM
RMUSE   EQU  23
SKLN    EQU  24
UBRLN   EQU  15
ADFLD   EQU  0
ADISP   EQU  90H
CNTRL   EQU  1900H
COMMA   EQU  11H
CSNIT   EQU  0
CSR     EQU  20H
DOT     EQU  1
DTFLD   EQU  1
EMPTY   EQU  80H
KBNIT   EQU  0CCH
KMODE   EQU  0
MNSTK   EQU  RAMST+256-RMUSE
NODOT   EQU  0
NUMC    EQU  4
PERIO   EQU  10H
PRMPT   EQU  0FBH
TIMHI   EQU  25H
TIMLO   EQU  24H
TMODE   EQU  40H
TSTRT   EQU  0C0H
UNMSK   EQU  0EH
USRBR   EQU  RAMST+256-(RMUSE+SKLN+UBRLN)
TIMER   EQU  197
; RAM
RSET5   EQU  USRBR
RSET6   EQU  USRBR+3
RST65   EQU  USRBR+6
RSET7   EQU  USRBR+9
USINT   EQU  USRBR+12
BSAV    EQU  20ECH
FSAV    EQU  20EDH
LSAV    EQU  20EFH
ISAV    EQU  20F1H
PSAV    EQU  20F2H
SSAV    EQU  20F4H
CURAD   EQU  20F6H
CURDT   EQU  20F8H
OBUFF   EQU  20F9H
TEMP    EQU  20FDH
IBUFF   EQU  20FEH
USCSR   EQU  20FFH
; beyond the cut
ININT   EQU  028EH
INSDG   EQU  029FH
NXTRG   EQU  02A8H
OUTPT   EQU  02B7H
RDKBD   EQU  02E7H
RETF    EQU  02F7H
RGLOC   EQU  02FCH
RGNAM   EQU  0309H
RSTOR   EQU  031BH
SETRG   EQU  0344H
UPDAD   EQU  035FH
UPDDT   EQU  036BH
CMDTB   EQU  0378H
CMDAD   EQU  037CH
BLNKS   EQU  039AH
ERMSG   EQU  039EH
EXMSG   EQU  03A2H
SGNAD   EQU  03A6H
SGNDT   EQU  03AAH
GO      EQU  03FAH

        ORG  0
        MVI  A,KMODE
        STA  CNTRL
        JMP  CLDST
CLDBK:
; RST 1 entry point: warm start
        ORG  8
        SHLD LSAV           ; saves registers
        POP  H
        SHLD PSAV
        PUSH PSW
        POP  H
        SHLD FSAV
        LXI  H,0
        DAD  SP
        SHLD SSAV
        LXI  H,BSAV+1
        SPHL
        PUSH B
        PUSH D
        JMP  RES10
        ORG  24H            ; timer interrupt
        JMP  STP25
        ORG  28H            ; RST 5
        JMP  RSET5
        ORG  2CH            ; input interrupt
        JMP  ININT
        ORG  30H            ; RST 6
        JMP  RSET6
        ORG  34H            ; RST 6.5
        JMP  RST65
        ORG  38H            ; RST 7
        JMP  RSET7
        ORG  3CH            ; RST 7.5
        JMP  USINT
RES10:  RIM
        ANI  0FH
        STA  ISAV
        MVI  A,UNMSK
        SIM
        DI
        RIM                 ; teletype or keyboard monitor?
        RLC
        JC   GO
; sign-on message
        XRA  A
        MVI  B,NODOT
        LXI  H,SGNAD
        CALL OUTPT
        MVI  A,DTFLD
        MVI  B,NODOT
        LXI  H,SGNDT
        CALL OUTPT
        MVI  A,EMPTY
        STA  IBUFF
; command recognizer
CMMND:  LXI  H,MNSTK
        SPHL
        LXI  H,CNTRL
        MVI  M,ADISP
        DCR  H
        MVI  M,PRMPT
        CALL RDKBD
        LXI  B,NUMC
        LXI  H,CMDTB
CMD10:  CMP  M
        JZ   CMD15
        INX  H
        DCR  C
        JNZ  CMD10
        JMP  ERR
CMD15:  LXI  H,CMDAD
        DCR  C
        DAD  B
        DAD  B
        MOV  A,M
        INX  H
        MOV  H,M
        MOV  L,A
        PCHL
; examine and modify registers
EXAM:   MVI  B,DOT
        CALL CLEAR
        CALL SETRG
        JNC  ERR
EXM05:  CALL RGNAM
        CALL RGLOC
        MOV  A,M
        STA  CURDT
        MVI  B,DOT
        CALL UPDDT
        MVI  B,DTFLD
        CALL GTHEX
        JNC  EXM10
        CALL RGLOC
        MOV  M,E
EXM10:  CPI  PERIO
        JZ   CLDIS
        CPI  COMMA
        JNZ  ERR
        CALL NXTRG
        JC   EXM05
        JMP  CLDIS
; execute user program
GOCMD:  CALL DISPC
        CALL RDKBD
        CPI  PERIO
        JZ   G10
        STA  IBUFF
        MVI  B,DOT
        CALL CLEAR
        MVI  B,ADFLD
        CALL GTHEX
        CPI  PERIO
        JNZ  ERR
        XCHG
        SHLD PSAV
G10:    MVI  B,NODOT
        CALL CLEAR
        XRA  A
        MVI  B,NODOT
        LXI  H,EXMSG
        CALL OUTPT
        JMP  RSTOR
; single step
SSTEP:  CALL DISPC
        CALL RDKBD
        CPI  PERIO
        JZ   CLDIS
        CPI  COMMA
        JZ   STP20
        STA  IBUFF
        MVI  B,DOT
        CALL CLEAR
        MVI  B,ADFLD
        CALL GTHEX
        JNC  ERR
        XCHG
        SHLD PSAV
        CPI  PERIO
        JZ   CLDIS
STP20:  LDA  ISAV
        ANI  08H
        STA  TEMP
        LHLD PSAV
        MOV  A,M
        CPI  0F3H           ; printed (DI): the code of DI
        JNZ  STP21
        XRA  A
        JMP  STP22
STP21:  CPI  0FBH           ; printed (EI): the code of EI
        JNZ  STP23
        MVI  A,08H
STP22:  STA  TEMP
STP23:  MVI  A,(TIMER SHR 8) OR TMODE
        OUT  TIMHI
        MVI  A,TIMER AND 0FFH
        OUT  TIMLO
        LDA  USCSR
        ORI  TSTRT
        OUT  CSR
        JMP  RSTOR
STP25:  PUSH PSW            ; after one user instruction
        LDA  USCSR
        ANI  3FH
        ORI  40H
        OUT  CSR
        POP  PSW
        SHLD LSAV
        POP  H
        SHLD PSAV
        PUSH PSW
        POP  H
        SHLD FSAV
        LXI  H,0
        DAD  SP
        SHLD SSAV
        LXI  H,BSAV+1
        SPHL
        PUSH B
        PUSH D
        RIM
        ANI  07H
        LXI  H,TEMP
        ORA  M
        STA  ISAV
        MVI  A,UNMSK
        SIM
        JMP  SSTEP
; substitute memory
SUBST:  MVI  B,DOT
        CALL CLEAR
        MVI  B,ADFLD
        CALL GTHEX
        JNC  ERR
        XCHG
        SHLD CURAD
SUB05:  CPI  COMMA
        JNZ  SUB15
        MVI  B,NODOT
        CALL UPDAD
        LHLD CURAD
        MOV  A,M
        STA  CURDT
        MVI  B,DOT
        CALL UPDDT
        MVI  B,DTFLD
        CALL GTHEX
        PUSH PSW
        JNC  SUB10
        LHLD CURAD
        MOV  M,E
        MOV  A,E
        CMP  M
        JNZ  ERR
SUB10:  LHLD CURAD
        INX  H
        SHLD CURAD
        POP  PSW
        JMP  SUB05
SUB15:  CPI  PERIO
        JNZ  ERR
        JMP  CLDIS
; clear the display
CLEAR:  XRA  A
        LXI  H,BLNKS
        CALL OUTPT
        MVI  A,DTFLD
        MVI  B,NODOT
        LXI  H,BLNKS
        CALL OUTPT
        RET
CLDIS:  MVI  B,NODOT
        CALL CLEAR
        JMP  CMMND
; cold start
CLDST:  MVI  A,KBNIT
        STA  CNTRL
        MVI  A,CSNIT
        OUT  CSR
        STA  USCSR
        JMP  CLDBK
; display program counter
DISPC:  LHLD PSAV
        SHLD CURAD
        MOV  A,M
        STA  CURDT
        MVI  B,DOT
        CALL UPDAD
        MVI  B,NODOT
        CALL UPDDT
        RET
; display error message
ERR:    XRA  A
        MVI  B,NODOT
        LXI  H,ERMSG
        CALL OUTPT
        MVI  A,DTFLD
        MVI  B,NODOT
        LXI  H,BLNKS
        CALL OUTPT
        JMP  CMMND
; get hex digits
GTHEX:  MVI  C,0
        PUSH B
        LXI  D,0
        PUSH D
GTH05:  CALL RDKBD
        CPI  10H
        JNC  GTH20
        POP  D
        CALL INSDG
        POP  B
        MVI  C,1
        PUSH B
        PUSH D
        MOV  A,B
        RRC
        JNC  GTH10
        MOV  D,E
GTH10:  CALL HXDSP
        MOV  A,B
        MVI  B,DOT
        CALL OUTPT
        JMP  GTH05
GTH20:  POP  D
        POP  B
        CPI  COMMA
        JZ   GTH25
        CPI  PERIO
        JZ   GTH25
        LXI  D,0
        JMP  RETF
GTH25:  MOV  B,A
        MOV  A,C
        RRC
        MOV  A,B
        RET
; expand hex digits for display
HXDSP:  MOV  A,D
        RRC
        RRC
        RRC
        RRC
        ANI  0FH
        LXI  H,OBUFF
        MOV  M,A
        MOV  A,D
        ANI  0FH
        INX  H
        MOV  M,A
        MOV  A,E
        RRC
        RRC
        RRC
        RRC
        ANI  0FH
        INX  H
        MOV  M,A
        MOV  A,E
        ANI  0FH
        INX  H
        MOV  M,A
        LXI  H,OBUFF
        RET
        END
