"""A placed program against its board: what lies in which window, what the host must give, and the vectors it starts by."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

from xasm.assembly.module import Encoded, Entry, Words
from xasm.linking.board import Named, Window
from xasm.linking.image import Span
from xasm.linking.layout import Layout
from xasm.linking.program import Program, Unit
from xasm.linking.windows import Block, Windows, fills
from xasm.source.diagnostics import Fault, Report
from xasm.source.files import Place


class Use(NamedTuple):
    """What a window holds: pieces of sections as (address, words, name of the section), in order of address."""

    window: Window
    pieces: list[tuple[int, int, str]]

    @property
    def used(self) -> int:
        """Words in use; where pieces share addresses, as ORG may place them, these count once."""
        total = end = 0
        for address, size, _ in self.pieces:
            total += max(0, address + size - max(end, address))
            end = max(end, address + size)
        return total

    def cost(self, cell: int, filled: bool) -> int:
        """Bytes of the host that the window takes, of `cell` bytes a word: of ROM what is used, from the first word to the
        last, or all where it is `filled`; of RAM and ports all."""
        if self.window.kind != "rom" or (filled and self.pieces):
            return self.window.size * cell
        if not self.pieces:
            return 0
        return (max(address + size for address, size, _ in self.pieces) - self.pieces[0][0]) * cell


class Fitting:
    """The check of a placed program; `words` are those of each entry. `uses` holds the windows of the board in its order."""

    def __init__(self, program: Program, windows: Windows, layout: Layout, words: Sequence[Sequence[int]], report: Report) -> None:
        self.program = program
        self.windows = windows
        self.board = windows.board
        self.addresses = layout.addresses
        self.words = words
        self.report = report
        self.uses = [Use(window, []) for window in self.board.windows]

    def check(self) -> None:
        """Reports what lies outside all windows, words in windows that are no ROM, and what the host has not."""
        for number, blocks in enumerate(self.windows.blocks):
            for block in blocks:
                self._block(number, block)
        for use in self.uses:
            use.pieces.sort()
        for resource, limit in self.board.host.items():
            self._budget(resource, limit)

    def _block(self, number: int, block: Block) -> None:
        """One block of a section: its statements, and what of each window it takes."""
        wrong: set[str] = set()  # one message of each kind is enough
        window: Window | None = None
        for index in range(block.first, block.last):
            first, last = self.addresses[index], self.addresses[index + 1]
            if first == last or (window is not None and window.holds(first) and last <= window.end and window.kind == "rom"):
                continue
            window = self.windows.at(number, first)
            fault = self._fault(index, list(self._inside(number, first, last)))
            if fault is not None and fault.code not in wrong:
                wrong.add(fault.code)
                source, line, column = self.program.entries[index].place
                length = len(source.line(line)[column - 1 :].split(None, 1)[0])
                self.report.fault(fault, (source, line, column), self.program.entries[index].offset, length)
        shown = self.program.sections[number].shown
        for first, last, taken in self._inside(number, self.addresses[block.first], self.addresses[block.last]):
            if taken is not None:
                self.uses[self.board.windows.index(taken)].pieces.append((first, last - first, shown))

    def _inside(self, number: int, first: int, last: int) -> Iterator[tuple[int, int, Window | None]]:
        """Addresses of a section cut at the borders of windows: from, to, and the window (None: what is left lies in none)."""
        while first < last:
            window = self.windows.at(number, first)
            end = last if window is None else min(last, window.end)
            yield first, end, window
            first = end

    def _fault(self, index: int, inside: list[tuple[int, int, Window | None]]) -> Fault | None:
        """What is wrong with where a statement lies."""
        shown = self.program.target.address_text
        entry = self.program.entries[index]
        filled = fills(entry)
        before: Window | None = None
        for first, _, window in inside:
            if window is None or (filled and before is not None and not follows(before, window)):
                if before is None:
                    return Fault("outside_windows", address=shown(first))
                return Fault("leaves_window", address=shown(first), window=before.name)
            if filled and window.kind != "rom":
                code = "code_not_rom" if is_instruction(entry) else "value_not_rom"
                return Fault(code, address=shown(first), window=window.name, kind=window.kind)
            before = window
        return None

    def _budget(self, resource: str, limit: int) -> None:
        """Whether the host has enough of a resource."""
        cell = self.program.target.cell
        costs = [(use.window.name, use.cost(cell, self.board.fill is not None)) for use in self.uses if use.window.costs == resource]
        total = sum(cost for _, cost in costs)
        if total > limit:
            parts = ", ".join(f"'{name}' {cost:,}" for name, cost in costs if cost)
            fault = Fault("host_exceeded", resource=resource, limit=limit, total=total, parts=parts, over=total - limit)
            self.report.fault(fault, self.board.places["host"], 0, len("host"))

    def with_vectors(self, parts: tuple[Span, ...], value: Callable[[Unit, str], int]) -> tuple[Span, ...]:
        """The image's parts with what the board wants at its vectors; `value` gives the value of a unit's name."""
        target = self.program.target
        wanted = dict(self.board.vectors)
        start = self.board.start
        if start is not None and target.start_vector:
            wanted[target.start] = start
        elif start is not None:
            begins = self._value(*start, value)
            if begins is not None and begins != target.start:
                found, first = target.address_text(begins), target.address_text(target.start)
                self.wrong(Fault("starts_elsewhere", chip=target.name, first=first, name=start.name, address=found), start)
        for address, named in sorted(wanted.items()):
            number = self._value(*named, value)
            if number is not None:
                parts = self._written(parts, address, number, named)
        return parts

    def filled(self, parts: tuple[Span, ...]) -> tuple[Span, ...]:
        """The parts with every ROM window that is used filled, when the board says by what."""
        fill = self.board.fill
        if fill is None:
            return parts
        wide = self.program.target.word > 8
        windows = [use.window for use in self.uses if use.window.kind == "rom" and use.pieces]
        found: list[Span] = []
        for window in sorted(windows, key=lambda one: one.image or 0):
            if window.image is None:
                continue
            words: bytearray | list[int] = [fill] * window.size if wide else bytearray((fill,)) * window.size
            for part in parts:
                first, last = max(part.start, window.image), min(part.end, window.image + window.size)
                if first < last:
                    words[first - window.image : last - window.image] = part.words[first - part.start : last - part.start]
            if found and found[-1].end == window.image:
                found[-1].words.extend(words)  # type: ignore[attr-defined]
            else:
                found.append(Span(window.image, words))
        return tuple(found)

    def wrong(self, fault: Fault, named: Named) -> None:
        """Reports a fault of a name that the board gives."""
        self.report.fault(fault, named.place, 0, len(named.name))

    def _value(self, name: str, place: Place, value: Callable[[Unit, str], int]) -> int | None:
        """The value of a name of the program: a PUBLIC one, or one that only one module has."""
        units = [self.program.public[name]] if name in self.program.public else []
        units = units or [unit for unit in self.program.units if name in unit.module.defined]
        if len(units) == 1:
            try:
                return value(units[0], name)
            except Fault as fault:
                self.report.fault(fault, fault.place or place)
                return None
        hint = f"PUBLIC {name} in one of them" if units else None
        self.wrong(Fault("board_ambiguous" if units else "undefined", hint=hint, name=name), Named(name, place))
        return None

    def _written(self, parts: tuple[Span, ...], address: int, number: int, named: Named) -> tuple[Span, ...]:
        """The parts with a value at an address, in as many words as an address takes, in the chip's order."""
        target = self.program.target
        count = -(-target.address // target.word)
        window = next((one for one in self.board.windows if not one.space and one.holds(address)), None)
        if window is None or window.image is None or not window.holds(address + count - 1):
            self.wrong(Fault("vector_not_rom", name=named.name, address=target.address_text(address)), named)
            return parts
        words = [number >> target.word * index & ((1 << target.word) - 1) for index in range(count)]
        if target.order == "big":
            words.reverse()
        begin = address - window.start + window.image
        end = begin + count
        touching = [part for part in parts if part.start <= end and begin <= part.end]
        if any(part.start < end and begin < part.end for part in touching):
            self.wrong(Fault("vector_taken", name=named.name, address=target.address_text(address)), named)
            return parts
        self.uses[self.board.windows.index(window)].pieces.append((address, count, f"vector to {named.name}"))
        self.uses[self.board.windows.index(window)].pieces.sort()
        whole: bytearray | list[int] = bytearray() if target.word <= 8 else []
        for part in sorted([*touching, Span(begin, words)], key=lambda part: part.start):
            whole.extend(part.words)
        rest = [part for part in parts if part not in touching]
        return tuple(sorted([*rest, Span(min(begin, *(part.start for part in touching), begin), whole)], key=lambda part: part.start))


def is_instruction(entry: Entry) -> bool:
    piece = entry.piece
    if isinstance(piece, Encoded):
        return piece.variants[0].form is not None
    return isinstance(piece, Words) and piece.form is not None


def follows(first: Window, second: Window) -> bool:
    """Whether a window goes on where the one in front ends, in the image too."""
    return first.image is not None and second.image is not None and first.image + first.size == second.image
