"""Where the sections of a program go in the windows of a board."""

from __future__ import annotations

from bisect import insort
from collections.abc import Sequence
from typing import NamedTuple

from xasm.assembly.module import Encoded, Entry, Origin, Space, Stamp, Words
from xasm.linking.board import Board, Window
from xasm.linking.program import Joined, Program
from xasm.source.diagnostics import Fault, Report

FREE_ROUNDS = 100  # passes in which a section may go to any hole; from then on none goes back, so that it ends


class Block(NamedTuple):
    """Entries `first` .. `last - 1` that follow each other in a section: from its start, or from an ORG (`origin`)."""

    first: int
    last: int
    origin: int | None


class Misfit(NamedTuple):
    """A section that fits into no hole: its words, and the largest hole that there was."""

    size: int
    hole: int


class Windows:
    """The windows of a board and the sections of a program, in the order of which each takes the first hole that holds it:
    in the windows that the board names for it, else in all of the kind that its content needs. What an ORG places stays
    there, and sections without one go around it.

    `misfits` maps the number of a section to why it could not be placed.
    """

    def __init__(self, program: Program, board: Board) -> None:
        self.program = program
        self.board = board
        self.blocks = [blocks_of(program, number) for number in range(len(program.sections))]
        self.choices = [self._choices(joined, number) for number, joined in enumerate(program.sections)]
        self.misfits: dict[int, Misfit] = {}
        self.placed: list[Window | None] = [None] * len(program.sections)
        self._rounds = 0
        self._starts: list[int] = [0] * len(program.sections)

    def _choices(self, joined: Joined, number: int) -> tuple[Window, ...]:
        """The windows that a section may go to."""
        named = self.board.sections.get(joined.shown)
        if named is not None:
            return named
        entries = self.program.entries
        words = any(fills(entries[index]) for block in self.blocks[number] for index in range(block.first, block.last))
        kind = "rom" if words else "ram"
        return tuple(window for window in self.board.windows if window.kind == kind and window.space == joined.space)

    def starts(self, addresses: Sequence[int]) -> list[int]:
        """Where each section begins, with the lengths that the last addresses show."""
        self._rounds += 1
        self.misfits.clear()
        taken: dict[str, list[tuple[int, int]]] = {window.name: [] for window in self.board.windows}
        for number, blocks in enumerate(self.blocks):
            for block in blocks:
                if block.origin is not None:
                    self._take(taken, self.at(number, block.origin), block.origin, addresses[block.last] - addresses[block.first])
        for number, blocks in enumerate(self.blocks):
            if blocks and blocks[0].origin is None:
                self._starts[number] = self._place(number, addresses[blocks[0].last] - addresses[blocks[0].first], taken)
        return self._starts

    def _place(self, number: int, size: int, taken: dict[str, list[tuple[int, int]]]) -> int:
        choices = self.choices[number]
        rank = 0
        least = 0
        before = self.placed[number]
        if self._rounds > FREE_ROUNDS and before is not None:
            rank, least = choices.index(before), self._starts[number]
        largest = 0
        for window in choices[rank:]:
            address = max(window.start, least) if window is before else window.start
            for first, last in [*taken[window.name], (window.end, window.end)]:
                largest = max(largest, first - address)
                if first - address >= size:
                    self.placed[number] = window
                    self._take(taken, window, address, size)
                    return address
                address = max(address, last)
        if size:
            self.misfits[number] = Misfit(size, largest)
        return self._starts[number] if before else choices[0].start if choices else 0

    def _take(self, taken: dict[str, list[tuple[int, int]]], window: Window | None, address: int, size: int) -> None:
        """Notes that addresses are in use, in a window and in those that follow it in the same bank."""
        for other in self.board.windows if window is not None and size > 0 else ():
            if (other.space, other.bank) == (window.space, window.bank) and other.start < address + size and address < other.end:  # type: ignore[union-attr]
                insort(taken[other.name], (address, address + size))

    def at(self, number: int, address: int) -> Window | None:
        """The window in which an address of a section lies: one of its own first, then one without a bank."""
        space = self.program.sections[number].space
        own = self.choices[number] if self.program.sections[number].shown in self.board.sections else ()
        others = sorted((window for window in self.board.windows if window.space == space), key=lambda window: window.bank != "")
        return next((window for window in (*own, *others) if window.holds(address)), None)

    def unplaced(self, report: Report) -> None:
        """Reports the sections that fit nowhere."""
        for number, (size, hole) in self.misfits.items():
            joined = self.program.sections[number]
            windows = self.choices[number]
            if windows:
                beside = [other for other, window in enumerate(self.placed) if window in windows and other != number]
                hint = f"there already: {', '.join(self.program.sections[other].shown for other in beside)}" if beside else None
                names = " or ".join(f"'{window.name}'" for window in windows)
                fault = Fault("section_too_long", hint=hint, section=joined.shown, size=size, windows=names, over=size - hole)
            else:
                entries = (self.program.entries[index] for index in range(self.blocks[number][0].first, self.blocks[number][-1].last))
                kind = "rom" if any(map(fills, entries)) else "ram"
                fault = Fault("no_window", section=joined.shown, kind=kind, space=joined.space or "program")
            named = joined.place[1] > 0
            place = joined.place if named else self.program.entries[self.blocks[number][0].first].place
            report.fault(fault, place, 0, len("SECTION") if named else 1)


def fills(entry: Entry) -> bool:
    """Whether an entry puts words into memory."""
    piece = entry.piece
    if isinstance(piece, (Words, Encoded, Stamp)):
        return piece.size > 0
    return isinstance(piece, Space) and piece.fill is not None


def blocks_of(program: Program, number: int) -> list[Block]:
    """The blocks of a section; those without entries are left out."""
    chunks = program.sections[number].chunks
    first = chunks[0].first
    last = chunks[-1].first + len(chunks[-1].section.entries)
    blocks = []
    begin = first
    origin: int | None = None
    for index in range(first, last):
        piece = program.entries[index].piece
        if isinstance(piece, Origin):
            if begin < index:
                blocks.append(Block(begin, index, origin))
            begin, origin = index + 1, piece.address
    if begin < last or not blocks:
        blocks.append(Block(begin, last, origin))
    return blocks
