; Is the chip alive? A pattern on port 1, then a jump to itself.
;
; With the program in outside memory (EA high) the chip puts the low byte of the address on the bus at ALE, the high half on
; the low lines of port 2. The fetches, PSEN low, must be from 000, 001, 002, 003, 004 and from then on 003, 004 for ever.
; Port 1 shows 55, which is 01010101.

        TARGET 8048
        ORG 0x000               ; where the chip begins after a reset

start:  MOV A,#0x55
        OUTL P1,A
hang:   JMP hang                ; two bytes: 003 and 004
