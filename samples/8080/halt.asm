; Is the chip alive? No interrupts, a byte into A, then a jump to itself.
;
; The address bus must show 0000, 0001, 0002, 0003, 0004, 0005 and from then on 0003, 0004, 0005 for ever. In each
; first cycle of an instruction (0000, 0001, 0003) the status word, sent on the data lines at SYNC, says M1.

        TARGET 8080
        ORG 0x0000              ; where the chip begins after a reset

start:  DI
        MVI A,0x55
hang:   JMP hang                ; three bytes: 0003, 0004, 0005
