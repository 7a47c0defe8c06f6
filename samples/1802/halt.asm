; Is the chip alive? It toggles a line of its own and then branches to itself.
;
; The address comes in two pieces on eight lines, the high byte at TPA, then the low byte. In the fetch cycles and in
; the second cycle of BR it must read 0000, 0001, 0002, 0003 and from then on 0002, 0003, 0002, 0003 for ever.
; The line Q is high from the second instruction on.

        TARGET 1802
        ORG 0x0000              ; where R0, the first program counter, points after a reset

start:  REQ                     ; Q low
        SEQ                     ; Q high
hang:   BR hang                 ; two bytes: 0002 and 0003
