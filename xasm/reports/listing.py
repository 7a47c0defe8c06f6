"""The listing: every source line with what became of it, then the symbols.

    line  address  words                    cycles  source
      12  0200     A2 08                    2       start:  LDX #8

Lines that an INCLUDE, a macro or a repeat brought in carry one `>` for each level in front.
"""

from __future__ import annotations

from collections.abc import Iterator

from xasm.assembly.module import Encoded, Origin, SectionStart, Words
from xasm.linking.linker import Linked
from xasm.source.diagnostics import unmarked, where
from xasm.source.files import Source

ROW = 8  # words in one row; longer data goes on in further rows


def listing(linked: Linked) -> str:
    """The whole listing as text, with an end of line behind every row."""
    return "\n".join(_Listing(linked).rows()) + "\n"


class _Listing:
    def __init__(self, linked: Linked) -> None:
        self.linked = linked
        self.program = linked.program
        self.target = linked.image.target
        self.entries: dict[tuple[Source, int], list[int]] = {}
        for index, entry in enumerate(self.program.entries):
            self.entries.setdefault(entry.place[:2], []).append(index)
        # a name given by := has many values, and the line that gives it first is no place for the last of them
        self.symbols = {symbol.place[:2]: symbol for symbol in linked.symbols if symbol.kind != "variable"}
        self.address_width = max(7, (self.target.address + 3) // 4)
        self.words_width = ROW * ((self.target.word + 3) // 4 + 1) - 1

    def rows(self) -> Iterator[str]:
        unit = self.target.clock.unit
        yield f"xasm listing, {self.target.title}; cycles in units of one {unit}"
        yield ""
        yield self.row("line", "address", "words", "cycles", "source")
        for module in self.program.modules:
            for source in module.sources:
                if len(self.program.modules) > 1:
                    yield self.row("", "", "", "", f"({source.path})")
                yield from self.source(source, "", module.brought)
        yield ""
        yield from self.table()

    def row(self, line: str, address: str, words: str, cycles: str, text: str) -> str:
        return f"{line:>6}  {address:<{self.address_width}}  {words:<{self.words_width}}  {cycles:<7} {text}".rstrip()

    def source(self, source: Source, mark: str, everything: dict[tuple[Source, int], list[Source]]) -> Iterator[str]:
        last = len(source.lines) - 1 if source.lines and not source.lines[-1] else len(source.lines)
        for number in range(source.first, source.first + last):
            text = unmarked(source.line(number)).expandtabs()
            indexes = self.entries.get((source, number), [])
            yield from self.line(f"{mark}{number}", text, indexes, (source, number))
            for brought in everything.get((source, number), []):
                if brought.path != source.path:
                    yield self.row("", "", "", "", f"({brought.path})")
                yield from self.source(brought, mark + ">", everything)

    def line(self, number: str, text: str, indexes: list[int], place: tuple[Source, int]) -> Iterator[str]:
        if not indexes:
            symbol = self.symbols.get(place)
            address = self.address(symbol.value) if symbol is not None and symbol.kind == "label" else ""
            value = f"= {value_text(symbol.value, self.target.octal)}" if symbol is not None and symbol.kind == "constant" else ""
            yield self.row(number, address, value, "", text)
            return
        for index in indexes:
            yield from self.entry(number, text, index)
            number = text = ""

    def entry(self, number: str, text: str, index: int) -> Iterator[str]:
        target = self.target
        address = self.linked.layout.addresses[index]
        piece = self.program.entries[index].piece
        words = self.linked.words[index]
        form = None
        if isinstance(piece, Words):
            form = piece.form
        elif isinstance(piece, Encoded):
            form = piece.variants[self.linked.layout.chosen.get(index, 0)].form
        if not words:
            behind = self.linked.layout.addresses[index + 1]
            if isinstance(piece, (Origin, SectionStart)):
                address = behind
            count = behind - address
            free = f"({count} free)" if count else ""
            yield self.row(number, self.address(address), free, "", text)
        for first in range(0, len(words), ROW):
            shown = " ".join(target.word_text(word) for word in words[first : first + ROW])
            cycles = form.cycles_text(words) if form is not None and first == 0 else ""
            yield self.row(number, self.address(address + first), shown, cycles, text)
            number = text = ""

    def address(self, address: int) -> str:
        return self.target.address_text(address)[2:]

    def table(self) -> Iterator[str]:
        """Every name: value, what it is, where it was defined."""
        symbols = self.linked.symbols
        if not symbols:
            yield "no symbols"
            return
        width = max(len("symbol"), *(len(symbol.name) for symbol in symbols))
        yield f"{'symbol':<{width}}  {'value':<12}  kind      defined"
        seen = set()  # what several modules include is one thing to the reader
        for symbol in sorted(symbols, key=lambda one: (one.name.lower(), one.name)):
            if (known := (symbol.name, symbol.value, where(symbol.place))) in seen:
                continue
            seen.add(known)
            shown = self.target.address_text(symbol.value) if symbol.kind == "label" else value_text(symbol.value, self.target.octal)
            yield f"{symbol.name:<{width}}  {shown:<12}  {symbol.kind:<8}  {where(symbol.place)}"


def value_text(value: int, octal: bool = False) -> str:
    """A constant: hexadecimal from 10 on, or octal from 8 on."""
    if octal and value > 7:
        return f"0o{value:o}"
    return f"0x{value:X}" if value > 9 else str(value)
