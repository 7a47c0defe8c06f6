; Is the chip alive? A harmless instruction, one that the 4004 does not have, then a jump to itself.
;
; An address leaves the chip in three pieces of four bits, the lowest first, in each machine cycle. Put together they
; must read 000, 001, 002, 003 and from then on 002, 003, 002, 003 for ever.

        TARGET 4040
        ORG 0x000               ; where the chip begins after a reset

start:  NOP
        SB0                     ; register bank 0; not on the 4004, which has only one
hang:   JUN hang                ; two words: 002 and 003
