"""A module to an image: fix-ups, overlaps, assertions; all errors in one run."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence

from xasm.assembly.limits import most_words
from xasm.assembly.module import Alignment, Encoded, Entry, FitStart, Module, Origin, SectionStart, Space, Words
from xasm.linking.image import Image, Span
from xasm.linking.layout import Layout
from xasm.source.diagnostics import MARK, Fault, Report, elsewhere
from xasm.syntax.expressions import Node, shown
from xasm.target.encode import encode
from xasm.target.kinds import plain
from xasm.target.model import Target


class Run:
    """Entries that follow each other without a gap, in the order of the source."""

    __slots__ = ("indexes", "start", "words")

    def __init__(self, start: int, wide: bool) -> None:
        self.start = start
        self.words: bytearray | list[int] = [] if wide else bytearray()
        self.indexes: list[int] = []

    @property
    def end(self) -> int:
        return self.start + len(self.words)


class Linked:
    """An image with what listings want to know: the module, its layout, and the words of each entry (empty where it
    leaves memory free)."""

    def __init__(self, module: Module, layout: Layout, image: Image, words: list[Sequence[int]]) -> None:
        self.module = module
        self.layout = layout
        self.image = image
        self.words = words


def link(module: Module, target: Target, report: Report) -> Linked:
    """Places and encodes everything. Raises SourceErrors (through the report) with all errors found."""
    layout = Layout(module)
    try:
        layout.settle()
    except Fault as fault:
        assert fault.place is not None
        report.fault(fault, fault.place)
        report.stop()
    linker = _Linker(module, target, layout, report)
    linker.encode()
    linker.checks()
    parts = linker.parts()
    symbols = linker.symbols()
    linker.declared()
    entry = linker.entry()
    report.stop()
    return Linked(module, layout, Image(target, parts, symbols, entry, tuple(module.public)), linker.words)


class _Linker:
    def __init__(self, module: Module, target: Target, layout: Layout, report: Report) -> None:
        self.module = module
        self.target = target
        self.layout = layout
        self.report = report
        self.runs: list[Run] = []
        self.words: list[Sequence[int]] = [()] * len(module.entries)
        self.filler = plain("a filler", "number", target.word)

    def encode(self) -> None:
        """Fills the runs with the words of all entries."""
        addresses = self.layout.addresses
        values = self.layout.values
        chosen = self.layout.chosen
        top = self.target.top
        wide = self.target.word > 8
        limit = most_words(top + 1)
        made = 0
        run = Run(0, wide)
        beyond = False
        space = ""
        for index, entry in enumerate(self.module.entries):
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
                if kind is Origin:
                    beyond = False
                    continue
                if kind is SectionStart:
                    beyond = False
                    space = piece.section.space  # type: ignore[union-attr]
                    top = self.target.top_of(space)
                    run = Run(address, wide)
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
            if space:
                self.fault(Fault("not_loaded", space=space), entry)
                continue
            if address != run.end or not run.indexes:
                run = Run(address, wide)
                self.runs.append(run)
            self.words[index] = words
            run.indexes.append(index)
            run.words.extend(words)

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
                wrong = count_fault(node, self.layout.values.of(node, entry, index), name)
                if wrong:
                    raise wrong
            if piece.fill is None:
                return None
            fill = self.layout.values.of(piece.fill, entry, index)
            word = self.stored(fill, piece.fill)
        except Fault as fault:
            self.fault(fault, entry)
            return None
        if self.layout.addresses[index] + count > self.target.top + 1:
            return None
        if count > most_words(self.target.top + 1):
            self.fault(Fault("too_many_words", limit=most_words(self.target.top + 1), chip=self.target.name), entry)
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
        for check in self.module.checks:
            entry = Entry(Words((), None), check.place, check.offset, check.scope)
            try:
                if not self.layout.values.of(check.node, entry, check.position):
                    raise check.node.fault("assertion", why=check.why)
            except Fault as fault:
                self.fault(fault, entry)

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
        one, other = self.at_address(first, shared), self.at_address(second, shared)
        earlier, later = sorted((one, other))
        entries = self.module.entries
        addresses = self.layout.addresses
        begin = addresses[later]
        end = max(begin + 1, addresses[later + 1])
        what = self.target.hex_address(begin) + (f"..{self.target.hex_address(end - 1)}" if end - begin > 1 else "")
        self.fault(Fault("overlap", what=what, first=elsewhere(entries[earlier].place, entries[later].place)), entries[later])

    def at_address(self, run: Run, address: int) -> int:
        """The entry of a run that fills an address."""
        starts = [self.layout.addresses[index] for index in run.indexes]
        return run.indexes[max(0, bisect_right(starts, address) - 1)]

    def symbols(self) -> dict[str, int]:
        """Every name with its value, in the order of definition."""
        found: dict[str, int] = {}
        values = self.layout.values
        for key, place in self.module.defined.items():
            node = self.module.variables.get(key)
            if MARK in key:
                continue
            try:
                values.local = ""
                found[key] = node.value(values) if node is not None else values.symbol(key, _NOWHERE)
            except Fault as fault:
                self.report.fault(fault, place)
        return found

    def declared(self) -> None:
        """PUBLIC names must be defined here, EXTERN names somewhere."""
        for code, names in (("undefined", self.module.public), ("nobody_defines", self.module.external)):
            for name, place in names.items():
                if name not in self.module.defined:
                    self.report.fault(Fault(code, 0, len(name), name=name), place)

    def entry(self) -> int | None:
        """What END named."""
        start = self.module.start
        if start is None:
            return None
        entry = Entry(Words((), None), start.place, start.offset, start.scope)
        try:
            value = self.layout.values.of(start.node, entry, start.position)
            if not 0 <= value <= self.target.top:
                space = f"0..{self.target.hex_address(self.target.top)}"
                raise start.node.fault("start_unknown", value=shown(value), range=space)
        except Fault as fault:
            self.fault(fault, entry)
            return None
        return value


_NOWHERE = Node(0, 0)


def count_fault(node: Node, value: int, directive: str) -> Fault | None:
    """What is wrong with a settled count, or None."""
    if directive == "ALIGN":
        return None if value > 0 else node.fault("bad_alignment", value=shown(value))
    return None if value >= 0 else node.fault("not_negative", directive=directive, value=shown(value))
