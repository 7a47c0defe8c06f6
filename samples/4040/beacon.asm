; The beacon on Kestrel Rock, on the 4040.
;
; The board is that of the 4004: the ports of ROM chips 1 and 2 are the two halves of the tide gauge; RAM chip 0, in the
; bank that a reset selects, has lamp and bell on its output lines and the log in register 0. What the bigger chip adds
; makes the program calmer: the gauge has a bank of registers of its own, and a bit is set or cleared where it is.
;
; Who lives where:  bank 0:  P0 place in the table   R2 R3 one entry: on, off
;                   bank 1:  P0 addresses            R2 R3 level    R4 BELL   R6 all but BELL
;                   both:    P4 P5 delay             R12 R13 turns  R14 lines out   R15 ticks left

        TARGET 4040
        INCLUDE "../shared/kestrel.inc"
        ASSERT LAMP == 1, "hold changes the lowest bit"

GAUGE_LOW  EQU 0x10             ; the upper four bits after SRC choose a ROM chip
GAUGE_HIGH EQU 0x20
LOG        EQU 0x00             ; RAM chip, register and character; the chip has the lamp, too

        ORG 0x000
start:  JUN main
        NOP
        BBS                     ; 003 is where an interrupt calls: back at once, with everything restored

main:   DIN                     ; nor do we listen to any
        SB1                     ; from here R0..R7 are the gauge's
        FIM P2,BELL << 4
        FIM P3,(15 - BELL) << 4
        FIM P0,LOG
        SRC P0
.clear: LDM 0                   ; the log begins empty
        JMS put
        LDM 4
        CLC                     ; on the way into SUB a carry of 0 is "no borrow"
        SUB R1                  ; 4 - R1: have four characters been put?
        JCN 12,.clear           ; 8 + 4: jump while the accumulator is not zero
        SB0                     ; and from here they are ours
        FIM P6,0                ; no turn is complete
        LDM 0
        XCH R14                 ; lamp dark, bell silent

character:
        FIM P0,table
step:   FIN P1                  ; one byte of the table: R2 is on, R3 is off
        LD R2
        JCN 4,round             ; an entry without light is the end
        JMS hold                ; change the lamp, wait R2 ticks
        LD R3
        JMS hold                ; change it back, wait R3 ticks
        INC R1                  ; R1 alone: the table lies within 16 words
        JUN step
round:  ISZ R13,character       ; one more turn; when the low half has come round to zero
        INC R12                 ; the high half goes on
        JUN character

; Changes the lamp and waits as many ticks as the accumulator says, 1 to 15.
hold:   CMA
        IAC                     ; 16 - ticks, since ISZ counts upward
        XCH R15
        LD R14
        RAR                     ; the lamp's bit into the carry,
        CMC                     ; changed,
        RAL                     ; and back into its place
        XCH R14
.tick:  JMS gauge
        FIM P4,0x8C             ; a quarter of a second at 740 kHz: from 0xD5C8 up to 0x10000,
        FIM P5,0x5D             ; with the lowest digit in R8 and the highest in R11
.wait:  ISZ R8,.wait
        ISZ R9,.wait
        ISZ R10,.wait
        ISZ R11,.wait
        ISZ R15,.tick
        BBL 0

; Reads the gauge, sets lamp and bell, keeps the highest level. Works in bank 1: R0..R3 of the caller stay as they are.
gauge:  SB1
        FIM P0,GAUGE_LOW
        SRC P0
        RDR
        XCH R3
        FIM P0,GAUGE_HIGH
        SRC P0
        RDR
        XCH R2
        FIM P0,ALARM            ; R0 and R1: the level to compare with
        CLC
        LD R3
        SUB R1                  ; what leaves SUB as 1 is "no borrow",
        CMC                     ; what enters the next one as 1 is "borrow"
        LD R2
        SUB R0                  ; carry 1: level - ALARM did not borrow, the water is high
        FIM P0,LOG
        SRC P0
        LD R14
        AN6                     ; bell off; the carry stays
        JCN 10,.quiet           ; 8 + 2: jump if the carry is 0
        OR4                     ; bell on
.quiet: WMP                     ; both lines change at once
        XCH R14
        INC R1                  ; character 1: the low half of the highest level
        SRC P0
        RDM
        CLC
        SUB R3
        CMC
        FIM P0,LOG              ; character 0: the high half
        SRC P0
        RDM
        SUB R2
        JCN 2,.done             ; carry 1: highest - level did not borrow, nothing new
        LD R2
        JMS put
        LD R3
        JMS put
        LD R12
        JMS put
        LD R13
        JMS put
.done:  SB0
        BBL 0

; Writes a character and goes on to the next. Four calls deep at most; the stack of this chip would hold seven.
put:    WRM
        INC R1
        SRC P0
        BBL 0

        ALIGN 16
table:  DB BRIEF << 4 | PAUSE, BRIEF << 4 | PAUSE, LONG << 4 | DARK
last:   DB 0
        ASSERT last < 0x100, "FIN and all short jumps stay in page 0"
