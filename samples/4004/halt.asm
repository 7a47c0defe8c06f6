; Is the chip alive? Two harmless instructions, then a jump to itself.
;
; An address leaves the chip in three pieces of four bits, the lowest first, in each machine cycle. Put together they
; must read 000, 001, 002, 003 and from then on 002, 003, 002, 003 for ever.

        TARGET 4004
        ORG 0x000               ; where the chip begins after a reset

start:  NOP
        LDM 5                   ; accumulator = 5
hang:   JUN hang                ; two words: 002 and 003
