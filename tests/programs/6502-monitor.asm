; source: ROM 6530-002, program listing in the 1976 user manual of its maker's 6502 module, MOS Technology; from memory
; Source and words were recalled apart from each other. 1FF7..1FF9 are not part of the program.
        TARGET 6502
        INCLUDE "rom-6530-002.inc"
        END
