"""Sources that nobody means well: name to the content of the file, and what the first message about it must hold.

No instruction of any chip is used, so that any chip will do; `CHIP` is the one, `TOP` its highest address.
"""

from __future__ import annotations

import random
from collections.abc import Callable

from xasm.target.finding import load_target, table_paths

CHIP = next(iter(table_paths()))
TOP = load_target(CHIP).top


def noise(seed: int, first: int, last: int) -> bytes:
    source = random.Random(seed)
    return bytes(source.randint(first, last) for _ in range(5000))


def lines(count: int, line: Callable[[int], str]) -> bytes:
    return "".join(line(index) for index in range(count)).encode()


DEEP = "the expression is nested deeper than 200 levels"
BEYOND = f"beyond the last address 0x{TOP:X}"
# The content of a source, and what its first message must hold.
HOSTILE: dict[str, tuple[bytes, str]] = {
    # files
    "nothing": (b"", "there is nothing to write"),
    "blank lines": (b"\n" * (1 << 20), "there is nothing to write"),
    "only END": (b" END\n DB 1\n", "there is nothing to write"),
    "random bytes": (noise(1, 0, 255), "is no UTF-8 text"),
    "random bytes above ASCII": (noise(2, 128, 255), "is no UTF-8 text"),
    "random ASCII": (noise(3, 0, 127), "does not belong in a source"),
    "random printable ASCII": (noise(4, 32, 126), "error: "),
    "a program for another machine": (b"\x7fELF\x02\x01\x01" + bytes(1000), "does not belong in a source"),
    "all control characters": ("".join(map(chr, range(0xA0))).encode(), "the character with code 0x00"),
    "one control character": (b" DB 1\n DB 2 \x1b[31m\n", "the character with code 0x1B"),
    "marks that turn the writing round": (" DB 1 \u202e\u2066 2\n".encode(), "U+202E"),
    "digits of another script": (" DB \u0665\n".encode(), "cannot stand here"),
    "UTF-16": (" DB 1\n".encode("utf-16"), "is no UTF-8 text"),
    "too long a file": (b"\n" * ((64 << 20) + 1), "the file is longer than 67,108,864 bytes"),
    # lines
    "a line of 1 MB": (b" DB 1" + b",1" * 500_000 + b"\n", "the line has 1,000,005 characters"),
    "a word of 1 MB": (b"x" * 1_000_000, "the line has 1,000,000 characters"),
    "a name as long as a line may be": (b" DB " + b"x" * 65_000, "is not defined"),
    "200,000 mistakes": (b" wrong\n" * 200_000, "is no instruction"),
    "10,000 names that nobody defined": (lines(10_000, lambda index: f" DW name{index}\n"), "'name0' is not defined"),
    "10,000 names that are nearly right": (
        lines(10_000, lambda index: f"label{index}x EQU 1\n") + lines(10_000, lambda index: f" DW label{index}\n"),
        "'label0' is not defined",
    ),
    "an unclosed text": (b' DB "' + b"\\" * 60_001, "the text has no closing double quote"),
    "an INCLUDE of itself": (b' INCLUDE "prog.asm"\n', "'prog.asm' includes itself"),
    "an INCLUDE of a folder": (b' INCLUDE "/"\n', "cannot find '/'"),
    "an INCLUDE of a device": (b' INCLUDE "/dev/zero"\n', "cannot find '/dev/zero'"),
    "an INCLUDE of a name that no file has": (b' INCLUDE "' + b"x" * 5000 + b'"\n', "cannot find 'xxx"),
    "an EMBED of a device": (b' EMBED "/dev/zero"\n', "cannot find '/dev/zero'"),
    # values
    "a shift by ten thousand million": (b" DB 1<<10000000000\n", "cannot shift by 10000000000"),
    "a shift to the left, again and again": (b"value := 1\n" + b"value := value << 512\n" * 100, "the value has more than 512 bits"),
    "a number with 60,000 digits": (b" DB " + b"9" * 60_000, "the value has more than 512 bits"),
    "multiplication by itself": (b"value := 3\n" + b"value := value * value\n" * 20_000, "the value has more than 512 bits"),
    "multiplication of what comes later": (
        b"value := later\n" + b"value := value * value\n" * 5000 + b"later EQU 3\n DB value & 1\n",
        "the value has more than 512 bits",
    ),
    "20,000 constants in a circle": (lines(20_000, lambda index: f"n{index} EQU n{(index + 1) % 20_000}\n"), "is defined by itself"),
    "10,000 round brackets": (b" DB " + b"(" * 10_000 + b"1" + b")" * 10_000, DEEP),
    "10,000 square brackets": (b" DB " + b"[" * 10_000 + b"1" + b"]" * 10_000, DEEP),
    "10,000 opening brackets": (b" DB " + b"(" * 10_000, "the line ends where ')' is expected"),
    "10,000 minus signs": (b" DB " + b"-" * 10_000 + b"1", DEEP),
    "10,000 tildes": (b" DB " + b"~" * 10_000 + b"1", DEEP),
    "10,000 words in front": (b" DB " + b"NOT " * 10_000 + b"1", DEEP),
    "a sum of 10,000": (b" DB 1" + b"+1" * 10_000, DEEP),
    "10,000 choices": (b" DB " + b"1?" * 10_000 + b"1" + b":1" * 10_000, DEEP),
    "10,000 points": (b" DB one" + b".x" * 10_000, DEEP),
    # memory
    "DS 0x7FFFFFFF": (b" DS 0x7fffffff\n DB 1\n", BEYOND),
    "DS 0x7FFFFFFF, filled": (b" DS 0x7fffffff,0\n", BEYOND),
    "DS of a huge number": (b" DS 1 << 500\n DB 1\n", BEYOND),
    "DS of what comes later": (b" DS later\n DB 1\nlater EQU 1 << 500\n", BEYOND),
    "ALIGN far away": (b" DB 1\n ALIGN 1 << 31, 0\n DB 1\n", BEYOND),
    "lengths that need each other": (b"one: DS two + 1\ntwo: DS one + 1\n DB 1\n", "the sizes never settle"),
    "ORG beyond the space": (b" ORG 0x7fffffff\n DB 1\n", "address 2147483647 (0x7FFFFFFF) is outside"),
    "ORG below the space": (b" ORG -1\n DB 1\n", "address -1 is outside"),
    "ORG at a huge number": (b" ORG 1 << 500\n DB 1\n", "a number of 501 bits is outside"),
    "data past the top": (f" ORG {TOP}\n DB 1, 2\n".encode(), BEYOND),
    "data at the top and then more": (f" ORG {TOP}\n DB 1\n DB 2\n".encode(), BEYOND),
    "more data than memory": (b" DB 1\n" * (TOP + 2), BEYOND),
    "the same place 20,000 times": (b" ORG 0\n DS 4095,0\n" * 20_000, "has put something there already"),
    "a start beyond the space": (b" DB 1\n END 1 << 500\n", "the start address is"),
    "50,000 conditions that fail": (b" ASSERT 0\n" * 50_000, "ASSERT failed"),
    # what brings in more
    "OF without end": (b" DB " + b",".join([b"4000 OF 0"] * 6000), "values are more than the"),
    "OF a huge number": (b" DB 1<<300 OF 0\n", "values are more than the"),
    "REPT without end": (b" REPT 1<<60\n DB 1\n ENDM\n", "bring in more than 200,000 lines"),
    "REPT of data": (b" REPT 100000\n DB 4096 OF 0\n ENDM\n", "the program makes more than 1,048,576 words"),
    "REPT of filled memory": (b" REPT 60000\n ORG 0\n DS 4095,0\n ENDM\n", "the program makes more than 1,048,576 words"),
    "REPT in REPT in REPT": (b" REPT 1000\n" * 3 + b" DB 1\n" + b" ENDM\n" * 3, "bring in more than 200,000 lines"),
    "REPT of mistakes": (b" REPT 199999\n wrong\n ENDM\n", "is no instruction"),
    "a macro that calls itself": (b"more MACRO\n more\n ENDM\n more\n", "inside one another more than 100 deep"),
    "a macro that calls itself twice": (b"more MACRO\n more\n more\n ENDM\n more\n", "inside one another more than 100 deep"),
    "a macro that doubles its text": (b"more MACRO text\n more {text}{text}\n ENDM\n more xx\n", "the limit is 65,536"),
    "a macro that makes much text of much": (
        b"more MACRO text\n DB 1 ; {text}{text}{text}{text}\n ENDM\n REPT 60000\n more " + b"x" * 10_000 + b"\n ENDM\n",
        "bring in more than 200,000 lines",
    ),
    "100,000 conditions left open": (b" IF 1\n" * 100_000, "this IF has no ENDIF"),
    "100,000 macros left open": (b"more MACRO\n" * 100_000, "this MACRO has no end"),
}
