; The beacon on Kestrel Rock, on the 2650.
;
; The board: ROM from 0000, RAM from 0400 to 04FF. The lamp hangs on the chip's own line FLAG, the bell on bit 1 of
; output port 10; the tide gauge is input port 10. The stack is inside the chip and holds eight addresses.
;
; Who lives where:  R0 whatever is at hand   R1 place in the table   R2 ticks left   R3 level, delay

        TARGET 2650
        INCLUDE "../shared/kestrel.inc"

OUTPUTS EQU 0x10
GAUGE   EQU 0x10
FLAG    EQU 0x40                ; in the upper status
INHIBIT EQU 0x20                ; also there: no interrupts
LOGICAL EQU 0x02                ; in the lower status: compare without signs
QUARTER EQU 139                 ; passes of 749 cycles: a quarter of a second at 1.25 MHz, three periods a cycle

        ORG 0x0400              ; RAM; nothing of this is in the ROM
turns:  DS 1                    ; turns of the character, modulo 256
highest: DS 1                   ; the log: highest level, and the turn in which it came
when:   DS 1

        ORG 0x0000
start:  PPSU INHIBIT            ; no device asks for an interrupt
        CPSU FLAG               ; dark
        CPSL 0xFF               ; register bank 0, arithmetic without carry
        PPSL LOGICAL
        EORZ R0                 ; R0 = 0
        WRTE,R0 OUTPUTS         ; silent
        STRA,R0 turns
        STRA,R0 highest
        STRA,R0 when

character:
        LODI,R1 0xFF            ; one before the first
.step:  LODA,R0 table,R1,+      ; R1 goes on, then R0 is read there
        BCTR,EQ .round          ; a duration of 0 is the end
        STRZ R2                 ; ticks
        TPSU FLAG               ; equal: the line is high
        BCTR,EQ .dark
        PPSU FLAG               ; on, off, on, off
        BCTR,UN .hold
.dark:  CPSU FLAG
.hold:  BSTR,UN tick
        BDRR,R2 .hold
        BCTR,UN .step
.round: LODA,R0 turns
        ADDI,R0 1
        STRA,R0 turns
        BCTR,UN character

; One tick. Reads the gauge, sets the bell, keeps the highest level, waits. Changes R0 and R3.
tick:   REDE,R3 GAUGE           ; read once: the sea does not hold still between two looks
        LODI,R0 BELL
        COMI,R3 ALARM
        BCFR,LT .out            ; not less: the water is high
        EORZ R0
.out:   WRTE,R0 OUTPUTS
        LODZ R3
        COMA,R0 highest
        BCFR,GT .wait           ; not greater: nothing new
        STRA,R0 highest
        LODA,R0 turns
        STRA,R0 when
.wait:  LODI,R3 QUARTER
.pass:  LODI,R0 248
.count: BDRR,R0 .count          ; 248 times round,
        BDRR,R3 .pass           ; QUARTER times over
        RETC,UN

; On and off in turn, the lamp being off before the first.
table:  DB BRIEF, PAUSE, BRIEF, PAUSE, LONG, DARK
last:   DB 0
        ASSERT (last - table) % 2 == 0, "a turn must end in the dark"
