; The ROM itself: does it add up, and which one is it?

        TARGET 6502
        INCLUDE "station.inc"
        PUBLIC sound_rom

ROM     EQU 0xF000
PAGES   EQU 0x10

        SECTION variables
page:   DS 2                    ; where the sum has come to

        SECTION drivers
; Adds up the upper ROM; leaves the sum in A, 0 when it is sound.
sound_rom:
        LDA #HIGH ROM
        STA page + 1
        LDY #0
        STY page
        LDX #PAGES
        TYA
.add:   CLC
        ADC (page),Y
        INY
        BNE .add
        INC page + 1
        DEX
        BNE .add
        TAX                     ; sets the flags for the caller
        RTS

        SECTION label
        STAMP CHECKSUM, ROM, ROM + PAGES * 0x100
name:   STAMP TEXT, 16
