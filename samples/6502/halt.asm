; Is the chip alive? A clean start, then a jump to itself, in the last sixteen bytes of memory.
;
; The bus must show FFFC, FFFD (the vector is read), then
;       FFF0 FFF1               CLD; a one-byte instruction looks at the byte behind it and forgets it
;       FFF1 FFF2               LDX
;       FFF3 FFF4               TXS
;       FFF4 FFF5 FFF6          JMP, and this line repeats for ever; R/W stays high

        TARGET 6502
        ORG 0xFFF0

start:  CLD
        LDX #0xFF
        TXS                     ; stack from 01FF downward
hang:   JMP hang

        ORG 0xFFFA
        DW hang                 ; NMI
        DW start                ; reset: the chip begins with the address that it finds at FFFC
        DW hang                 ; IRQ and BRK
