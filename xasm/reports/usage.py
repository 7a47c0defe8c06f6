"""What lies where in a program that was linked, and what it takes: of memory, of the host, by section and by file.

Without a board there is one area for each address space in which something lies, and it reaches over the whole space.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from functools import cache, cached_property
from typing import NamedTuple

from xasm.assembly.module import Origin
from xasm.linking.board import Window
from xasm.linking.fitting import is_instruction
from xasm.linking.linker import Linked
from xasm.linking.program import Chunk
from xasm.source.diagnostics import where
from xasm.source.files import Place, Source

PROGRAM = "program"  # the address space that has no name


class Piece(NamedTuple):
    """Words of one section and module without a gap, at addresses of the chip: `words` of them, of which `loaded` stand in
    the image. `file` is that of the module."""

    start: int
    words: int
    loaded: int
    section: str
    file: str

    @property
    def end(self) -> int:
        return self.start + self.words


class Gap(NamedTuple):
    """Free words."""

    start: int
    words: int

    @property
    def end(self) -> int:
        return self.start + self.words


class Area(NamedTuple):
    """A window of the board, or an address space: `size` words from `start` on, and its pieces in order of address."""

    name: str
    start: int
    size: int
    space: str
    window: Window | None
    pieces: list[Piece]

    @property
    def end(self) -> int:
        return self.start + self.size

    @property
    def gaps(self) -> list[Gap]:
        """What no piece has, in order of address."""
        found = []
        at = self.start
        for piece in self.pieces:
            if piece.start > at:
                found.append(Gap(at, piece.start - at))
            at = max(at, piece.end)
        if at < self.end:
            found.append(Gap(at, self.end - at))
        return found

    @property
    def free(self) -> int:
        return sum(gap.words for gap in self.gaps)

    @property
    def used(self) -> int:
        """Words that pieces have; those that several share count once."""
        return self.size - self.free

    @property
    def loaded(self) -> int:
        return sum(piece.loaded for piece in self.pieces)

    @property
    def hole(self) -> Gap | None:
        """The largest gap, the first of several; None where nothing is free."""
        return max(self.gaps, key=lambda gap: (gap.words, -gap.start), default=None)

    def parts(self) -> list[Piece | Gap]:
        """Pieces and gaps in order of address."""
        return sorted([*self.pieces, *self.gaps], key=lambda part: (part.start, part.words))


class Size(NamedTuple):
    """Words of instructions, of data, and left free or not loaded."""

    code: int = 0
    data: int = 0
    reserved: int = 0

    @property
    def words(self) -> int:
        return self.code + self.data + self.reserved

    def with_words(self, count: int, kind: str) -> Size:
        return self._replace(**{kind: getattr(self, kind) + count})


class Resource(NamedTuple):
    """What the host has of something, in bytes, and what each window takes of it."""

    name: str
    budget: int
    costs: list[tuple[str, int]]

    @property
    def used(self) -> int:
        return sum(cost for _, cost in self.costs)


class Usage:
    """Where everything of a program lies. Areas are in order of space and address, banks as the board has them; `sections` and
    `files` give sizes by name, in the order in which the program has them, and `filler` is how many words of the image the
    board's `fill` made.

    A statement belongs to the file that it stands in; what a macro makes belongs to the file that uses it. Words that the
    board puts at its vectors belong to the board's file.
    """

    def __init__(self, linked: Linked) -> None:
        self.linked = linked
        self.target = linked.image.target
        self.board = linked.board
        self.named = names_of_files(module.path for module in linked.program.modules)
        self.sections: dict[str, Size] = {}
        self.files: dict[str, Size] = {}
        self._areas: dict[str, Area] = {}
        for window in self.board.windows if self.board is not None else ():
            self._areas[window.name] = Area(window.name, window.start, window.size, window.space, window, [])
        for number, joined in enumerate(linked.program.sections):
            for chunk in joined.chunks:
                self._chunk(number, chunk, joined.shown, joined.space)
        self._vectors()
        self.areas = sorted(self._areas.values(), key=lambda area: (area.space, area.start))
        for area in self.areas:
            area.pieces.sort()
        self.filler = len(linked.image) - sum(area.loaded for area in self.areas)

    @cached_property
    def resources(self) -> list[Resource]:
        """The host's resources in the board's order."""
        board = self.board
        if board is None:
            return []
        costs = [(use.window, use.cost(self.target.cell, board.fill is not None)) for use in self.linked.uses]
        return [
            Resource(name, budget, [(window.name, cost) for window, cost in costs if window.costs == name])
            for name, budget in board.host.items()
        ]

    def at(self, place: Place) -> str:
        """`file:line`, by the name that reports give the file."""
        return where((Source(self.named(place[0].path), ""), place[1], place[2]))

    def _chunk(self, number: int, chunk: Chunk, section: str, space: str) -> None:
        """What a module adds to a section, in pieces that end where a gap or the border of a window is."""
        addresses = self.linked.layout.addresses
        file = self.named(chunk.unit.module.path)
        area: Area | None = None
        for index, entry in enumerate(chunk.section.entries, chunk.first):
            first, last = addresses[index], addresses[index + 1]
            if first == last or isinstance(entry.piece, Origin):
                continue
            filled = len(self.linked.words[index]) > 0
            self._count(section, entry.place[0], last - first, "reserved" if not filled else "code" if is_instruction(entry) else "data")
            while first < last:
                if area is None or not area.start <= first < area.end:
                    area = self._area(number, first, space)
                end = min(last, area.end)
                self._add(area, Piece(first, end - first, (end - first) * filled, section, file))
                first = end

    def _area(self, number: int, address: int, space: str) -> Area:
        """The area of an address of a section."""
        windows = self.linked.layout.windows
        if windows is None:
            name = space or PROGRAM
            return self._areas.setdefault(name, Area(name, 0, self.target.top_of(space) + 1, space, None, []))
        window = windows.at(number, address)
        assert window is not None, "what lies in no window is not linked"
        return self._areas[window.name]

    def _add(self, area: Area, piece: Piece) -> None:
        """Adds a piece to an area, joined with the last one where that goes on."""
        last = area.pieces[-1] if area.pieces else None
        if last is not None and last.end == piece.start and (last.section, last.file) == (piece.section, piece.file):
            piece = Piece(last.start, last.words + piece.words, last.loaded + piece.loaded, last.section, last.file)
            area.pieces.pop()
        area.pieces.append(piece)

    def _count(self, section: str, source: Source, words: int, kind: str) -> None:
        while source.is_made and source.parent is not None:
            source = source.parent[0]
        file = self.named(source.path)
        self.sections[section] = self.sections.get(section, Size()).with_words(words, kind)
        self.files[file] = self.files.get(file, Size()).with_words(words, kind)

    def _vectors(self) -> None:
        """What the board wants at its vectors: the pieces of windows that are those of no section."""
        sections = {joined.shown for joined in self.linked.program.sections}
        for use in self.linked.uses:
            for address, words, name in use.pieces:
                if name not in sections and self.board is not None:
                    source = self.board.windows[0].place[0]
                    self._count(name, source, words, "data")
                    self._add(self._areas[use.window.name], Piece(address, words, words, name, self.named(source.path)))


def counted(count: int, what: str = "word") -> str:
    """A number of things: `1 word`, `1,024 words`."""
    return f"{count:,} {what}{'' if count == 1 else 's'}"


def is_ports(area: Area) -> bool:
    """Whether an area is one in which nothing is meant to be placed, and nothing is."""
    return area.window is not None and area.window.kind == "io" and not area.pieces


def names_of_files(modules: Iterable[str]) -> Callable[[str], str]:
    """How reports name files, the same wherever they lie: from the innermost folder that holds all `modules`. A file that has
    nothing in common with that folder has its last name only."""
    base = common([os.path.dirname(os.path.abspath(path)) for path in modules])

    @cache
    def named(path: str) -> str:
        full = os.path.abspath(path)
        if common([full, base]) == os.path.dirname(common([full, base])):  # the root
            return os.path.basename(full)
        return os.path.relpath(full, base).replace(os.sep, "/")

    return named


def common(paths: list[str]) -> str:
    """The innermost folder of paths; empty where there is none."""
    try:
        return os.path.commonpath(paths)
    except ValueError:
        return ""


def beside(areas: list[Area]) -> Iterator[list[Area]]:
    """The areas in groups: those of a group share addresses, as banks do."""
    group: list[Area] = []
    end = -1
    for area in areas:
        if group and (area.space != group[0].space or area.start >= end):
            yield group
            group = []
        end = max(end, area.end) if group else area.end
        group.append(area)
    if group:
        yield group
