; Is the chip alive? It fills the accumulator with ones and then jumps to itself.
;
; The addresses, latched with LXMAR, must be 7777 (FFF in hexadecimal), where the chip begins, then 0000, 0001, 0002 and from
; then on 0002 for ever: 000, 001, 002 in hexadecimal.

        TARGET im6100
        ORG 0o0000
alive:  CLA CLL
        CMA                     ; all ones
hang:   JMP hang                ; one word: 0002

        ORG 0o7777              ; where the chip begins after a reset; behind it comes 0000
start:  JMP alive
