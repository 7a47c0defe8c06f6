"""Random expression trees: what they are worth, and how they are written.

A tree is a tuple: ("number", value, spelling), ("name", name), ("unary", sign, tree), ("binary", sign, tree, tree),
("choose", tree, tree, tree). The precedence is C's, typed here from the language, not taken from the grammar.
"""

from __future__ import annotations

import math
import random
import re
from collections.abc import Mapping
from fractions import Fraction
from typing import Any

import pytest

import xasm
from tests.invented import BRANCHES, chip
from xasm.source.messages import CATALOGUE

Tree = tuple[Any, ...]

CHIP = chip(BRANCHES)
HERE = 0x1234
# `$` is the address of the statement; the others are defined before and behind the expression.
NAMES = {"early": 7, "late": -300, "place": HERE, "Place": HERE + 1, "notes": 0, "$": HERE}
PROGRAM = 'early EQU 7\nnotes EQU 0\n ORG 0x1234\nplace: \nit EQU {} ; it\'s "all" right\n DS 1\nPlace:\nlate EQU -300\n'

# From loose to tight; all operators between two values group to the left.
LEVELS = (("||",), ("&&",), ("|",), ("^",), ("&",), ("==", "!="), ("<", ">", "<=", ">="), ("<<", ">>"), ("+", "-"), ("*", "/", "%"))
PRECEDENCE = {sign: level for level, signs in enumerate(LEVELS, 1) for sign in signs}
UNARY_LEVEL = len(LEVELS) + 1
BETWEEN = tuple(PRECEDENCE)
BEFORE = ("+", "-", "~", "!", "<", ">")
WORDS_BETWEEN = {"&": "AND", "|": "OR", "^": "XOR", "%": "MOD", "<<": "SHL", ">>": "SHR"}
WORDS_BEFORE = {"~": "NOT", "<": "LOW", ">": "HIGH"}
BITS = 512  # of any value


def value(text: str) -> int:
    """What an expression is worth in PROGRAM."""
    return xasm.assemble(PROGRAM.format(text), CHIP).symbols["it"]


def message(text: str) -> str:
    """The one message about an expression in PROGRAM."""
    with pytest.raises(xasm.SourceErrors) as caught:
        value(text)
    (found,) = caught.value.diagnostics
    assert found.line == 5
    return str(found.message)


def says(code: str, **values: object) -> str:
    """A message of the catalogue."""
    return CATALOGUE[code].format(**values)


def printed(source: str) -> str:
    """All that is printed about a wrong program."""
    with pytest.raises(xasm.SourceErrors) as caught:
        xasm.assemble(source, CHIP)
    return str(caught.value)


class NoValue(Exception):
    """A tree has none; the text names the message that says so."""


def worth(tree: Tree, names: Mapping[str, int]) -> int:
    """The value by the rules of C, with integers of any size."""
    kind = tree[0]
    if kind == "number":
        return int(tree[1])
    if kind == "name":
        return names[tree[1]]
    if kind == "choose":
        return worth(tree[2] if worth(tree[1], names) else tree[3], names)
    if kind == "unary":
        return before(tree[1], worth(tree[2], names))
    left = worth(tree[2], names)
    if tree[1] == "&&" and not left:
        return 0
    if tree[1] == "||" and left:
        return 1
    return between(tree[1], left, worth(tree[3], names))


def before(sign: str, value: int) -> int:
    if sign in "<>":
        return value // 256 % 256 if sign == ">" else value % 256
    return {"+": value, "-": -value, "~": -1 - value, "!": 1 if value == 0 else 0}[sign]


def between(sign: str, left: int, right: int) -> int:
    if sign in ("/", "%") and right == 0:
        raise NoValue("divide_by_zero")
    if sign in ("<<", ">>") and not 0 <= right <= BITS:
        raise NoValue("bad_shift")
    result = {
        "+": lambda: left + right,
        "-": lambda: left - right,
        "*": lambda: left * right,
        "/": lambda: math.trunc(Fraction(left, right)),
        "%": lambda: left - right * math.trunc(Fraction(left, right)),
        "<<": lambda: left * 2**right,
        ">>": lambda: math.floor(Fraction(left, 2**right)),
        "&": lambda: left & right,
        "|": lambda: left | right,
        "^": lambda: left ^ right,
        "==": lambda: int(left == right),
        "!=": lambda: int(left != right),
        "<": lambda: int(left < right),
        ">": lambda: int(left > right),
        "<=": lambda: int(left <= right),
        ">=": lambda: int(left >= right),
        "&&": lambda: int(bool(left) and bool(right)),
        "||": lambda: int(bool(left) or bool(right)),
    }[sign]()
    if abs(result) >= 2**BITS:
        raise NoValue("number_too_big")
    return result


class Writer:
    """Writes trees as source text. `choice` decides spelling and blanks; with `plain` C only: signs and decimal numbers.
    `loose` is the chance of parentheses that are not needed."""

    def __init__(self, choice: random.Random, loose: float = 0.0, plain: bool = False) -> None:
        self.choice = choice
        self.loose = loose
        self.plain = plain

    def write(self, tree: Tree) -> str:
        return self.join(self.tokens(tree, 0))

    def tokens(self, tree: Tree, level: int) -> list[str]:
        """The tokens of a tree where only operators of at least `level` may stand without parentheses."""
        kind = tree[0]
        own = UNARY_LEVEL + 1
        if kind == "number":
            tokens = [str(tree[1]) if self.plain else tree[2]]
        elif kind == "name":
            tokens = [tree[1]]
        elif kind == "choose":
            own = 0
            tokens = [*self.tokens(tree[1], 1), "?", *self.tokens(tree[2], 0), ":", *self.tokens(tree[3], 0)]
        elif kind == "unary":
            own = UNARY_LEVEL
            tokens = [self.sign(tree[1], WORDS_BEFORE), *self.tokens(tree[2], own)]
        else:
            own = PRECEDENCE[tree[1]]
            tokens = [*self.tokens(tree[2], own), self.sign(tree[1], WORDS_BETWEEN), *self.tokens(tree[3], own + 1)]
        if own < level or self.choice.random() < self.loose:
            return ["(", *tokens, ")"]
        return tokens

    def sign(self, sign: str, words: Mapping[str, str]) -> str:
        if self.plain or sign not in words or self.choice.random() < 0.5:
            return sign
        return "".join(self.choice.choice((letter, letter.lower())) for letter in words[sign])

    def join(self, tokens: list[str]) -> str:
        """Tokens with blanks here and there, and wherever two would run together."""
        text = tokens[0]
        for token in tokens[1:]:
            if touches(text, token) or (self.plain and text[-1] == token[0] and token in "+-") or self.choice.random() < 0.3:
                text += self.choice.choice((" ", "  ", "\t")) if not self.plain else " "
            text += token
        return text


def touches(text: str, token: str) -> bool:
    """Whether a token cannot follow without a blank: words and numbers run together, and so do `<` and `<`."""
    if text[-1] in "<>" and token[0] == text[-1]:
        return True
    return bool(re.search(r"[A-Za-z0-9_$]$", text)) and (token[0].isalnum() or token[0] == "_")


def spelling(value: int, choice: random.Random) -> str:
    """One of all ways to write a number that is not negative."""
    hexadecimal = grouped(f"{value:X}" if choice.random() < 0.5 else f"{value:x}", choice)
    binary = grouped(f"{value:b}", choice)
    octal = grouped(f"{value:o}", choice)
    zero = "" if hexadecimal[0].isdigit() and choice.random() < 0.5 else "0"
    forms = [
        grouped(str(value), choice),
        f"0x{hexadecimal}",
        f"0X{hexadecimal}",
        f"${hexadecimal}",
        f"{zero}{hexadecimal}H",
        f"{zero}{hexadecimal}h",
        f"H'{hexadecimal}'",
        f"h'{hexadecimal}'",
        f"0b{binary}",
        f"0B{binary}",
        f"%{binary}",
        f"{binary}B",
        f"{binary}b",
        f"0o{octal}",
        f"{octal}Q",
        f"{octal}q",
    ]
    if 32 <= value < 127:
        character = chr(value)
        forms += [f"'{character}'" if character != "'" else "''''"] * 3
        forms.append(f'"{character}"' if character not in '"\\' else f'"\\{character}"')
        forms += [f'"\\x{value:x}"', f'"\\{value:o}"']
    return choice.choice(forms)


def grouped(digits: str, choice: random.Random) -> str:
    """Digits with a few underscores between them."""
    return digits[0] + "".join("_" * (choice.random() < 0.1) + digit for digit in digits[1:])


def grow(choice: random.Random, names: tuple[str, ...] = (), depth: int = 4) -> Tree:
    """A random tree of at most `depth` operators on the way to any leaf."""
    pick = choice.random()
    if depth == 0 or pick < 0.15:
        if names and choice.random() < 0.3:
            return ("name", choice.choice(names))
        value = choice.randrange(1 << choice.choice((2, 2, 7, 7, 16, 16, 32, 32, 500)))
        return ("number", value, spelling(value, choice))
    if pick < 0.3:
        return ("unary", choice.choice(BEFORE), grow(choice, names, depth - 1))
    if pick < 0.38:
        return ("choose", *(grow(choice, names, depth - 1) for _ in range(3)))
    sign = choice.choice(BETWEEN)
    right = grow(choice, names, depth - 1)
    if sign in ("<<", ">>") and choice.random() < 0.8:
        count = choice.randrange(20)
        right = ("number", count, spelling(count, choice))
    return ("binary", sign, grow(choice, names, depth - 1), right)
