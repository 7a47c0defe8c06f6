; The keeper's station on Kestrel Rock: looks at the tide, rings, and keeps a log. The drivers are in files of their own.

        TARGET 6502
        INCLUDE "station.inc"
        PUBLIC reset, lines

reset:  CLD
        LDX #0xFF
        TXS
        JSR sound_rom           ; leaves 0 when the ROM adds up
        BNE broken
        STA lines
        JSR clear_log
watch:  JSR tide                ; level in A
        JSR enter_log
        CMP #ALARM
        LDX #BELL
        BCS .set
        LDX #0
.set:   JSR show
        JSR pause
        JMP watch

; A ROM that does not add up: the lamp stays on, and the bus shows this loop.
broken: LDX #LAMP
        JSR show
stuck:  JMP stuck

        SECTION variables
lines:  DS 1                    ; what lamp and bell were told last
