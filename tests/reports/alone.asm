; One module without PUBLIC: gaps, free words, names of every kind.
        TARGET 6502
lamp    EQU 0x80
cold    EQU -5
turn := 1
        ORG 0x0200
start:  LDX #turn
.wait:  DEX
        BNE .wait
        STA lamp
turn := turn + 1
        DS 2
table:  DB turn, cold
        ORG 0xFFFC
        DW start
