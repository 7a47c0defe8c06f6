"""Reads the files of book values: what makers' books say of the bytes and times of single instructions.

A file is made of comments (#), `source:` lines, the two `count` lines, and value lines:

    [ADDRESS:] WORDS | CYCLES | STATEMENT

ADDRESS is four hexadecimal digits (0 where it is left out), WORDS are hexadecimal in memory order, CYCLES is `N`,
`N/M` (condition not met/met), either with `+K` behind it, or `?` where they are not known. A line that is none of these is
refused.

What no maker's book lists has files of its own, which have one `count` line (`count undocumented opcodes: N`). There CYCLES may
be `-` for an instruction that never ends, and `alias` stands in front of a value line whose words are read as the statement, while
the statement is made to other words.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

FOLDER = Path(__file__).parent / "book"
SOURCE = re.compile(r"source: (\S.*)")
COUNTS = ("mnemonics", "opcodes")
UNDOCUMENTED_COUNTS = ("undocumented opcodes",)
COUNT = re.compile(r"count ([a-z ]+): ([0-9]+)")
VALUE = re.compile(
    r"(?P<alias>alias )?(?:(?P<address>[0-9A-F]{4}): )?"
    r"(?P<words>[0-9A-F]{2,}(?: [0-9A-F]{2,})*) \| "
    r"(?P<cycles>[0-9]+(?:/[0-9]+)?(?:\+[0-9]+)?|\?|-) \| "
    r"(?P<statement>[A-Z]\S*(?: \S.*)?)"
)


class BookValue(NamedTuple):
    """One instruction as a book has it: the address it stands at, its words, its cycles as typed, the statement, the
    source that the line lies under ("" for none), the number of the line, and whether it is an `alias` line."""

    address: int
    words: tuple[int, ...]
    cycles: str
    statement: str
    source: str
    line: int
    alias: bool = False


@dataclass(frozen=True)
class Book:
    """A file of book values: its name, its values, and the book's counts by what is counted."""

    name: str
    values: tuple[BookValue, ...]
    counts: dict[str, int]


def book_path(chip: str) -> Path:
    return FOLDER / f"{chip}.txt"


def undocumented_path(chip: str) -> Path:
    return FOLDER / "undocumented" / f"{chip}.txt"


def read_book(path: Path, undocumented: bool = False) -> Book:
    return parse_book(path.read_text("ascii"), path.name, undocumented)


def parse_book(text: str, name: str, undocumented: bool = False) -> Book:
    """The values of a file, or of one of undocumented instructions; raises ValueError that names the line which cannot be
    read."""
    wanted = UNDOCUMENTED_COUNTS if undocumented else COUNTS
    values = []
    counts: dict[str, int] = {}
    source = ""
    for number, line in enumerate(text.split("\n"), 1):
        if not line.strip() or line.startswith("#"):
            continue
        if match := SOURCE.fullmatch(line):
            source = match[1]
        elif (match := COUNT.fullmatch(line)) and match[1] in wanted:
            if match[1] in counts:
                raise ValueError(f"{name}:{number}: a second count: {line}")
            counts[match[1]] = int(match[2])
        elif (match := VALUE.fullmatch(line)) and (undocumented or not (match["alias"] or match["cycles"] == "-")):
            words = match["words"].split(" ")
            if len({len(word) for word in words}) > 1:
                raise ValueError(f"{name}:{number}: words of different width: {line}")
            address = int(match["address"] or "0", 16)
            numbers = tuple(int(word, 16) for word in words)
            values.append(BookValue(address, numbers, match["cycles"], match["statement"], source, number, bool(match["alias"])))
        else:
            raise ValueError(f"{name}:{number}: not a line of a book: {line}")
    missing = [what for what in wanted if what not in counts]
    if missing:
        raise ValueError(f"{name}: no count of {' and '.join(missing)}")
    return Book(name, tuple(values), counts)
