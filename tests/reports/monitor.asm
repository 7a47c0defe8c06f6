        TARGET 6502
        INCLUDE "shared.inc"
        PUBLIC reset, line
        EXTERN lamp_on, delay
reset:  LDX #STACK
        TXS
.again: JSR lamp_on
        wait QUARTER
        wait 5
        JMP .again
        IF DEBUG
        BRK
        ENDIF
line:   LDA message,X
        STA count
        RTS
        SECTION tables
message: DB "ready", 0
        DS 3
        SECTION variables
count:  DS 1
buffer: DS 32
        END reset
