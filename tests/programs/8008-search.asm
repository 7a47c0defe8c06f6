; source: MCS-8 Micro Computer Set 8008 Users Manual, Rev. 4, November 1973, appendix V A, Intel; read: the scan's text
; The manual prints the ROM code in binary. Its appendix III shows the program once more at 0, in hexadecimal.
        TARGET 8008
        ORG  100
START:  LLI  200
        LHI  0
LOOP:   LAM                 ; fetch character from memory
        CPI  '.'
        JTZ  FOUND          ; if equal go to return
        CAL  INCR           ; call increment H and L subroutine
        LAL
        CPI  220
        JFZ  LOOP           ; if unequal go to LOOP
FOUND:  RET
        ORG  60
INCR:   INL
        RFZ
        INH
        RET
        END
