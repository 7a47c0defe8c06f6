; The beacon on Kestrel Rock, on the INS8060 (SC/MP).
;
; The board: ROM from 0000, RAM from 0C00 to 0C3F, the tide gauge at 0C40. The lamp is the chip's own pin flag 0, the bell
; flag 1. All lies in the first page of 4096 bytes. The inputs sense A and sense B are tied low.
;
; Who lives where:  P1 place in the table   P2 always the log   P3 the tick, ready to be called; there is no stack.
; XPPC P3 changes the program counter with P3: it calls, and at the end of the tick it goes back.

        TARGET ins8060
        INCLUDE "../shared/kestrel.inc"
        ASSERT LAMP == 1 && BELL == 2, "the lamp is flag 0, the bell is flag 1"

; A quarter of a second at 4 MHz: 2 * 124800 microcycles and what else is done in a tick. DLY waits for 13 + 2 * A + 514 * COUNT,
; A being the accumulator, in which it leaves 255.
COUNT   EQU 242
FIRST   EQU 200

        ORG 0x0C00              ; RAM; nothing of this is in the ROM
log:
turns:  DS 1                    ; turns of the character, modulo 256
highest: DS 1                   ; the log: highest level, and the turn in which it came
when:   DS 1
lines:  DS 1                    ; what the lamp and the bell were told last
level:  DS 1
ticks:  DS 1                    ; left of a step
GAUGE   EQU 0x0C40
        ASSERT GAUGE - log < 128, "the gauge is reached through P2"

        ORG 0x0001
start:  LDI HIGH log
        XPAH P2
        LDI LOW log
        XPAL P2
        LDI HIGH (tick - 1)     ; the program counter counts before it fetches
        XPAH P3
        LDI LOW (tick - 1)
        XPAL P3
        LDI 0
        ST turns - log(P2)
        ST highest - log(P2)
        ST when - log(P2)
        ST lines - log(P2)      ; dark and silent

character:
        LDI HIGH table
        XPAH P1
        LDI LOW table
        XPAL P1
.step:  LD @1(P1)               ; duration; P1 goes on to the next
        JZ .round               ; a duration of 0 is the end
        ST ticks - log(P2)
        LD lines - log(P2)
        XRI LAMP                ; on, off, on, off
        ST lines - log(P2)
.hold:  XPPC P3                 ; one tick
        DLD ticks - log(P2)     ; into the accumulator as well
        JNZ .hold
        JMP .step
.round: ILD turns - log(P2)
        JMP character

; One tick. Reads the gauge, sets lamp and bell, keeps the highest level, waits. Changes accumulator and carry.
done:   XPPC P3                 ; P3 now stays here, and the next call goes on behind it
tick:   LD GAUGE - log(P2)      ; read once: the sea does not hold still between two looks
        ST level - log(P2)
        SCL
        CAI ALARM               ; carry 1: no borrow, the water is high
        CSA                     ; the carry is the highest bit of the status
        JP .low
        LD lines - log(P2)
        ORI BELL
        JMP .out
.low:   LD lines - log(P2)
        ANI ~BELL
.out:   ST lines - log(P2)
        CAS                     ; both lines change at once; carry 0, interrupts off
        LD highest - log(P2)
        SCL
        CAD level - log(P2)     ; highest - level; carry 1: no borrow, nothing new
        CSA
        ANI 0x80
        JNZ .wait
        LD level - log(P2)
        ST highest - log(P2)
        LD turns - log(P2)
        ST when - log(P2)
.wait:  LDI FIRST
        DLY COUNT
        DLY COUNT
        JMP done

; On and off in turn, the lamp being off before the first.
table:  DB BRIEF, PAUSE, BRIEF, PAUSE, LONG, DARK
last:   DB 0
        ASSERT (last - table) % 2 == 0, "a turn must end in the dark"
