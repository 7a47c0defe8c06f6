; maker: MOS Technology, as in the listings of the MCS6500 Microcomputer Family Programming Manual
; from memory: the manner of the listing, the opcodes; the program is made up, its bytes were put together by hand
; differs from print: the line TARGET; remarks begin with a semicolon; POINTR has a line of its own above *=
        TARGET 6502
CR=$0D
PORT=$1700
        *=$10
POINTR
        *=*+2
        *=$0200
START   LDX #$FF
        TXS
        LDA #<TABLE       ; low byte of the address
        STA POINTR
        LDA #>TABLE       ; high byte
        STA POINTR+1
        LDY #@17
LOOP    LDA (POINTR),Y
        CMP #'?
        BEQ DONE          ; a question ends it
        AND #%00001111
        STA PORT,Y
        DEY
        BPL LOOP
        BMI *+5           ; over the jump
        JMP LOOP
DONE    JMP *
TABLE   .BYTE 'MOS',CR,'*,'A,@101,%101,$FF,10
        .WORD START,TABLE+1
        .DBYTE START,$1234
        .END
