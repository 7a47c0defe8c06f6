; Is the chip alive? It raises a line of its own and then jumps to itself.
;
; The bus must show 0000, 0001, 0002, 0003, 0004, 0005 and from then on 0003, 0004, 0005 for ever. The low half of the
; address shares its pins with the data: look at it when ALE falls. After 0002 the line SOD is high and stays so.

        TARGET 8085
        ORG 0x0000              ; where the chip begins after a reset

start:  MVI A,0xC0              ; bit 7: the level for SOD; bit 6: do set it
        SIM                     ; not on the 8080
hang:   JMP hang                ; three bytes: 0003, 0004, 0005
