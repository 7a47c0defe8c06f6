"""Modules to an image: all errors in one run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from xasm.assembly.module import Entry, Module, Words
from xasm.linking.board import Board
from xasm.linking.contents import Contents, Run
from xasm.linking.fitting import Fitting, Use
from xasm.linking.image import Image
from xasm.linking.layout import Layout
from xasm.linking.program import Program, Unit
from xasm.linking.stamps import Stamping
from xasm.linking.unused import unused
from xasm.linking.windows import Windows
from xasm.source.diagnostics import MARK, Fault, Report, elsewhere
from xasm.source.files import Place
from xasm.syntax.expressions import Node, shown
from xasm.target.model import Target


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


class Wishes(NamedTuple):
    """What a person may choose about linking: the board; `only_used` leaves out the sections of modules that nothing leads to;
    `fill` is what stands in gaps for checksums, where the board does not say it; `text` is what STAMP TEXT holds."""

    board: Board | None = None
    only_used: bool = False
    fill: int | None = None
    text: str = ""


NOTHING = Wishes()


def link(modules: Sequence[Module], target: Target, report: Report, wishes: Wishes = NOTHING) -> Linked:
    """Places and encodes everything. Raises SourceErrors (through the report) with all errors found."""
    board = wishes.board
    program = Program(modules, target, report, starts=board is not None)
    if wishes.only_used:
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
    contents = Contents(program, layout, report)
    contents.encode()
    names = _Names(contents)
    names.checks()
    parts = contents.parts()
    uses: list[Use] = []
    if layout.windows is not None:
        fitting = Fitting(program, layout.windows, layout, contents.words, report)
        fitting.check()
        parts = fitting.filled(fitting.with_vectors(parts, names.symbol))
        uses = fitting.uses
    if not report.failed:
        fill = board.fill if board is not None and board.fill is not None else wishes.fill
        Stamping(program, layout, parts, contents.image_parts, fill, wishes.text).run(contents.fault, contents.words)
    symbols = names.symbols()
    entry = names.entry()
    report.stop()
    image = Image(target, parts, values_of(symbols), entry, tuple(program.public))
    return Linked(program, layout, image, contents.words, symbols, uses, contents.runs)


def values_of(symbols: Sequence[Symbol]) -> dict[str, int]:
    """The value of each name; of one that several modules have, that of the PUBLIC one, or else of the first."""
    values: dict[str, int] = {}
    for symbol in symbols:
        if symbol.public:
            values[symbol.name] = symbol.value
        else:
            values.setdefault(symbol.name, symbol.value)
    return values


class _Names:
    """What the names and conditions of a program come to, when all addresses are known."""

    def __init__(self, contents: Contents) -> None:
        self.contents = contents
        self.program = contents.program
        self.values = contents.layout.values
        self.report = contents.report
        self.target = contents.target

    def checks(self) -> None:
        """The ASSERT statements."""
        for unit in self.program.units:
            for check in unit.module.checks:
                if check.section not in unit.bases:
                    continue
                try:
                    if not self.values.of(check.node, unit, check.scope, unit.bases[check.section] + check.position):
                        raise check.node.fault("assertion", why=check.why)
                except Fault as fault:
                    self.contents.fault(fault, Entry(Words((), None), check.place, check.offset, check.scope))

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
        values = self.values
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
            value = self.values.of(start.node, named[0], start.scope, position)
            if not 0 <= value <= self.target.top:
                space = f"0..{self.target.address_text(self.target.top)}"
                raise start.node.fault("start_unknown", value=shown(value), range=space)
        except Fault as fault:
            self.contents.fault(fault, Entry(Words((), None), start.place, start.offset, start.scope))
            return None
        return value


_NOWHERE = Node(0, 0)
