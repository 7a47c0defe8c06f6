; Is the chip alive? No interrupts, a byte into A, then a jump to itself.
;
; While RD is low the address bus must show 0000, 0001, 0002, 0003, 0004 and from then on 0003, 0004, 0003, 0004 for
; ever. Between them, while RFSH is low, it shows the refresh address, whose low seven bits count upward: not an error.

        TARGET z80
        ORG 0x0000              ; where the chip begins after a reset

start:  DI
        LD A,0x55
hang:   JR hang                 ; two bytes: 0003 and 0004
