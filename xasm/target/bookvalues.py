"""Files of book values: what a maker's book says of the bytes and times of single instructions.

A file is made of comments (#), `source:` lines, `count` lines, and value lines:

    [ADDRESS:] WORDS | CYCLES | STATEMENT

ADDRESS is hexadecimal, of four digits or more; it is left out where the words are the same everywhere. WORDS are hexadecimal
in memory order, CYCLES is `N`, `N/M` (condition not met/met), either with `+K` behind it (a page border is crossed), or `?`
where they are not known. After a line `digits: octal` addresses and words are octal, as in the books of makers who wrote so.

What no maker's book lists has files of its own, with the one count `undocumented opcodes`. There CYCLES may be `-` for an
instruction that never ends, and `alias` stands in front of a value whose words are read as the statement, while the statement
is made to other words.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import NamedTuple

from xasm.source.diagnostics import Fault, Report
from xasm.source.files import Place, Source
from xasm.target.model import Target

COUNTS = ("mnemonics", "opcodes")
UNLISTED = "undocumented opcodes"  # what files of undocumented instructions count
OCTAL = "digits: octal"
NOT_OCTAL = re.compile("[89A-F]")
SOURCE = re.compile(r"source: (\S.*)")
COUNT = re.compile(r"count ([a-z ]+): ([0-9]{1,9})")
VALUE = re.compile(
    r"(?P<alias>alias )?(?:(?P<address>[0-9A-F]{4,8}): )?"
    r"(?P<words>[0-9A-F]{2,16}(?: [0-9A-F]{2,16})*) \| "
    r"(?P<cycles>[0-9]{1,9}(?:/[0-9]{1,9})?(?:\+[0-9]{1,9})?|\?|-) \| "
    r"(?P<statement>[A-Z]\S*(?: \S.*)?)"
)
HINT = "a line is a comment (#), `source: ...`, `count opcodes: N`, or a value as in `0200: D0 FE | 2/3 | STATEMENT`"


class BookValue(NamedTuple):
    """One instruction as a book has it: the address it stands at and whether the line says so, its words, its cycles as
    typed, the statement, the source that the line lies under ("" for none), the number of the line, the columns of its parts,
    and whether it is an `alias` line."""

    address: int
    placed: bool
    words: tuple[int, ...]
    cycles: str
    statement: str
    source: str
    line: int
    columns: dict[str, int]
    alias: bool = False


@dataclass(frozen=True)
class Book:
    """A file of book values: its text, its values, the counts by what is counted and where they stand, whether it is one of
    undocumented instructions, and whether its words are octal."""

    text: Source
    values: tuple[BookValue, ...]
    counts: dict[str, int] = field(default_factory=dict)
    places: dict[str, Place] = field(default_factory=dict)
    undocumented: bool = False
    octal: bool = False

    def written(self, words: Iterable[int], target: Target) -> str:
        """Words of the chip in the digits of the file."""
        digits = (target.word + 2) // 3
        return " ".join(f"{word:0{digits}o}" if self.octal else target.hex_word(word) for word in words)

    def place(self, value: BookValue, part: str) -> Place:
        """Where a part of a value stands: its words, cycles or statement."""
        return self.text, value.line, value.columns[part]


def read_book(text: Source, report: Report) -> Book:
    """The values of a file, which is one of undocumented instructions where it counts those; lines that cannot be read go to
    the report."""
    values = []
    undocumented = any(line.startswith(f"count {UNLISTED}:") for line in text.lines)
    octal = OCTAL in text.lines
    base = 8 if octal else 16
    book = Book(text, (), {}, {})
    source = ""
    strange = False
    for number, line in enumerate(text.lines, 1):
        place = (text, number, 1)
        if not line.strip() or line.startswith("#") or line == OCTAL:
            continue
        if match := SOURCE.fullmatch(line):
            source = match[1]
        elif (match := COUNT.fullmatch(line)) and match[1] in ((UNLISTED,) if undocumented else COUNTS):
            if match[1] in book.counts:
                report.fault(Fault("book_count_twice", what=match[1]), place)
            book.counts[match[1]] = int(match[2])
            book.places[match[1]] = place
        elif (match := VALUE.fullmatch(line)) and octal and NOT_OCTAL.search(f"{match['address'] or ''}{match['words']}"):
            report.fault(Fault("book_digits"), (text, number, match.start("words") + 1), length=len(match["words"]))
        elif match and (undocumented or not (match["alias"] or match["cycles"] == "-")):
            words = match["words"].split(" ")
            if len({len(word) for word in words}) > 1:
                report.fault(Fault("book_width"), (text, number, match.start("words") + 1), length=len(match["words"]))
            columns = {part: match.start(part) + 1 for part in ("words", "cycles", "statement")}
            values.append(
                BookValue(
                    int(match["address"] or "0", base),
                    match["address"] is not None,
                    tuple(int(word, base) for word in words),
                    match["cycles"],
                    match["statement"],
                    source,
                    number,
                    columns,
                    bool(match["alias"]),
                )
            )
        else:
            report.fault(Fault("book_line", hint=None if strange else HINT), place, length=len(line))
            strange = True  # it is told once what a line may be
        if report.full:
            break
    return Book(text, tuple(values), book.counts, book.places, undocumented, octal)
