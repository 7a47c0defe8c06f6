        TARGET 6502
        INCLUDE "shared.inc"
        PUBLIC lamp_on, delay
        EXTERN line
lamp_on: LDA #1
        STA PORT
        JMP line
delay:  DEX
        BNE delay
        RTS
        SECTION tables
levels: DB 1, 2, 3, 4, QUARTER
        SECTION bank_one
one:    DB 1
        SECTION bank_two
two:    DW levels
        SECTION variables
level_of_the_water_in_centimetres: DS 4
