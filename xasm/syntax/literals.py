"""Numbers and texts as written, to values."""

from __future__ import annotations

import re

from xasm.source.diagnostics import Fault
from xasm.syntax.expressions import MOST_BITS

DIGITS = {
    2: (re.compile(r"[01]+(?:_[01]+)*"), "binary digits are 0 and 1"),
    8: (re.compile(r"[0-7]+(?:_[0-7]+)*"), "octal digits are 0..7"),
    10: (re.compile(r"[0-9]+(?:_[0-9]+)*"), "decimal digits are 0..9"),
    16: (re.compile(r"[0-9A-Fa-f]+(?:_[0-9A-Fa-f]+)*"), "hexadecimal digits are 0..9 and A..F"),
}
PREFIXES = {"0X": 16, "0B": 2, "0O": 8}
SUFFIXES = {"H": 16, "B": 2, "Q": 8}
ESCAPES = {"n": 10, "t": 9, "r": 13, "a": 7, "b": 8, "f": 12, "v": 11, "\\": 92, '"': 34, "'": 39, "?": 63}
QUOTES = {'"': 'double quote (")', "'": "quote (')"}  # what messages call them
ESCAPE = re.compile(r"\\(?:x([0-9A-Fa-f]{1,2})|([0-7]{1,3})|(.))", re.DOTALL)


def number(text: str, start: int) -> int:
    """The value of a number in any of the forms: 31 0x1F $1F 1FH %1010 0b1010 1010B 0o17 17Q H'1F'.

    A suffix goes before a prefix where both could be meant: 0B10H is hexadecimal. Raises Fault.
    """
    upper = text.upper()
    if upper[0] == "\x03":
        base, digits = 8, text[1:]
    elif upper[0] == "$":
        base, digits = 16, text[1:]
    elif upper[0] == "%":
        base, digits = 2, text[1:]
    elif upper[0] == "H":
        base, digits = 16, text[2:-1]
    elif upper[-1] == "H":
        base, digits = 16, text[:-1]
    elif upper[:2] in PREFIXES and upper != "0B":
        base, digits = PREFIXES[upper[:2]], text[2:]
    elif upper[-1] in SUFFIXES:
        base, digits = SUFFIXES[upper[-1]], text[:-1]
    else:
        base, digits = 10, text
    pattern, rule = DIGITS[base]
    if not pattern.fullmatch(digits):
        if text[0].isdigit() and upper[1:2] not in ("X", "B", "O") and DIGITS[16][0].fullmatch(text):
            raise Fault("bad_number", start, start + len(text), f"a hexadecimal number is written 0x{text}", text=text, why=rule)
        raise Fault("bad_number", start, start + len(text), text=text, why=rule)
    digits = digits.replace("_", "").lstrip("0") or "0"
    if len(digits) > MOST_BITS:
        raise Fault("number_too_big", start, start + len(text), limit=MOST_BITS)
    value = int(digits, base)
    if value.bit_length() > MOST_BITS:
        raise Fault("number_too_big", start, start + len(text), limit=MOST_BITS)
    return value


def text(written: str, start: int) -> str:
    """What a text in quotes means: C escapes inside double quotes, a doubled quote inside single ones.

    Codes given as escapes come back as characters 0..255. Raises Fault.
    """
    if written[0] in "\x02\x04":  # as a maker's habit has it: nothing in it is special
        return written.strip("\x02\x04")
    inner = written[1:-1]
    if written[0] == "'":
        return inner.replace("''", "'")
    if "\\" not in inner:
        return inner

    def code(match: re.Match[str]) -> str:
        hexadecimal, octal, letter = match.groups()
        if hexadecimal:
            return chr(int(hexadecimal, 16))
        if octal and int(octal, 8) < 256:
            return chr(int(octal, 8))
        if letter in ESCAPES:
            return chr(ESCAPES[letter])
        begin = start + 1 + match.start()
        raise Fault("bad_escape", begin, begin + len(match[0]), escape=match[0])

    return ESCAPE.sub(code, inner)
