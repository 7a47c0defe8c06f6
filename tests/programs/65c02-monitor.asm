; source: ROM 6530-002, program listing in the 1976 user manual of its maker's 6502 module, MOS Technology; from memory
; The makers of the 65C02 state that it runs the programs of the 6502 unchanged: the words must be the same.
; image: 6502-monitor.hexdump
        TARGET 65c02
        INCLUDE "rom-6530-002.inc"
        END
