; The log: the last levels, the oldest of which is lost.

        TARGET 6502
        INCLUDE "station.inc"
        PUBLIC clear_log, enter_log

LENGTH  EQU 32

        SECTION variables
next:   DS 1                    ; where the next level goes
levels: DS LENGTH

        SECTION drivers
clear_log:
        LDX #LENGTH - 1
.one:   STA levels,X            ; A is 0
        DEX
        BPL .one
        STA next
        RTS

; The level in A into the log; A stays.
enter_log:
        LDX next
        STA levels,X
        INX
        CPX #LENGTH
        BCC .keep
        LDX #0
.keep:  STX next
        RTS
