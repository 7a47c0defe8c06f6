; Is the chip alive? An instruction that does nothing, a byte into A, then a jump to itself.
;
; After power on this chip is stopped. The board must ask for an interrupt and hand it one instruction, best RST 0
; (05), which calls 0000. The address comes in two pieces on the data lines, low byte at T1, upper six bits at T2.
; Put together they must read 0000, 0001, 0002, 0003, 0004, 0005 and from then on 0003, 0004, 0005 for ever.

        TARGET 8008
        ORG 0x0000

start:  LAA                     ; A = A: the no-operation of this chip
        LAI 0x55
hang:   JMP hang                ; three bytes: 0003, 0004, 0005
