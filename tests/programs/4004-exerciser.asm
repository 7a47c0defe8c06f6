; source: Intel ROM 4001-0009 (the exerciser of the MCS-4 evaluation kit), Intel; read: two public typed copies of its 256 words, which agree
; The words are Intel's; the statements and the labels were read back from them by hand with the maker's opcode table.
; Left out: 008 and 009. Both typed copies have 30 FE there; FE is no instruction of the book, and the words that
; the next subroutine reads at 0FE and 0FF speak for 20 FE (FIM P0,0xFE). The word at 0FE is data.
; The kit answers every ROM number with this ROM: jumps to pages 3, 7, 8, 12 and 15 land here again.
        TARGET 4004
        INCLUDE "rom-4001-0009.inc"
        END
