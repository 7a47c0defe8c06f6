"""What stands at every address of the image: words, overlaps, what leaves the address space."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence

from xasm.assembly.limits import most_words
from xasm.assembly.module import Alignment, Encoded, Entry, FitStart, Origin, SectionStart, Space, Stamp, Words
from xasm.linking.image import Span
from xasm.linking.layout import Layout
from xasm.linking.program import Program
from xasm.source.diagnostics import Fault, Report, elsewhere
from xasm.syntax.expressions import Node, shown
from xasm.target.encode import encode
from xasm.target.kinds import plain


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


class Contents:
    """The words of a program that has been placed: those of each entry, and the runs that they make in the image."""

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
            elif kind is Stamp:
                words = (0,) * piece.size
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
        last, highest = self.target.address_text(end - 1), self.target.address_text(top)
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
            shown_as = self.target.address_text
            hint = "FIT with MOVE behind the page size puts the block into the next page"
            over = last - border + 1
            raise Fault("fit_crosses", hint=hint, first=shown_as(first), last=shown_as(last), border=shown_as(border), over=over)

    def stored(self, value: int, node: Node) -> int:
        try:
            return self.filler.store(value, 0, 1, 0)
        except Fault as fault:
            fault.start, fault.end = node.start, node.end
            raise

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

    def image_parts(self, index: int, first: int, end: int) -> Iterator[tuple[int, int]]:
        """The addresses in the image of chip addresses, as an entry sees them: from, and behind the last. Outside all windows
        they are the same. Raises Fault where nothing is loaded."""
        number, space = self._section_of(index)
        while first < end:
            shift, border = self._shift(number, space, first)
            if shift is None:
                raise Fault("stamp_gap", address=self.target.address_text(first))
            until = min(end, border)
            yield first + shift, until + shift
            first = until

    def _section_of(self, index: int) -> tuple[int, str]:
        """The number and space of the section that an entry is in."""
        piece = next((entry.piece for entry in self.entries[index::-1] if type(entry.piece) is SectionStart), None)
        return (piece.number, piece.space) if isinstance(piece, SectionStart) else (0, "")

    def overlap(self, first: Run, second: Run) -> None:
        """Two runs share addresses: the statement that comes later in the source is marked."""
        shared = second.start
        one, other = (run.entry_at(shared, self.layout.addresses) for run in (first, second))
        earlier, later = sorted((one, other))
        entries = self.entries
        addresses = self.layout.addresses
        begin = addresses[later]
        end = max(begin + 1, addresses[later + 1])
        what = self.target.address_text(begin) + (f"..{self.target.address_text(end - 1)}" if end - begin > 1 else "")
        self.fault(Fault("overlap", what=what, first=elsewhere(entries[earlier].place, entries[later].place)), entries[later])


def count_fault(node: Node, value: int, directive: str) -> Fault | None:
    """What is wrong with a settled count, or None."""
    if directive == "ALIGN":
        return None if value > 0 else node.fault("bad_alignment", value=shown(value))
    return None if value >= 0 else node.fault("not_negative", directive=directive, value=shown(value))
