"""How the rows of a typed listing are laid out, found by looking at all of them."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Sequence
from itertools import pairwise

from xasm.recovery.rows import Cutter, Row, Shape
from xasm.recovery.statements import Speech

LOOKED_AT = 1000  # lines
LONGEST_ROW = 1000  # words
ENOUGH = 0.3  # of the rows with a statement make a listing
MOST = 0.7  # of the rows make a rule
SURE = 2  # rows that follow the row before, where only that tells addresses from words

NUMBER = re.compile(r"\s*\d+(?=[\s,:])")

Rule = Callable[[Row], int]


def shape_of(lines: Sequence[str], cutter: Cutter, speech: Speech) -> Shape:
    """The layout of the lines of a file."""
    lines = [line for line in lines[:LOOKED_AT] if line.strip()]
    shape = front(lines, cutter)
    rows = rows_of(lines, cutter, shape)
    # what could be words is no evidence of a statement: there are mnemonics that look like words
    bare = rows_of(lines, cutter, shape._replace(most=LONGEST_ROW))
    said = sum(1 for row in bare if row.beside and speech.read(row.beside).statement is not None)
    if rows and said >= ENOUGH * len(rows):
        columns = Counter(row.column for row in rows if row.beside and row.cells)
        column, often = max(columns.items(), key=lambda one: (one[1], -one[0]), default=(0, 0))
        return shape._replace(statements=column if often * 2 > len(rows) else None)
    return dump(lines, cutter, shape)


def rows_of(lines: Sequence[str], cutter: Cutter, shape: Shape) -> list[Row]:
    return [row for number, line in enumerate(lines, 1) if (row := cutter.cut(number, line, shape)) is not None]


def front(lines: Sequence[str], cutter: Cutter) -> Shape:
    """Whether addresses stand in front, and what in front of them."""
    shapes = [Shape(True, numbered, None, None, narrow=narrow) for narrow in (False, True) for numbered in (False, True)]
    found = []
    for shape in shapes:
        rows = [row for row in rows_of(lines, cutter, shape) if row.address is not None and row.cells]
        numbers = [int(match[0]) for row in rows if (match := NUMBER.match(row.text)) is not None]
        counting = all(one < two for one, two in pairwise(numbers))
        if shape.numbered and not (counting and len(numbers) * 2 > len(rows)):
            continue
        followed = steps(rows)
        if shape.narrow and (followed < SURE or followed < MOST * (len(rows) - 1)):
            continue
        found.append((followed, len(rows), shape))
    # where both would do, what stands in front are the numbers of lines and no labels
    follow, count, shape = max(found, key=lambda one: (one[0], not one[2].narrow, one[2].numbered))
    bare = [row for row in rows_of(lines, cutter, Shape(False, False, None, None)) if row.cells]
    colons = sum(1 for line in lines if cutter.has_colon(line))
    # rows of equal groups of digits have an address only if their first group counts up
    if colons * 2 < len(lines) and not follow and (not count or all(alike(row, cutter) for row in bare) or cutter.place.base == 10):
        return Shape(False, False, None, None)
    return shape


def steps(rows: Sequence[Row]) -> int:
    """How many rows follow the row before; one more word may be a checksum."""
    return sum(1 for one, two in pairwise(rows) if follows(one, two) or follows(one, two, 1))


def follows(one: Row, two: Row, more: int = 0) -> bool:
    """Whether a row follows another, which has so many words more than count."""
    first = one.address.value if one.address is not None else None
    second = two.address.value if two.address is not None else None
    return first is not None and second is not None and second > first and second - first == len(one.cells) - more


def alike(row: Row, cutter: Cutter) -> bool:
    """Whether all groups of digits of a row are equally long."""
    return len({len(token.text) for token in cutter.tokens(row.text)}) == 1


def dump(lines: Sequence[str], cutter: Cutter, shape: Shape) -> Shape:
    """The layout of rows that are words only: how many at most, and whether the last is a checksum."""
    rows = [row for row in rows_of(lines, cutter, shape._replace(most=LONGEST_ROW)) if row.cells]
    if not rows:
        return shape._replace(most=1)
    usual = usual_length(rows)
    # rows whose addresses count all their words have no checksum among them
    plain, summed_up = (sum(1 for one, two in pairwise(rows) if follows(one, two, more)) for more in (0, 1))
    for wide in (True,) if shape.addresses and plain > summed_up else (False, True):
        summed = shape._replace(most=usual, total="looked for", wide=wide)
        found = rows_of(lines, cutter, summed)
        rule = rule_of(found, cutter, summed_up > plain)
        if rule:
            return summed._replace(total=rule, most=usual_length(found))
    # what stands beside the words of some rows may look like words in others
    return shape._replace(most=usual if any(row.beside for row in rows) else max(len(row.cells) for row in rows))


def usual_length(rows: Sequence[Row]) -> int:
    """How many words most rows have."""
    lengths = Counter(len(row.cells) for row in rows)
    return max(lengths, key=lambda length: (lengths[length], length))


# checksums


def sums(row: Row, mask: int) -> dict[str, int]:
    """What the words of a row, or words and address, may be summed up to, by the name of the way."""
    words = row.words
    address = (row.address.best or 0) if row.address else 0
    found: dict[str, int] = {}
    for what, values in (("words", words), ("address and words", (address >> 8, address & 0xFF, *words))):
        total = sum(values)
        folded = 0
        for value in values:
            folded ^= value
        found |= {
            f"the sum of {what}": total & mask,
            f"the sum of {what}, taken from 0": -total & mask,
            f"the sum of {what}, inverted": ~total & mask,
            f"the exclusive or of {what}": folded & mask,
        }
    return found


def rule_of(rows: Sequence[Row], cutter: Cutter, counted: bool) -> str:
    """The way in which the checksums of most rows are made; "" where there is none. `counted` tells that the addresses do not
    count the last word of a row: then more than half of the rows are enough."""
    summed = [row for row in rows if row.total is not None and row.cells]
    if len({row.words for row in summed}) < 3:  # equal rows are no evidence
        return ""
    votes: Counter[str] = Counter()
    for row in summed:
        assert row.total is not None
        value = cutter.word.number(row.total.text)
        votes.update(name for name, made in sums(row, mask_of(row, cutter)).items() if made == value)
    if not votes:
        return ""
    rule, often = votes.most_common(1)[0]
    return rule if often >= MOST * len(summed) or ((counted or often >= 3) and often * 2 > len(summed)) else ""


def mask_of(row: Row, cutter: Cutter) -> int:
    """The bits of a checksum: those of a word, or of two where it has more digits."""
    wide = row.total is not None and len(row.total.text) > cutter.word.width
    return (1 << cutter.word.bits * (2 if wide else 1)) - 1
