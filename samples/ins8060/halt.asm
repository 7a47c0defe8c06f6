; Is the chip alive? A flag goes high, then a jump to itself.
;
; The program counter is 0000 after a reset and counts before it fetches, so the first address on the bus is 0001. The reads
; (NRDS low) must come from 0001, 0002, 0003, 0004, 0005 and from then on 0004, 0005 for ever. The pin of flag 0 is high from
; the third byte on. The highest four lines of the address are 0 and come on the data lines at NADS.

        TARGET ins8060
        ORG 0x0001              ; where the chip begins after a reset

start:  LDI 0x01
        CAS                     ; accumulator to status: flag 0
hang:   JMP hang                ; two bytes: 0004 and 0005
