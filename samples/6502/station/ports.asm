; Lamp, bell and tide gauge.

        TARGET 6502
        INCLUDE "station.inc"
        PUBLIC show, tide, pause

        SECTION ports
output: DS 1                    ; bit 0 lamp, bit 1 bell
gauge:  DS 1

        SECTION drivers
show:   STX lines               ; X to the output lines
        STX output
        RTS

tide:   LDA gauge
        RTS

; About a quarter of a second at 1 MHz.
pause:  LDY #195
        LDX #0
.count: DEX
        BNE .count
        DEY
        BNE .count
        RTS
