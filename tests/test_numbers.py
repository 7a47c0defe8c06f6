"""Numbers and characters as they are written, and the signs that mean two things."""

from __future__ import annotations

import pytest

from tests.trees import HERE, printed, value

# the signs that mean two things


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        # `$` alone is the address, before a hexadecimal digit it begins a number
        ("$", HERE),
        ("$+1", HERE + 1),
        ("$-$", 0),
        ("$ - 0x34", 0x1200),
        ("$ AND $F", 4),
        ("$/$10", 0x123),
        ("$F", 15),
        ("$f0", 240),
        ("$0", 0),
        ("5*$10+$", 80 + HERE),
        ("($)", HERE),
        ("$>>8", 0x12),
        ("$==place", 1),
        ("$?$1:$2", 1),
        # the suffix H goes before the prefixes
        ("0B10H", 0xB10),
        ("0b1h", 0xB1),
        ("0BH", 11),
        ("0B", 0),
        ("0B1", 1),
        ("1010B", 10),
        ("1B", 1),
        ("0FFH", 255),
        ("10H", 16),
        ("10Q", 8),
        # `%` where a value is expected is a binary number, behind a value it is the remainder
        ("%1010", 10),
        ("7%4", 3),
        ("7%10", 7),
        ("7 %10", 7),
        ("7 % %10", 1),
        ("7%%10", 1),
        ("%111%%10", 1),
        ("(7)%10", 7),
        ("-%1", -1),
        ("$%10", HERE % 10),
        ("place%100", HERE % 100),
        ("'A'%10", 5),
        # `<` and `>` in front of a value are its low and high byte, behind a value they compare
        ("<0x1234", 0x34),
        (">0x1234", 0x12),
        (">>0x1234", 0),
        (">0x123456", 0x34),
        ("<-1", 255),
        (">-2", 255),
        ("1<2", 1),
        ("1<<2", 4),
        ("1< <2", 1),
        ("1<>0x300", 1),
        (">0x300>2", 1),
        ("<0x1FF+1", 256),
        ("<(0x1FF+1)", 0),
        ("><0x1234", 0),
        ("> >0x123456", 0),
        ("-<0x1FF", -255),
        ("5>=<0x105", 1),
        # characters are their codes
        ("'A'", 65),
        ("'A'+1", 66),
        ("'A'|0x80", 0xC1),
        ("'z'-'a'", 25),
        ("''''", 39),
        ("''''+''''", 78),
        ("' '", 32),
        ("';'", 59),
        ("'\"'", 34),
        ('"A"', 65),
        ('"\'"', 39),
        ('"\\""', 34),
        ('"\\n"', 10),
        ('"\\0"', 0),
        ('"\\xff"', 255),
        ("NOT'A'", -66),
        ("LOW';'", 59),
        ("1 OR';'", 59),
        ("'A'OR'B'", 67),
    ],
)
def test_signs_with_two_meanings(text: str, wanted: int) -> None:
    assert value(text) == wanted


# numbers


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("0", 0),
        ("31", 31),
        ("007", 7),
        ("1_000_000", 1000000),
        ("0x1F", 31),
        ("0X1f", 31),
        ("0xDE_AD", 0xDEAD),
        ("0x0", 0),
        ("$1F", 31),
        ("$1_F", 31),
        ("$0ff", 255),
        ("1FH", 31),
        ("1fh", 31),
        ("0_1FH", 31),
        ("0FFH", 255),
        ("0A0Bh", 0xA0B),
        ("H'1F'", 31),
        ("h'f_f'", 255),
        ("H'0'", 0),
        ("%1010", 10),
        ("%1111_0000", 240),
        ("0b1010", 10),
        ("0B1_0", 2),
        ("1010B", 10),
        ("1111_0000b", 240),
        ("0o17", 15),
        ("0O1_7", 15),
        ("17Q", 15),
        ("7_7q", 63),
        ("9H", 9),
        ("0" * 511 + "1", 1),
        (str(2**512 - 1), 2**512 - 1),
        ("0x" + "F" * 128, 2**512 - 1),
    ],
)
def test_numbers(text: str, wanted: int) -> None:
    assert value(text) == wanted
    assert value(f"-{text}+1") == 1 - wanted


BINARY = "binary digits are 0 and 1"
OCTAL = "octal digits are 0..7"
DECIMAL = "decimal digits are 0..9"
HEXADECIMAL = "hexadecimal digits are 0..9 and A..F"


@pytest.mark.parametrize(
    ("text", "why", "hint"),
    [
        ("0x", HEXADECIMAL, None),
        ("0xG", HEXADECIMAL, None),
        ("0x_1", HEXADECIMAL, None),
        ("0x1_", HEXADECIMAL, None),
        ("0XFH", HEXADECIMAL, None),
        ("$1G", HEXADECIMAL, None),
        ("$F_", HEXADECIMAL, None),
        ("1GH", HEXADECIMAL, None),
        ("1_H", HEXADECIMAL, None),
        ("H''", HEXADECIMAL, None),
        ("H'XY'", HEXADECIMAL, None),
        ("0b2", BINARY, None),
        ("0b1_", BINARY, None),
        ("0b1010B", BINARY, None),
        ("%2", BINARY, None),
        ("%1__0", BINARY, None),
        ("12B", BINARY, "0x12B"),
        ("12AB", BINARY, "0x12AB"),
        ("1_B", BINARY, "0x1_B"),
        ("0o", OCTAL, None),
        ("0o8", OCTAL, None),
        ("8Q", OCTAL, None),
        ("1F", DECIMAL, "0x1F"),
        ("10D", DECIMAL, "0x10D"),
        ("1e5", DECIMAL, "0x1e5"),
        ("1__0", DECIMAL, None),
        ("1_", DECIMAL, None),
        ("12x", DECIMAL, None),
        ("$AND", HEXADECIMAL, None),
        ("0_x1", DECIMAL, None),
    ],
)
def test_malformed_numbers(text: str, why: str, hint: str | None) -> None:
    wanted = f"<source>:1:5: error: '{text}' is not a number: {why}\n     DB {text}\n        {'^' * len(text)}"
    if hint:
        wanted += f"\n    a hexadecimal number is written {hint}"
    assert printed(f" DB {text}\n") == wanted
