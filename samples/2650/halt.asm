; Is the chip alive? It raises a line of its own and then branches to itself.
;
; The address bus must show 0000, 0001, 0002, 0003 and from then on 0002, 0003 for ever. After 0001 the line FLAG is high.

        TARGET 2650
        ORG 0x0000              ; where the chip begins after a reset

start:  PPSU 0x60               ; in the upper status: FLAG on (40), interrupts inhibited (20)
hang:   BCTR,UN hang            ; two bytes: 0002 and 0003
