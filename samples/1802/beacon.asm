; The beacon on Kestrel Rock, on the 1802.
;
; The board: ROM from 0000, RAM from 8000 to 80FF. The lamp hangs on the chip's own line Q, the bell on bit 1 of output
; port 1, the tide gauge is input port 2. Nobody asks for DMA or an interrupt; those pins are tied high.
;
; Every register is 16 bits wide and may be program counter or data pointer. Who does what:
;       R2 always points into the log (X = 2)       R3 program counter of the main loop     R4 that of the tick
;       R5 place in the table                       R6 ticks left                           R7 delay    R8 level
; There is no stack. SEP R4 goes on where R4 points and leaves R3 behind the call; SEP R3 goes back.

        TARGET 1802
        INCLUDE "../shared/kestrel.inc"

QUARTER EQU 10660               ; a quarter of a second at 2 MHz: 6 machine cycles each, until the high byte is 0

        ORG 0x8000              ; RAM; nothing of this is in the ROM
log:
turns:  DS 1                    ; turns of the character, modulo 256
highest: DS 1                   ; highest level
when:   DS 1                    ; the turn in which it came
bell:   DS 1                    ; what goes out, and the byte behind it,
level:  DS 1                    ; what came in
        ASSERT HIGH log == HIGH level, "only the low byte of R2 is ever changed"

        ORG 0x0000
start:  LDI HIGH tick           ; a reset makes R0 the program counter
        PHI R4
        LDI LOW tick
        PLO R4
        LDI HIGH log
        PHI R2
        LDI HIGH main
        PHI R3
        LDI LOW main
        PLO R3
        SEP R3                  ; from here it is R3

main:   SEX R2                  ; X = 2
        REQ                     ; dark
        LDI LOW log
        PLO R2
        LDI 0
        STR R2                  ; turns
        INC R2
        STR R2                  ; highest
        INC R2
        STR R2                  ; when

character:
        LDI HIGH table
        PHI R5
        LDI LOW table
        PLO R5
.step:  LDA R5                  ; D = duration, R5 goes on to the next
        BZ .round               ; a duration of 0 is the end
        PLO R6
        BQ .dark                ; on, off, on, off
        SEQ
        BR .hold
.dark:  REQ
.hold:  SEP R4                  ; one tick
        DEC R6
        GLO R6
        BNZ .hold
        BR .step
.round: LDI LOW turns
        PLO R2
        LDX
        ADI 1
        STR R2
        BR character

; One tick. Reads the gauge, sets the bell, keeps the highest level, waits. Changes D, DF, R2, R7 and R8.
done:   SEP R3                  ; R4 now points at tick again, ready for the next call
tick:   LDI LOW level
        PLO R2
        INP 2                   ; into memory at R2 and into D; read once: the sea does not hold still
        PLO R8
        SMI ALARM               ; DF = 1: no borrow, the water is high
        LDI 0                   ; LDI leaves DF alone
        BNF .quiet
        LDI BELL
.quiet: DEC R2                  ; bell
        STR R2
        OUT 1                   ; from memory at R2; R2 goes on to level
        LDI LOW highest
        PLO R2
        GLO R8
        SD                      ; highest - level; DF = 1: no borrow, nothing new
        BDF .wait
        GLO R8
        STR R2
        DEC R2                  ; turns
        LDX
        INC R2
        INC R2                  ; when
        STR R2
.wait:  LDI HIGH QUARTER
        PHI R7
        LDI LOW QUARTER
        PLO R7
.count: DEC R7
        GHI R7
        BNZ .count
        BR done

; On and off in turn, the lamp being off before the first.
table:  DB BRIEF, PAUSE, BRIEF, PAUSE, LONG, DARK
last:   DB 0
        ASSERT (last - table) % 2 == 0, "a turn must end in the dark"
        ASSERT last < 0x100, "all short branches stay in page 0"
