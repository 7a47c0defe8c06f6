"""Two images side by side: where they differ, and in which statements.

0xE00F..0xE010  A9 14 | A9 15    monitor.asm:12  print:  LDA #limit
0xE100..0xE1FF  only in the first: 256 words
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

from xasm.linking.image import Span
from xasm.linking.linker import Linked
from xasm.source.diagnostics import where

MOST_SHOWN = 200  # ranges
MOST_WORDS = 8  # of a range
CHUNK = 4096  # words compared at once


class Difference(NamedTuple):
    """A range of addresses, from `start` on, with the words of both images there; `first` or `second` is None where that
    image has nothing in the whole range."""

    start: int
    first: Sequence[int] | None
    second: Sequence[int] | None

    @property
    def size(self) -> int:
        return len(self.first if self.first is not None else self.second or ())


def differences(first: Sequence[Span], second: Sequence[Span]) -> Iterator[Difference]:
    """Where two images differ, in order of address; both are disjoint and sorted spans. Neighbouring ranges in which the same
    images have words are one."""
    borders = sorted({border for span in (*first, *second) for border in (span.start, span.end)})
    ones, others = iter(first), iter(second)
    one, other = next(ones, None), next(others, None)
    for start, end in pairwise(borders):
        while one is not None and one.end <= start:
            one = next(ones, None)
        while other is not None and other.end <= start:
            other = next(others, None)
        mine = one.words[start - one.start : end - one.start] if one is not None and one.start <= start else None
        theirs = other.words[start - other.start : end - other.start] if other is not None and other.start <= start else None
        if mine is not None and theirs is not None:
            yield from unequal(start, mine, theirs)
        elif mine is not None or theirs is not None:
            yield Difference(start, mine, theirs)


def unequal(start: int, mine: Sequence[int], theirs: Sequence[int]) -> Iterator[Difference]:
    """The ranges in which two rows of words of one length differ."""
    begin = -1
    for chunk in range(0, len(mine), CHUNK):
        end = min(chunk + CHUNK, len(mine))
        if bytes_or_list(mine[chunk:end]) == bytes_or_list(theirs[chunk:end]):
            if begin >= 0:
                yield Difference(start + begin, mine[begin:chunk], theirs[begin:chunk])
                begin = -1
            continue
        for index in range(chunk, end):
            if mine[index] != theirs[index]:
                begin = index if begin < 0 else begin
            elif begin >= 0:
                yield Difference(start + begin, mine[begin:index], theirs[begin:index])
                begin = -1
    if begin >= 0:
        yield Difference(start + begin, mine[begin:], theirs[begin:])


def bytes_or_list(words: Sequence[int]) -> bytes | list[int]:
    """Words as what can be compared at once, whatever they are kept in."""
    return bytes(words) if isinstance(words, (bytes, bytearray)) else list(words)


def comparison(found: Sequence[Difference], word: int, linked: Linked | None) -> Iterator[str]:
    """The lines of a report: one a range, with the statement that it begins in where the program is at hand."""
    digits = (word + 3) // 4
    highest = max((one.start + one.size for one in found), default=0)
    width = max(4, len(f"{highest:X}"))
    for one in found[:MOST_SHOWN]:
        last = f"..0x{one.start + one.size - 1:0{width}X}" if one.size > 1 else ""
        place = f"0x{one.start:0{width}X}{last}".ljust(2 * width + 6)
        row = f"{place}  {content(one, digits)}"
        statement = statement_at(linked, one.start) if linked is not None else ""
        yield f"{row:<{2 * width + 40}}  {statement}".rstrip()
    if len(found) > MOST_SHOWN:
        yield f"... and {len(found) - MOST_SHOWN:,} more"


def content(one: Difference, digits: int) -> str:
    if one.first is None or one.second is None:
        side = "first" if one.second is None else "second"
        return f"only in the {side}: {one.size:,} word{'s' if one.size != 1 else ''}"
    return " | ".join(shown(words, digits) for words in (one.first, one.second))


def shown(words: Sequence[int], digits: int) -> str:
    more = " ..." if len(words) > MOST_WORDS else ""
    return " ".join(f"{word:0{digits}X}" for word in words[:MOST_WORDS]) + more


def statement_at(linked: Linked, address: int) -> str:
    """The place and text of the statement that fills an address; empty where none does."""
    index = linked.entry_at(address)
    if index is None:
        return ""
    place = linked.program.entries[index].place
    return f"{where(place)}  {' '.join(place[0].line(place[1]).partition(';')[0].split())}"
