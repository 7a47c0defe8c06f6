; source: Intel ROM 4001-0009 (the exerciser of the MCS-4 evaluation kit), Intel; read: two public typed copies of its 256 words, which agree
; The book of the 4040 states that it runs the programs of the 4004 unchanged: the words must be the same.
; image: 4004-exerciser.hexdump
        TARGET 4040
        INCLUDE "rom-4001-0009.inc"
        END
