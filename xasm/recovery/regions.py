"""What the words are that no way of control meets: texts, tables of addresses, filled room, or just words."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import NamedTuple

from xasm.recovery.memory import Memory
from xasm.recovery.tracing import Trace

BYTES, TEXT, WORDS, FILL = "bytes", "text", "words", "fill"  # the kinds of data
SHORTEST_TEXT = 6  # characters; with an end mark behind it, or where something leads to it, SHORT_TEXT will do
SHORT_TEXT = 4
SHORTEST_FILL = 16  # equal words
MOST_MARKS = 3
SHORTEST_TABLE = 2  # addresses one behind the other
BLANKS = frozenset((0x0A, 0x0D))
MARKS = frozenset((0, 0x03, 0x04, 0x0A, 0x0D))  # what may stand behind a text: end marks of many monitors, line ends


class Region(NamedTuple):
    """Words of one kind from `start` to before `end`; `known` tells that something leads there or that what they are can be
    seen."""

    start: int
    end: int
    kind: str
    known: bool


class Finder:
    """Cuts what is no code into regions. `told` are regions that a person has named, `named` tells addresses that something
    leads to, where a region begins anew."""

    def __init__(self, memory: Memory, trace: Trace, told: Iterable[Region], named: Callable[[int], bool], cuts: frozenset[int]) -> None:
        self.memory = memory
        self.trace = trace
        self.told = {region.start: region for region in told}
        self.named = named
        self.cuts = cuts

    def regions(self) -> Iterator[Region]:
        """All regions, by address."""
        for start, words in self.memory.parts:
            end = start + len(words)
            at = start
            while at < end:
                if at in self.trace.owner:
                    at = self.trace.code[self.trace.owner[at]].end
                    continue
                told = self.told.get(at)
                if told is not None:
                    yield from self.told_pieces(told._replace(end=min(told.end, end)))
                    at = min(told.end, end)
                    continue
                stop = at + 1
                while stop < end and stop not in self.trace.owner and not self.begins(stop):
                    stop += 1
                yield from self.segment(at, stop)
                at = stop

    def told_pieces(self, told: Region) -> Iterator[Region]:
        """A region that a person has named, cut where names stand in it."""
        start = told.start
        for at in range(told.start + 1, told.end):
            if self.begins(at):
                yield told._replace(start=start, end=at)
                start = at
        yield told._replace(start=start)

    def begins(self, address: int) -> bool:
        return address in self.told or address in self.cuts or self.named(address)

    def segment(self, start: int, end: int) -> Iterator[Region]:
        """The regions of words that nothing leads into but, perhaps, at their beginning."""
        known = self.named(start)
        plain = at = start
        while at < end:
            kind, stop = self.special(at, end, known and at == start)
            if kind == BYTES:
                at = stop
                continue
            if plain < at:
                yield Region(plain, at, BYTES, known)
            yield Region(at, stop, kind, True)
            plain = at = stop
        if plain < end:
            yield Region(plain, end, BYTES, known)

    def special(self, at: int, end: int, known: bool) -> tuple[str, int]:
        """What begins at an address, and where it ends; where that is nothing special, the end of what need not be looked at
        again."""
        words = self.memory.words
        stop = at + 1
        while stop < end and words[stop] == words[at]:
            stop += 1
        if stop - at >= SHORTEST_FILL:
            return FILL, stop
        run = text_end(self.memory, at, end)
        if run - at >= SHORTEST_TEXT or (run - at >= SHORT_TEXT and (known or (run < end and words[run] in MARKS))):
            if readable([words[one] for one in range(at, run)]):
                last = min(end, run + MOST_MARKS)
                while run < last and words[run] in MARKS:
                    run += 1
                return TEXT, run
            return BYTES, run
        table = self.table_end(at, end)
        if table > at:
            return WORDS, table
        return BYTES, at + 1

    def table_end(self, at: int, end: int) -> int:
        """Where addresses that all lead to known instructions end."""
        cells = self.memory.cells
        if cells < 2:
            return at
        stop = at
        seen = set()
        while stop + cells <= end:
            value = self.memory.number(stop)
            if value is None or value not in self.trace.code:
                break
            seen.add(value)
            stop += cells
            if len(seen) == 1 and stop - at > SHORTEST_FILL:  # the same address over and over is no table
                break
        return stop if len(seen) >= SHORTEST_TABLE else at


def text_end(memory: Memory, at: int, end: int) -> int:
    """Where the characters that begin at an address end."""
    words = memory.words
    if memory.target.word < 7:
        return at
    stop = at
    while stop < end and (0x20 <= words[stop] <= 0x7E or (words[stop] in BLANKS and stop > at)):
        stop += 1
    return stop


def readable(codes: list[int]) -> bool:
    """Whether characters look like words of people: most of them letters and blanks, and not all the same."""
    letters = sum(1 for code in codes if chr(code).isalpha() or code == 0x20)
    return letters * 3 >= len(codes) * 2 and len(set(codes)) > 2
