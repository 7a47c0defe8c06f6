; Is the chip alive? No interrupts, a stack, then a jump to itself, near the end of memory.
;
; The bus must show FFFE, FFFF (the vector is read), then FFE0, FFE1, FFE2, FFE3, FFE4, FFE5, FFE6, FFE7 and from then on
; FFE6, FFE7 for ever. In cycles in which the chip wants nothing from the bus it shows FFFF with R/W high: not an error.

        TARGET 6809
        ORG 0xFFE0

start:  ORCC #0x50              ; mask IRQ and FIRQ
        LDS #0x0100             ; stack from 00FF downward; only now can an NMI come through
hang:   BRA hang                ; two bytes: FFE6 and FFE7

        ORG 0xFFFE
        DW start                ; reset: the chip begins with the address that it finds here
