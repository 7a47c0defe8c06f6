"""Modules to an image: fix-ups, overlaps, assertions; all errors in one run."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from xasm.assembly.limits import most_words
from xasm.assembly.module import Alignment, Encoded, Entry, FitStart, Module, Origin, SectionStart, Space, Words
from xasm.linking.board import Board
from xasm.linking.fitting import Fitting, Use
from xasm.linking.image import Image, Span
from xasm.linking.layout import Layout
from xasm.linking.program import Program, Unit
from xasm.linking.unused import unused
from xasm.linking.windows import Windows
from xasm.source.diagnostics import MARK, Fault, Report, elsewhere
from xasm.source.files import Place
from xasm.syntax.expressions import Node, shown
from xasm.target.encode import encode
from xasm.target.kinds import plain
from xasm.target.model import Target


class Run:
    """Entries that follow each other without a gap, in the order of the source: `length` words from address `start` of the
    image on. `words` may go on with those of the next run."""

    __slots__ = ("indexes", "length", "start", "words")

    def __init__(self, start: int, wide: bool) -> None:
        self.start = start
        self.words: bytearray | list[int] = [] if wide else bytearray()
        self.indexes: list[int] = []
        self.length = 0

    @property
    def end(self) -> int:
        return self.start + self.length

    def entry_at(self, address: int, addresses: Sequence[int]) -> int:
        """The entry that fills an address of the run, which are those of the image; `addresses` are those of the chip."""
        first = addresses[self.indexes[0]]
        starts = [addresses[index] - first for index in self.indexes]
        return self.indexes[max(0, bisect_right(starts, address - self.start) - 1)]


class Symbol(NamedTuple):
    """A name of a module: `kind` is "label", "constant" or "variable"; `public` tells whether other modules can use it."""

    name: str
    value: int
    kind: str
    place: Place
    unit: Unit
    public: bool


@dataclass(eq=False)
class Linked:
    """An image with what listings and reports want to know: the program, its layout, the words of each entry (empty where it
    leaves memory free), all names, what the windows of the board hold (nothing without one), and the runs of entries."""

    program: Program
    layout: Layout
    image: Image
    words: list[Sequence[int]]
    symbols: list[Symbol]
    uses: list[Use]
    runs: list[Run]

    @property
    def board(self) -> Board | None:
        return self.layout.windows.board if self.layout.windows is not None else None

    def entry_at(self, address: int) -> int | None:
        """The entry that fills an address of the image; None where none does."""
        run = next((run for run in self.runs if run.start <= address < run.end), None)
        return None if run is None else run.entry_at(address, self.layout.addresses)


def link(modules: Sequence[Module], target: Target, report: Report, board: Board | None = None, only_used: bool = False) -> Linked:
    """Places and encodes everything; with `only_used` it leaves out the sections of modules that nothing leads to. Raises
    SourceErrors (through the report) with all errors found."""
    program = Program(modules, target, report, starts=board is not None)
    if only_used:
        program = Program(modules, target, report, starts=board is not None, unused=unused(program, board))
    layout = Layout(program, Windows(program, board) if board is not None else None)
    try:
        layout.settle()
    except Fault as fault:
        assert fault.place is not None
        report.fault(fault, fault.place)
        report.stop()
    if layout.windows is not None and layout.windows.misfits:
        layout.windows.unplaced(report)
        report.stop()
    linker = _Linker(program, layout, report)
    linker.encode()
    linker.checks()
    parts = linker.parts()
    uses: list[Use] = []
    if layout.windows is not None:
        fitting = Fitting(program, layout.windows, layout, linker.words, report)
        fitting.check()
        parts = fitting.filled(fitting.with_vectors(parts, linker.symbol))
        uses = fitting.uses
    symbols = linker.symbols()
    entry = linker.entry()
    report.stop()
    image = Image(target, parts, values_of(symbols), entry, tuple(program.public))
    return Linked(program, layout, image, linker.words, symbols, uses, linker.runs)


def values_of(symbols: Sequence[Symbol]) -> dict[str, int]:
    """The value of each name; of one that several modules have, that of the PUBLIC one, or else of the first."""
    values: dict[str, int] = {}
    for symbol in symbols:
        if symbol.public:
            values[symbol.name] = symbol.value
        else:
            values.setdefault(symbol.name, symbol.value)
    return values


class _Linker:
    def __init__(self, program: Program, layout: Layout, report: Report) -> None:
        self.program = program
        self.entries = program.entries
        self.target = program.target
        self.layout = layout
        self.report = report
        self.runs: list[Run] = []
        self.words: list[Sequence[int]] = [()] * len(program.entries)
        self.filler = plain("a filler", "number", self.target.word)

    def encode(self) -> None:
        """Fills the runs with the words of all entries."""
        addresses = self.layout.addresses
        values = self.layout.values
        chosen = self.layout.chosen
        windows = self.layout.windows
        number = 0
        space = ""
        top = self.target.top
        shift: int | None = 0  # from an address to that in the image, up to the border of a window
        border = top + 1
        wide = self.target.word > 8
        limit = self._most()
        made = 0
        run = Run(0, wide)
        beyond = False
        chunks = self.program.chunks[::-1]
        for index, entry in enumerate(self.entries):
            while chunks and chunks[-1].first <= index:
                values.unit = chunks.pop().unit
            if self.report.full:
                return
            piece = entry.piece
            address = addresses[index]
            kind = type(piece)
            if kind is Words:
                words = piece.words  # type: ignore[union-attr]
            elif kind is Encoded:
                values.index = index
                values.local = entry.scope
                try:
                    words = encode(piece.variants[chosen.get(index, 0)], piece.leaves, values, address)  # type: ignore
                except Fault as fault:
                    self.fault(fault, entry)
                    words = piece.variants[chosen.get(index, 0)].words  # type: ignore[union-attr]
            else:
                if kind is Origin or kind is SectionStart:
                    beyond = False
                    run = Run(address, wide)
                    if kind is SectionStart:
                        number, space = piece.number, piece.space  # type: ignore[union-attr]
                        top = self.target.top_of(space)
                    shift, border = self._shift(number, space, addresses[index + 1])
                    continue
                words = self.space(index, entry, addresses[index + 1] - address)
                if words is None:
                    if not beyond and addresses[index + 1] > top + 1:
                        beyond = True
                        self.runs_over(entry, addresses[index + 1], top)
                    continue
            made += len(words)
            if made > limit:
                self.fault(Fault("too_many_words", limit=limit, chip=self.target.name), entry)
                return
            if address + len(words) > top + 1:
                if not beyond:
                    self.runs_over(entry, address + len(words), top)
                beyond = True
                continue
            if not words:
                continue
            if address >= border:
                shift, border = self._shift(number, space, address)
            self.words[index] = words
            if shift is None:
                if windows is None or windows.at(number, address).kind == "rom":  # type: ignore[union-attr]
                    self.fault(Fault("not_loaded", space=space), entry)
                continue
            if address + shift != run.end or not run.indexes:
                run = Run(address + shift, wide)
                self.runs.append(run)
            run.indexes.append(index)
            run.words.extend(words)
            run.length += len(words)

    def _shift(self, number: int, space: str, address: int) -> tuple[int | None, int]:
        """What is added to an address of a section to have that in the image (None where nothing is loaded), and the address
        up to which that holds."""
        windows = self.layout.windows
        if windows is None:
            return None if space else 0, self.target.top_of(space) + 1
        window = windows.at(number, address)
        if window is None:
            return 0, address + 1  # an error of its own
        return None if window.image is None else window.image - window.start, window.end

    def _most(self) -> int:
        """How many words a program may have: those of its address space, or of all windows."""
        windows = self.layout.windows.board.windows if self.layout.windows is not None else ()
        return most_words(max(self.target.top + 1, sum(window.size for window in windows)))

    def value(self, node: Node, entry: Entry, index: int) -> int:
        """The value of an expression of an entry. Raises Fault."""
        return self.layout.values.of(node, self.program.unit_of(index), entry.scope, index)

    def fault(self, fault: Fault, entry: Entry) -> None:
        source, line, column = entry.place
        length = len(source.line(line)[column - 1 :].split(None, 1)[0])
        self.report.fault(fault, entry.place, entry.offset, length)

    def runs_over(self, entry: Entry, end: int, top: int) -> None:
        last, highest = self.target.hex_address(end - 1), self.target.hex_address(top)
        self.fault(Fault("runs_over", last=last, top=highest, chip=self.target.name), entry)

    def space(self, index: int, entry: Entry, count: int) -> Sequence[int] | None:
        """The words of a DS or ALIGN; None where they stay free."""
        piece = entry.piece
        assert isinstance(piece, (Space, Alignment, FitStart))
        try:
            if isinstance(piece, FitStart):
                self.fit(index, piece)
            else:
                name, node = ("DS", piece.count) if isinstance(piece, Space) else ("ALIGN", piece.step)
                wrong = count_fault(node, self.value(node, entry, index), name)
                if wrong:
                    raise wrong
            if piece.fill is None:
                return None
            fill = self.value(piece.fill, entry, index)
            word = self.stored(fill, piece.fill)
        except Fault as fault:
            self.fault(fault, entry)
            return None
        if self.layout.addresses[index] + count > self.target.top + 1:
            return None
        if count > self._most():
            self.fault(Fault("too_many_words", limit=self._most(), chip=self.target.name), entry)
            return None
        return bytes((word,)) * count if self.target.word <= 8 else [word] * count

    def fit(self, index: int, piece: FitStart) -> None:
        """Raises Fault when a block does not lie in one page."""
        addresses = self.layout.addresses
        first = addresses[index + 1]
        last = addresses[index + 1 + piece.count] - 1
        if last - first >= piece.page:
            raise Fault("fit_too_long", size=last - first + 1, page=piece.page)
        if first <= last and first // piece.page != last // piece.page:
            border = last // piece.page * piece.page
            shown_as = self.target.hex_address
            hint = "FIT with MOVE behind the page size puts the block into the next page"
            over = last - border + 1
            raise Fault("fit_crosses", hint=hint, first=shown_as(first), last=shown_as(last), border=shown_as(border), over=over)

    def stored(self, value: int, node: Node) -> int:
        try:
            return self.filler.store(value, 0, 1, 0)
        except Fault as fault:
            fault.start, fault.end = node.start, node.end
            raise

    def checks(self) -> None:
        """The ASSERT statements."""
        for unit in self.program.units:
            for check in unit.module.checks:
                if check.section not in unit.bases:
                    continue
                try:
                    if not self.layout.values.of(check.node, unit, check.scope, unit.bases[check.section] + check.position):
                        raise check.node.fault("assertion", why=check.why)
                except Fault as fault:
                    self.fault(fault, Entry(Words((), None), check.place, check.offset, check.scope))

    def parts(self) -> tuple[Span, ...]:
        """The runs sorted and joined; reports overlaps with both statements."""
        parts: list[Span] = []
        owner: Run | None = None
        for run in sorted(self.runs, key=lambda run: run.start):
            if owner is not None and run.start < owner.end:
                self.overlap(owner, run)
                if run.end <= owner.end:
                    continue
            if parts and parts[-1].end == run.start:
                joined = parts[-1].words
                joined += run.words  # type: ignore[operator]
            else:
                parts.append(Span(run.start, run.words))
            owner = run
        return tuple(parts)

    def overlap(self, first: Run, second: Run) -> None:
        """Two runs share addresses: the statement that comes later in the source is marked."""
        shared = second.start
        one, other = (run.entry_at(shared, self.layout.addresses) for run in (first, second))
        earlier, later = sorted((one, other))
        entries = self.entries
        addresses = self.layout.addresses
        begin = addresses[later]
        end = max(begin + 1, addresses[later + 1])
        what = self.target.hex_address(begin) + (f"..{self.target.hex_address(end - 1)}" if end - begin > 1 else "")
        self.fault(Fault("overlap", what=what, first=elsewhere(entries[earlier].place, entries[later].place)), entries[later])

    def symbols(self) -> list[Symbol]:
        """Every name with its value, module by module in the order of definition."""
        found: list[Symbol] = []
        for unit in self.program.units:
            for name, place in unit.module.defined.items():
                if MARK in name or unit.is_left_out(name):
                    continue
                kind = "label" if name in unit.labels else "variable" if name in unit.module.variables else "constant"
                try:
                    found.append(Symbol(name, self.symbol(unit, name), kind, place, unit, self.program.public.get(name) is unit))
                except Fault as fault:
                    self.report.fault(fault, place)
        return found

    def symbol(self, unit: Unit, key: str) -> int:
        """The value of a name that a module defines. Raises Fault."""
        values = self.layout.values
        values.unit, values.local = unit, ""
        node = unit.module.variables.get(key)
        return node.value(values) if node is not None else values.symbol(key, _NOWHERE)

    def entry(self) -> int | None:
        """What END named, in the one module whose END names something."""
        named = [unit for unit in self.program.units if unit.module.start is not None]
        if not named:
            return None
        start = named[0].module.start
        for unit in named[1:]:
            other = unit.module.start
            fault = Fault("start_twice", first=elsewhere(start.place, other.place))  # type: ignore[union-attr]
            self.report.fault(fault, other.place, 0, len("END"))  # type: ignore[union-attr]
        assert start is not None
        try:
            position = named[0].bases.get(start.section, 0) + start.position
            value = self.layout.values.of(start.node, named[0], start.scope, position)
            if not 0 <= value <= self.target.top:
                space = f"0..{self.target.hex_address(self.target.top)}"
                raise start.node.fault("start_unknown", value=shown(value), range=space)
        except Fault as fault:
            self.fault(fault, Entry(Words((), None), start.place, start.offset, start.scope))
            return None
        return value


_NOWHERE = Node(0, 0)


def count_fault(node: Node, value: int, directive: str) -> Fault | None:
    """What is wrong with a settled count, or None."""
    if directive == "ALIGN":
        return None if value > 0 else node.fault("bad_alignment", value=shown(value))
    return None if value >= 0 else node.fault("not_negative", directive=directive, value=shown(value))
