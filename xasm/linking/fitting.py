"""A placed program against its board: what lies in which window, what the host must give, and the vectors it starts by."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

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

    def cost(self, cell: int) -> int:
        """Bytes of the host that the window takes, of `cell` bytes a word: of ROM what is used, from the first word to the
        last; of RAM and ports all."""
        if self.window.kind != "rom":
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
        """One block of a section, window by window."""
        address, end = self.addresses[block.first], self.addresses[block.last]
        index = block.first
        wrong: set[str] = set()  # one message of each kind is enough
        while address < end:
            window = self.windows.at(number, address)
            until = min(end, window.end) if window is not None else end
            if window is not None:
                self.uses[self.board.windows.index(window)].pieces.append((address, until - address, self.program.sections[number].shown))
            while index < block.last and self.addresses[index] < until:
                if self.addresses[index + 1] > self.addresses[index]:
                    self._entry(index, window, until, wrong)
                index += 1
            address = until

    def _entry(self, index: int, window: Window | None, until: int, wrong: set[str]) -> None:
        entry = self.program.entries[index]
        shown = self.program.target.hex_address
        if window is None:
            fault = Fault("outside_windows", address=shown(self.addresses[index]))
        elif fills(entry) and window.kind != "rom":
            instruction = getattr(entry.piece, "form", None) is not None or getattr(entry.piece, "variants", ((None,),))[0][0] is not None
            code = "code_not_rom" if instruction else "value_not_rom"
            fault = Fault(code, address=shown(self.addresses[index]), window=window.name, kind=window.kind)
        elif self.words[index] and self.addresses[index] + len(self.words[index]) > until == window.end:
            fault = Fault("leaves_window", address=shown(until), window=window.name)
        else:
            return
        if fault.code not in wrong:
            wrong.add(fault.code)
            source, line, column = entry.place
            length = len(source.line(line)[column - 1 :].split(None, 1)[0])
            self.report.fault(fault, entry.place, entry.offset, length)

    def _budget(self, resource: str, limit: int) -> None:
        """Whether the host has enough of a resource."""
        cell = self.program.target.cell
        costs = [(use.window.name, use.cost(cell)) for use in self.uses if use.window.costs == resource]
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
                found, first = target.hex_address(begins), target.hex_address(target.start)
                self.wrong(Fault("starts_elsewhere", chip=target.name, first=first, name=start.name, address=found), start)
        for address, named in sorted(wanted.items()):
            number = self._value(*named, value)
            if number is not None:
                parts = self._written(parts, address, number, named)
        return parts

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
            self.wrong(Fault("vector_not_rom", name=named.name, address=target.hex_address(address)), named)
            return parts
        words = [number >> target.word * index & ((1 << target.word) - 1) for index in range(count)]
        if target.order == "big":
            words.reverse()
        begin = address - window.start + window.image
        end = begin + count
        touching = [part for part in parts if part.start <= end and begin <= part.end]
        if any(part.start < end and begin < part.end for part in touching):
            self.wrong(Fault("vector_taken", name=named.name, address=target.hex_address(address)), named)
            return parts
        self.uses[self.board.windows.index(window)].pieces.append((address, count, f"vector to {named.name}"))
        self.uses[self.board.windows.index(window)].pieces.sort()
        whole: bytearray | list[int] = bytearray() if target.word <= 8 else []
        for part in sorted([*touching, Span(begin, words)]):
            whole += part.words  # type: ignore[operator]
        rest = [part for part in parts if part not in touching]
        return tuple(sorted([*rest, Span(min(begin, *(part.start for part in touching), begin), whole)], key=lambda part: part.start))
