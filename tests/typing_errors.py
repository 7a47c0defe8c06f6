"""Listings as people type them, made out of samples: layouts of many kinds, and slips of every kind put into them."""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Iterator
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

from xasm.building import build
from xasm.reports.listing import listing

SAMPLES = Path(__file__).resolve().parent.parent / "samples"
ROW = re.compile(r"^ *>*(\d*)  ([0-9A-F]{3,4})  +((?:[0-9A-F]{2} )*[0-9A-F]{2}) ")


class Line(NamedTuple):
    """A row of a program: address, words, label, statement and remark (each "" where there is none)."""

    address: int
    words: tuple[int, ...]
    label: str
    statement: str
    remark: str


@lru_cache(maxsize=64)
def program(chip: str, name: str) -> tuple[Line, ...]:
    """The rows of a sample that hold words. Labels are made plain: a local one has its owner's name in front."""
    found = []
    owner = ""
    rows = listing(build([str(SAMPLES / chip / f"{name}.asm")])).split("\n")
    column = next(row for row in rows if row.lstrip().startswith("line ")).index("source")
    for text in rows:
        source = text[column:]
        label = re.match(r"\.?[A-Za-z_]\w*(?=:)", source)
        if label and label[0][0] != ".":
            owner = label[0]
        match = ROW.match(text)
        if not match:
            continue
        words = tuple(int(word, 16) for word in match[3].split())
        code, _, remark = source.partition(";")
        statement = " ".join(code[label.end() + 1 if label else 0 :].split())
        statement = re.sub(r"(?<![\w'])\.([a-z]\w*)", rf"{owner}_\1", statement)
        shown = "" if not label else label[0] if label[0][0] != "." else f"{owner}_{label[0][1:]}"
        found.append(Line(int(match[2], 16), words, shown, statement, remark.strip()))
    assert len(found) > 3
    return tuple(found)


@lru_cache(maxsize=64)
def definitions(chip: str, name: str) -> tuple[str, ...]:
    """Lines that explain the names in the statements of a sample that are no labels of its rows."""
    labels = {line.label for line in program(chip, name)}
    symbols = build([str(SAMPLES / chip / f"{name}.asm")]).image.symbols
    return tuple(f"                 {symbol} EQU {value}" for symbol, value in symbols.items() if symbol.replace(".", "_") not in labels)


def image(lines: tuple[Line, ...]) -> dict[int, int]:
    return {line.address + index: word for line in lines for index, word in enumerate(line.words)}


Layout = Callable[[Line], str]


def columns(line: Line) -> str:
    words = " ".join(f"{word:02X}" for word in line.words)
    remark = f"; {line.remark}" if line.remark else ""
    return f"{line.address:04X}  {words:<24} {line.label:<18} {line.statement:<26} {remark}".rstrip()


def colons(line: Line) -> str:
    words = " ".join(f"{word:02x}" for word in line.words)
    label = f"{line.label}: " if line.label else ""
    return f"{line.address:04x}: {words:<24}  {label}{line.statement}" + (f" ; {line.remark}" if line.remark else "")


def tabs(line: Line) -> str:
    words = " ".join(f"{word:02X}" for word in line.words)
    return f"{line.address:04X}\t{words}\t{line.label}\t{line.statement}" + (f"\t;{line.remark}" if line.remark else "")


def close(line: Line) -> str:
    """Words without blanks, as some makers print them."""
    words = "".join(f"{word:02X}" for word in line.words)
    return f"{line.address:04X} {words:<16}  {line.label:<18} {line.statement}"


def plain(line: Line) -> str:
    return f"{line.address:04X} {' '.join(f'{word:02X}' for word in line.words)}"


LISTINGS: dict[str, Layout] = {layout.__name__: layout for layout in (columns, colons, tabs, close)}


def typed(lines: tuple[Line, ...], layout: Layout) -> list[str]:
    return [layout(line) for line in lines]


# dumps


class Dump(NamedTuple):
    """How a dump looks: words of a row, whether rows have addresses, characters or checksums."""

    row: int = 8
    address: str = "{:04X}: "
    characters: str = ""
    checksum: Callable[[int, tuple[int, ...]], str] | None = None


DUMPS = {
    "rows of eight": Dump(),
    "rows of sixteen": Dump(16, "{:04X}  "),
    "a hyphen": Dump(8, "{:04X}- "),
    "dollars": Dump(8, "${:04X} "),
    "characters": Dump(16, "{:04X}  ", "  {}"),
    "characters in bars": Dump(16, "{:04x}: ", "  |{}|"),
    "a sum": Dump(8, "{:04X} ", checksum=lambda _, words: f"  {sum(words) & 0xFF:02X}"),
    "a sum behind a colon": Dump(8, "{:04X}: ", checksum=lambda _, words: f" :{sum(words) & 0xFF:02X}"),
    "a sum taken from 0": Dump(16, "{:04X} ", checksum=lambda _, words: f" {-sum(words) & 0xFF:02X}"),
    "a sum with the address": Dump(8, "{:04X} ", checksum=lambda at, words: f" {(sum(words) + (at >> 8) + at) & 0xFF:02X}"),
    "a wide sum": Dump(8, "{:04X} ", checksum=lambda _, words: f" {sum(words):04X}"),
    "an exclusive or": Dump(8, "{:04X} ", checksum=lambda _, words: f" {folded(words):02X}"),
}


def folded(words: tuple[int, ...]) -> int:
    found = 0
    for word in words:
        found ^= word
    return found


def dumped(words: dict[int, int], dump: Dump) -> Iterator[str]:
    """Rows of words; a new row begins at each gap."""
    row: list[int] = []
    start = 0
    for address in [*sorted(words), -1]:
        if row and (len(row) == dump.row or address != start + len(row)):
            own = tuple(row)
            text = dump.address.format(start) + " ".join(f"{word:02X}" for word in own)
            if dump.characters:
                shown = "".join(chr(word) if 0x20 < word < 0x7F else "." for word in own)
                text = f"{text:<{dump.row * 3 + 6}}" + dump.characters.format(shown)
            if dump.checksum:
                text += dump.checksum(start, own)
            yield text
            row = []
        if not row:
            start = address
        row.append(words.get(address, 0))


# slips


def spans(text: str, row: int) -> list[tuple[int, int]]:
    """Where the words of a row stand, behind its address."""
    first = re.match(r"\S*[0-9A-Fa-f]{3,4}\S*", text)
    assert first
    found = [match.span() for match in re.finditer(r"(?<![\w.])[0-9A-Fa-f]{2}(?![\w.])", text) if match.start() >= first.end()]
    return found[:row]


def swapped(text: str, span: tuple[int, int], by: str) -> str:
    return text[: span[0]] + by + text[span[1] :]


def letter(text: str, words: list[tuple[int, int]], choice: random.Random) -> str | None:
    """The letter O for a 0, or l for a 1, in a word."""
    able = [span for span in words if any(digit in text[slice(*span)] for digit in "01")]
    if not able:
        return None
    span = choice.choice(able)
    word = text[slice(*span)]
    digit = next(digit for digit in "01" if digit in word)
    return swapped(text, span, word.replace(digit, {"0": "O", "1": "l"}[digit], 1))


def missing(text: str, words: list[tuple[int, int]], choice: random.Random) -> str | None:
    """A word with one digit."""
    span = choice.choice(words)
    return swapped(text, span, text[span[0] + choice.randrange(2)])


def doubled(text: str, words: list[tuple[int, int]], choice: random.Random) -> str | None:
    """A word with a digit too many."""
    span = choice.choice(words)
    return swapped(text, span, text[slice(*span)] + text[span[0]])


def dropped(text: str, words: list[tuple[int, int]], choice: random.Random) -> str | None:
    """A word left out."""
    if len(words) < 2:
        return None
    span = choice.choice(words)
    return text[: span[0]] + text[span[1] :].lstrip()


def changed(text: str, words: list[tuple[int, int]], choice: random.Random) -> str | None:
    """Another word: what only a checksum, a character or a statement beside it can tell."""
    span = choice.choice(words)
    word = int(text[slice(*span)], 16)
    return swapped(text, span, f"{word ^ 1 << choice.randrange(8):02X}")


def misplaced(text: str, words: list[tuple[int, int]], choice: random.Random) -> str | None:
    """One digit of the address is another one."""
    first = re.match(r"\$?([0-9A-Fa-f]{3,4})", text)
    assert first
    at = choice.randrange(first.start(1), first.end(1))
    return f"{text[:at]}{choice.choice([digit for digit in '0123456789ABCDEF' if digit != text[at].upper()])}{text[at + 1 :]}"


def address_letter(text: str, words: list[tuple[int, int]], choice: random.Random) -> str | None:
    """The letter O for a 0 in the address."""
    first = re.match(r"\$?([0-9A-Fa-f]{3,4})", text)
    assert first
    if "0" not in first[1]:
        return None
    at = text.index("0", first.start(1))
    return f"{text[:at]}O{text[at + 1 :]}"


SLIPS = {slip.__name__: slip for slip in (letter, missing, doubled, dropped, changed, misplaced, address_letter)}
