; The beacon on Kestrel Rock, on the 4004.
;
; The board: one page of ROM holds all of this program. The port of ROM chip 1 is the low half of the tide gauge, that
; of ROM chip 2 the high half. RAM chip 0 has the lamp and the bell on its output lines; the log is the first four
; characters of its register 0: the highest level (high half, low half) and the turn in which it came (high, low).
;
; Who lives where:  P0 place in the table   R2 R3 one entry: on, off   P2 addresses and small change   R6 R7 level
;                   P4 P5 delay, R8 bell    R12 R13 turns              R14 lines out                   R15 ticks left

        TARGET 4004
        INCLUDE "../shared/kestrel.inc"
        ASSERT LAMP == 1 && BELL == 2, "the lamp is rotated in from the carry, the bell is one to the left"

GAUGE_LOW  EQU 0x10             ; the upper four bits after SRC choose a ROM chip
GAUGE_HIGH EQU 0x20
LOG        EQU 0x00             ; RAM chip, register and character; the chip has the lamp, too

        ORG 0x000
start:  LDM 0
        DCL                     ; RAM bank 0
        FIM P2,LOG
        SRC P2
.clear: LDM 0                   ; the log begins empty
        JMS put
        LDM 4
        CLC                     ; on the way into SUB a carry of 0 is "no borrow"
        SUB R5                  ; 4 - R5: have four characters been put?
        JCN 12,.clear           ; 8 + 4: jump while the accumulator is not zero
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

; Reads the gauge, sets lamp and bell, keeps the highest level.
gauge:  FIM P2,GAUGE_LOW
        SRC P2
        RDR
        XCH R7
        FIM P2,GAUGE_HIGH
        SRC P2
        RDR
        XCH R6
        FIM P2,ALARM            ; R4 and R5: the level to compare with
        CLC
        LD R7
        SUB R5                  ; what leaves SUB as 1 is "no borrow",
        CMC                     ; what enters the next one as 1 is "borrow"
        LD R6
        SUB R4                  ; carry 1: level - ALARM did not borrow, the water is high
        TCC                     ; accumulator = 1 for high water, carry = 0
        XCH R8
        FIM P2,LOG
        SRC P2
        LD R14
        RAR                     ; the lamp into the carry
        LD R8
        RAL                     ; bell and lamp, side by side again
        WMP                     ; both lines change at once
        XCH R14
        INC R5                  ; character 1: the low half of the highest level
        SRC P2
        RDM
        CLC
        SUB R7
        CMC
        FIM P2,LOG              ; character 0: the high half
        SRC P2
        RDM
        SUB R6
        JCN 2,.done             ; carry 1: highest - level did not borrow, nothing new
        LD R6
        JMS put
        LD R7
        JMS put
        LD R12
        JMS put
        LD R13
        JMS put
.done:  BBL 0

; Writes a character and goes on to the next. Main, hold, gauge, put: all three places of the stack are in use here.
put:    WRM
        INC R5
        SRC P2
        BBL 0

        ALIGN 16
table:  DB BRIEF << 4 | PAUSE, BRIEF << 4 | PAUSE, LONG << 4 | DARK
last:   DB 0
        ASSERT last < 0x100, "FIN and all short jumps stay in page 0"
