; Is the chip alive? A pattern on port 1, then a jump to itself.
;
; With the program in outside memory (EA low) the fetches, PSEN low, must be from 0000, 0001, 0002, 0003, 0004 and from
; then on 0003, 0004 for ever. The chip fetches twice in every machine cycle and throws away what it does not need, so
; some addresses come twice and 0005 comes, too. Port 1 shows 55, which is 01010101.

        TARGET 8051
        ORG 0x0000              ; where the chip begins after a reset

start:  MOV P1,#0x55
hang:   SJMP hang               ; two bytes: 0003 and 0004
