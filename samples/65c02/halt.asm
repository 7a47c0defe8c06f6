; Is the chip alive? A clean start, one write, then a jump to itself, in the last sixteen bytes of memory.
;
; The bus must show FFFC, FFFD (the vector is read), then
;       FFF0 FFF1               LDX
;       FFF2 FFF3               TXS; a one-byte instruction looks at the byte behind it and forgets it
;       FFF3 FFF4 0000          STZ; with 0000 the line R/W goes low, this once
;       FFF5 FFF6 FFF7          JMP, and this line repeats for ever

        TARGET 65c02
        ORG 0xFFF0

start:  LDX #0xFF               ; no CLD: unlike on the 6502 a reset ends decimal mode
        TXS                     ; stack from 01FF downward
        STZ 0x00                ; not on the 6502: store a zero without having one in a register
hang:   JMP hang

        ORG 0xFFFA
        DW hang                 ; NMI
        DW start                ; reset: the chip begins with the address that it finds at FFFC
        DW hang                 ; IRQ and BRK
