; source: MCS-8 Micro Computer Set 8008 Users Manual, Rev. 4, November 1973, appendix V E, bootstrap loader, Intel; read: the scan's text
; The manual prints addresses and code in decimal, and octal numbers with B behind them (here Q).
; Letters that the scan's text has for digits were read as digits. Where it lost or blurred a number, the printed address
; of the label, the printed mnemonic or a like line settled it: 0, 6, 9, 203, 244, 252, 263, 281, 284, 293, 302, 323, 335,
; 338, 345, 391, 455, 522, 528, 610, 621, 687, 690, 693, 700, 706, 715, 722, 731, 764.
        TARGET 8008
        ORG  0
BEGIN:  LAI  1              ; suppress teletype
        OUT  12Q            ; output 2
        XRA                 ; clear AC
        OUT  13Q            ; output 3, tape reader control
        HLT
        JMP  START
; teletype tape reader and I/O control
TAPE:   LAI  1              ; tape reader enable code
        OUT  13Q
TTY:    HLT                 ; wait for start pulse
        LDI  194            ; delay, 4 ms
ST2:    IND
        JFZ  ST2
        XRA                 ; tape reader disable code
        OUT  13Q
        OUT  12Q            ; start pulse
        LEI  248            ; data sampling counter
TTYIN:  CAL  TTYD1          ; delay, 8.7 ms
        INP  0
        XRI  255            ; complement data
        OUT  12Q
        RAR                 ; store data
        LAB
        RAR
        LBA
        INE
        JFZ  TTYIN
        LAB
        NDI  127            ; remove parity bit
        LBA
        CAL  TTYD1
        LAI  1
        OUT  12Q            ; suppress teletype
        RET
        LAA
        LAA
        LAA
        LAA
        LAA
; delay, 8.7 ms
TTYD1:  LDI  121
ST:     IND
        JFZ  ST
        RET
; BCD to binary
BCDBIN: LAM
        SUI  48
        LBA
        DCL
        LAM
        SUI  48
        LEA
BB1:    JTZ  BB2
        LAI  10
        ADB
        LBA
        DCE
        JMP  BB1
BB2:    DCL
        LAM
        SUI  48
        LEA
BB3:    JTZ  BB4
        LAI  100
        ADB
        LBA
        DCE
        JMP  BB3
BB4:    RET
; binary to BCD
BINBCD: LHI  11
        LLI  241
BNBD:   LCI  0
        LAB
BD1:    SUI  100
        JTC  BD2
        INC
        JMP  BD1
BD2:    LBI  100
        ADB
        LBA
        LAI  48
        ADC
        LMA
        LCI  0
        LAB
BD3:    SUI  10
        JTC  BD4
        INC
        JMP  BD3
BD4:    LBI  10
        ADB
        LBA
        LAI  48
        ADC
        INL
        LMA
        LAI  48
        ADB
        INL
        LMA
        RET
; teletype output
TTYOUT: LCI  253
TTY0:   CAL  TTYD1
        INC
        JFZ  TTY0
        XRA
        OUT  12Q            ; start pulse
        LCI  248
TTY1:   CAL  TTYD1
        LAB
        OUT  12Q
        RAR
        LBA
        LAI  0
        RAR
        ADB
        LBA
        INC
        JFZ  TTY1
        CAL  TTYD1
        LAI  1
        OUT  12Q
        RET
; carriage return and line feed
CRLF:   LBI  215Q
        CAL  TTYOUT
        LBI  212Q
        CAL  TTYOUT
        RET
ERROR:  LBI  277Q
        CAL  TTYOUT
        RET
; RAM bank
ADRESH: CAL  CRLF
        LBI  302Q
        CAL  TTYOUT
        CAL  TTY
        LMB
        RET
; initial and final location
ADRESL: CAL  CRLF
        LBI  301Q
        CAL  TTYOUT
AD1:    CAL  CRLF
        LCI  253
AD2:    CAL  TTY
        INL
        LMB
        INC
        JFZ  AD2
        RET
; data input
DATAIN: CAL  TAPE
        LAI  102Q
        CPB
        JFZ  DATAIN
DATA1:  LHI  11
        LLI  255
        LAI  248
        LMA
DATA2:  CAL  TAPE
        LLI  250
        LAI  120Q
        CPB
        JTZ  PDATA
        LAI  116Q
        CPB
        JTZ  NDATA
        LAI  102Q
        CPB
        JTZ  DATA1
        LAI  177Q
        CPB
        JFZ  FMEROR
        CAL  RUBOUT
        JMP  DATA2
FMEROR: CAL  FORMAT
        JMP  DATAEN
PDATA:  LAI  1
        RAR
        LAM
        RAL
        LMA
        JMP  DATA3
NDATA:  XRA
        LAM
        RAL
        LMA
DATA3:  LLI  255
        LBM
        INB
        LMB
        JFZ  DATA2
FDATA:  CAL  TAPE
        LAI  106Q
        CPB
        JTZ  DATA4
        LAI  102Q
        CPB
        JTZ  DATA1
        LAI  177Q
        CPB
        JFZ  FMEROR
        CAL  RUBOUT
        JMP  DATA2
DATA4:  XRA
DATAEN: RET
RUBOUT: LAA
        LAA
        LAA
        LAA
        LAA
        LAA
        LAA
        RET
; format error
FORMAT: LBI  240Q
        CAL  TTYOUT
        LBI  306Q
        CAL  TTYOUT
        LBI  305Q
        CAL  TTYOUT
LISTA:  CAL  CRLF
PRINTA: LLI  253
        LBM
        CAL  BINBCD
        LEI  253
        DCL
        DCL
FM1:    LAM
        ADI  128
        LBA
        CAL  TTYOUT
        INL
        INE
        JFZ  FM1
        LAI  1
        RET
; enters addresses
ENTERA: LHI  11
        LLI  240
ENTERH: CAL  ADRESH
ENTERL: CAL  ADRESL
        CAL  AD1
        CAL  CRLF
        LLI  246
        CAL  BCDBIN
        LCB
        DCL
        CAL  BCDBIN
        DCL
        LAM
        SUI  48
        ADI  8
        LLI  252
        LMA
        INL
        LMB
        INL
        LMC
        RET
; sets address to RAM
SETMA:  LHI  11
        LLI  252
        LDM
        INL
        LAM
        OUT  10Q
        LLA
        LHD
        RET
; address check
ACHECK: LHI  11
        LLI  254
        LAM
        DCL
        CPM
        JTZ  CHECK
        LCM
        INC
        LMC
CHECK:  RET
        INCLUDE "8008-loader-commands.inc"
        END
