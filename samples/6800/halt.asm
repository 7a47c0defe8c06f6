; Is the chip alive? No interrupts, a stack, then a jump to itself, near the end of memory.
;
; Count only the cycles with VMA high. The bus must show FFFE, FFFF (the vector is read), then FFE0, FFE1, FFE2, FFE3, FFE4,
; FFE5 and from then on FFE4, FFE5 for ever. The chip looks ahead at the byte behind SEI, so FFE1 comes twice.

        TARGET 6800
        ORG 0xFFE0

start:  SEI                     ; mask IRQ
        LDS #0x00FF             ; stack from 00FF downward
hang:   BRA hang                ; two bytes: FFE4 and FFE5

        ORG 0xFFFE
        DW start                ; reset: the chip begins with the address that it finds here
