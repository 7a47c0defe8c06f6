"""A line of a typed listing cut into address, words and the text beside them.

Digits are judged with the typist's slips in mind: a letter that looks like a digit, a digit too few or too many. What is
certainly no word ends the words; what may be one with a slip in it is kept, marked.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import NamedTuple

BASES = {"hex": 16, "octal": 8, "decimal": 10}
LETTERS = {16: "0-9A-Fa-f", 8: "0-7", 10: "0-9"}
LOOKALIKES = str.maketrans({"O": "0", "o": "0", "Q": "0", "l": "1", "I": "1", "i": "1", "|": "1", "S": "5", "s": "5", "Z": "2", "z": "2"})
TOKEN = re.compile(r"(?<!\S)[0-9A-Fa-f]+(?=/)|(?<=[0-9A-Fa-f])/|[^\s,:=|;]+,?|[:=|;]")
COLONS = (":", "/")  # signs behind an address
PREFIX = re.compile(r"(?:\$|0[xX]|&|#)(?=[0-9A-Za-z])")
ENDS = ("|", ";")  # signs behind which no words stand
LONGEST_ADDRESS = 8  # digits
USUAL_ADDRESS = 4


class Token(NamedTuple):
    """A piece of a line with the columns (from 0) where it begins and ends, a comma behind it included."""

    text: str
    start: int
    end: int


class Cell(NamedTuple):
    """A word as typed: its value, or None where it cannot be read, with the message and what was probably meant (None:
    that cannot be said)."""

    token: Token
    value: int | None
    slip: str = ""
    meant: int | None = None

    @property
    def best(self) -> int | None:
        return self.meant if self.value is None else self.value


class Row(NamedTuple):
    """A line: its number, text, address (or None), words, the token of a checksum (or None), and the text beside them with
    its column."""

    number: int
    text: str
    label: str
    address: Cell | None
    cells: tuple[Cell, ...]
    total: Token | None
    beside: str
    column: int

    @property
    def words(self) -> tuple[int, ...]:
        """The words as far as they are known; an unknown one is 0."""
        return tuple(cell.best or 0 for cell in self.cells)


class Digits:
    """Numbers in one base: how a word of `bits` bits looks, with a fixed number of digits but in decimal."""

    def __init__(self, bits: int, base: int) -> None:
        self.bits = bits
        self.base = base
        highest = (1 << bits) - 1
        self.width = {16: f"{highest:X}", 8: f"{highest:o}", 10: f"{highest}"}[base].__len__()
        self.pattern = re.compile(rf"[{LETTERS[base]}]+\Z")

    def bare(self, text: str) -> str:
        """A number without the sign of its base."""
        match = PREFIX.match(text)
        if match:
            text = text[match.end() :]
        if self.base == 16 and text[-1:] in "Hh" and len(text) > 1:
            text = text[:-1]
            if len(text) == self.width + 1 and text[0] == "0":
                text = text[1:]
        return text

    def number(self, text: str) -> int | None:
        """The value of digits, None where they are none."""
        return int(text, self.base) if text and len(text) <= 24 and self.pattern.match(text) else None

    def written(self, value: int, digits: int = 0) -> str:
        """A value in these digits, as many as a word has or as are asked for."""
        if self.base == 10:
            return str(value)
        return f"{value:0{digits or self.width}{'X' if self.base == 16 else 'o'}}"

    def is_word(self, text: str) -> bool:
        value = self.number(text)
        return value is not None and value >> self.bits == 0 and (len(text) == self.width or (self.base == 10 and len(text) <= self.width))

    def cell(self, token: Token) -> Cell | None:
        """A token as a word, with or without a slip; None where it is none for certain."""
        text = self.bare(token.text)
        value = self.number(text)
        if value is not None:
            if self.is_word(text):
                return Cell(token, value)
            if len(text) < self.width and self.base != 10:
                return Cell(token, None, "typed_short", value)
            if value >> self.bits and len(text) <= self.width:
                return Cell(token, None, "typed_wide")
            return Cell(token, None, "typed_long") if len(text) <= self.width + 1 else None
        likely = self.number(text.translate(LOOKALIKES))
        if likely is None or len(text) > self.width + 1 or not any(sign.isdigit() for sign in text.translate(LOOKALIKES)):
            return None
        fits = len(text) == self.width or (self.base == 10 and len(text) < self.width)
        return Cell(token, None, "typed_letter", likely if fits and likely >> self.bits == 0 else None)

    def run(self, token: Token) -> list[Cell] | None:
        """The words of a token that is several written together; None where it is not."""
        text = self.bare(token.text)
        if self.base == 10 or len(text) <= self.width or len(text) % self.width or self.number(text) is None:
            return None
        begin = token.end - len(text) if token.text.endswith(text) else token.start
        cells = []
        for at in range(0, len(text), self.width):
            part = text[at : at + self.width]
            if not self.is_word(part):
                return None
            cells.append(Cell(Token(part, begin + at, begin + at + self.width), int(part, self.base)))
        return cells


class Shape(NamedTuple):
    """How the lines of a file look. `addresses`: whether an address stands in front, at most a label before it; `numbered`:
    whether the number of the line stands before it; `most`: words of a whole row of a dump (None: a listing, with a
    statement a row); `statements`: the column where statements begin, None where that differs; `total`: how
    the checksum at the end of a row is made, "" where there is none, and `wide` whether it has two
    words' digits. `narrow`: whether addresses may have no more digits than words, with nothing behind them."""

    addresses: bool
    numbered: bool
    most: int | None
    statements: int | None
    total: str = ""
    wide: bool = False
    narrow: bool = False


Stop = Callable[[str, Sequence[Cell], int], bool]  # whether a text that could be a word begins a statement, behind those words and a gap


class Cutter:
    """Cuts lines; `word` and `place` say how words and addresses look."""

    def __init__(self, word: Digits, place: Digits, stop: Stop) -> None:
        self.word = word
        self.place = place
        self.stop = stop

    def tokens(self, text: str) -> list[Token]:
        return [Token(match[0].rstrip(","), match.start(), match.end()) for match in TOKEN.finditer(text)]

    def has_colon(self, text: str) -> bool:
        """Whether a line begins with a number and a colon, or what stands for one."""
        tokens = self.tokens(text)
        return len(tokens) > 1 and tokens[1].text in COLONS and self.place.number(self.place.bare(tokens[0].text)) is not None

    def address(self, tokens: list[Token], index: int, narrow: bool) -> Cell | None:
        """The address that a token may be: more digits than a word has, or as many and then a colon, or no more if `narrow`."""
        if index >= len(tokens):
            return None
        token = tokens[index]
        text = self.place.bare(token.text.rstrip("-.>"))
        colon = index + 1 < len(tokens) and tokens[index + 1].text in COLONS
        wide = len(text) > self.word.width or colon or narrow or self.place.base == 10
        if not wide or len(text) > LONGEST_ADDRESS:
            return None
        value = self.place.number(text)
        if value is not None:
            return Cell(token, value)
        likely = self.place.number(text.translate(LOOKALIKES))
        whole = len(text) in (self.place.width, USUAL_ADDRESS) and self.follows(tokens, index + 1)
        return Cell(token, None, "typed_letter", likely) if likely is not None and whole else None

    def cut(self, number: int, text: str, shape: Shape) -> Row | None:
        """A line as a row; None where it is none."""
        tokens = self.tokens(text)
        index, label, address = 0, "", None
        if shape.addresses:
            first = 1 if shape.numbered and tokens and tokens[0].text.isdecimal() else 0
            for index in range(first, min(len(tokens), first + 2)):
                if tokens[index].text in ENDS:
                    return None
                address = self.address(tokens, index, shape.narrow)
                if address is not None and (index == first or self.follows(tokens, index + 1)):
                    break
                address = None
            if address is None:
                return None
            if index > first:
                label = tokens[first].text
            index += 1
            while index < len(tokens) and tokens[index].text in (*COLONS, "=", "-"):
                index += 1
        cells, index = self.cells(tokens, index, shape)
        total = None
        if shape.total and shape.most is not None:
            total, index = self.total(tokens, index, cells, shape)
        if not shape.addresses and not cells:
            return None
        column = tokens[index].start if index < len(tokens) else len(text)
        if shape.most is not None and index:  # characters may begin with a sign that parts words
            column = len(text) - len(text[tokens[index - 1].end :].lstrip())
        return Row(number, text, label, address, tuple(cells), total, text[column:], column)

    def total(self, tokens: list[Token], index: int, cells: list[Cell], shape: Shape) -> tuple[Token | None, int]:
        """The checksum behind the words, which may have been taken for the last of them, and the index of the token behind it."""
        if len(cells) > (shape.most or 0) or (cells and index >= len(tokens) and not shape.wide):
            return cells.pop().token, index
        marked = index + 1 < len(tokens) and tokens[index].text in (":", "=")
        if index < len(tokens) and (marked or shape.wide):
            return tokens[index + marked], index + marked + 1
        return None, index

    def follows(self, tokens: list[Token], index: int) -> bool:
        """Whether words, or a colon, stand at an index."""
        if index >= len(tokens):
            return False
        return tokens[index].text in COLONS or self.word.cell(tokens[index]) is not None or self.word.run(tokens[index]) is not None

    def cells(self, tokens: list[Token], index: int, shape: Shape) -> tuple[list[Cell], int]:
        """The words from a token on, and the index of the token behind them."""
        cells: list[Cell] = []
        most = None if shape.most is None else shape.most + bool(shape.total)
        begin = index
        while index < len(tokens) and (most is None or len(cells) < most):
            token = tokens[index]
            if token.text == "-" and cells:
                index += 1
                continue
            if token.text in ENDS or token.text in (":", "="):
                break
            gap = token.start - tokens[index - 1].end if index > begin else 0
            behind = bool(cells) and shape.statements is not None and gap > 1
            if shape.most is None and cells and self.stop(token.text, cells, gap):
                break
            cell, several = self.word.cell(token), self.word.run(token)
            if shape.wide and several is not None and index == len(tokens) - 1:
                break
            if several is not None and not behind:
                cells += several
            elif cell is None or (behind and token.start >= (shape.statements or 0)):
                break
            else:
                if cell.value is None and (behind or (shape.most is None and gap > 1)):
                    break  # what is no word and stands apart belongs to the statement
                cells.append(cell)
            index += 1
        return cells, index
