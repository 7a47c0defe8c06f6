"""Listings and dumps as people type them, to words, with every slip of the typist named.

A slip is an error with its place and, where it can be said, what was probably meant. Whoever is lenient takes what was
meant; each such choice is told in a warning and at the top of the source.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from xasm.formats.reading import Clash, Pieces, ReadImage
from xasm.recovery.checking import AS_TYPED, Checker
from xasm.recovery.layout import shape_of
from xasm.recovery.naming import taken
from xasm.recovery.placing import Counted, Placed, Placer
from xasm.recovery.refusing import refuse_source
from xasm.recovery.regions import BYTES, TEXT, WORDS, Region
from xasm.recovery.rows import BASES, Cell, Cutter, Digits, Row, Token
from xasm.recovery.statements import Said, Speech
from xasm.recovery.told import Told
from xasm.source.diagnostics import Diagnostic, Fault, Report, at
from xasm.source.files import Source
from xasm.target.decode import Decoder
from xasm.target.model import Target

LONGEST_LINE = 10_000  # characters
MOST_LINES = 400_000
FEW_UNREAD = 5  # lines that cannot be read, which alone are told one by one
EQUATE = re.compile(r"\s*([A-Za-z_][\w]*):?\s+(?:EQU|=)\s*(.+?)\s*(?:;.*)?\Z", re.IGNORECASE)
NUMBER = re.compile(r"\s*\d+(?=\s|\Z)")
STRANGE = re.compile(r"[^A-Za-z0-9_]")


@dataclass
class Typed:
    """A typed listing as read: its words, what it says about the program, and the slips that were put right."""

    image: ReadImage
    told: Told
    taken: list[Diagnostic] = field(default_factory=list)


def read_typed(source: Source, target: Target, report: Report, at: int | None, words: str, places: str, lenient: bool) -> Typed:
    """Reads a listing; `at` is the address of the first word where rows have none; `words` and `places` are the bases
    ("hex", "octal", "decimal") of words and addresses. Slips go to the report, which raises SourceErrors."""
    reader = _Reader(source, target, report, words, places, lenient)
    typed = reader.read(at)
    report.stop()
    return typed


class _Reader:
    def __init__(self, source: Source, target: Target, report: Report, words: str, places: str, lenient: bool) -> None:
        self.source = source
        self.target = target
        self.report = report
        self.lenient = lenient
        self.taken: list[Diagnostic] = []
        self.speech = Speech(target)
        self.decoder = Decoder(target)
        bits = max(target.address, target.word)
        self.cutter = Cutter(Digits(target.word, BASES[words]), Digits(bits, BASES[places]), self.begins_statement)
        self.unread: list[int] = []  # lines that are neither row nor remark
        self.above: dict[int, list[str]] = {}  # by the index of the row below

    # messages

    def slip(self, code: str, row: Row, token: Token, meant: str | None, **values: Any) -> bool:
        """Tells of a slip; `meant` says what was probably meant, None where that cannot be said. True where what was meant is
        to be taken."""
        place = (self.source, row.number, 1)
        take = self.lenient and meant is not None
        hint: str | None
        if meant == AS_TYPED:
            hint = "the words are taken" if take else "one of the two is mistyped; --lenient takes the words"
        else:
            hint = None if meant is None else f"taken as {meant}" if take else f"perhaps {meant} is meant; --lenient takes that"
        severity = "warning" if take else "error"
        found = at(place, code, values, token.start, len(token.text) or max(1, token.end - token.start), hint, severity)
        (self.taken.append if take else self.report.add)(found)
        return take

    def doubt(self, code: str, row: Row, token: Token, **values: Any) -> None:
        """Tells of what may be a slip, or not."""
        place = (self.source, row.number, 1)
        self.taken.append(at(place, code, values, token.start, token.end - token.start, None, "warning"))

    # rows

    def begins_statement(self, text: str, before: Sequence[Cell], gap: int) -> bool:
        """Whether what could be a word begins a statement: the words before make up an instruction, and it looks like one, or
        stands apart."""
        if gap <= 1 and not self.speech.is_operation(text):
            return False
        first = [cell.best or 0 for cell in before[: self.decoder.longest]]
        found = self.decoder.decode([*first, *[0] * self.decoder.longest], 0)
        return found is not None and found.form.size <= len(before)

    def read(self, start: int | None) -> Typed:
        lines = self.source.lines
        if len(lines) > MOST_LINES:
            raise Fault("typed_lines", place=(self.source, MOST_LINES, 1), limit=MOST_LINES)
        for number, line in enumerate(lines, 1):
            if len(line) > LONGEST_LINE:
                raise Fault("line_too_long", place=(self.source, number, 1), length=len(line), limit=LONGEST_LINE)
        lines = [line.expandtabs() for line in lines]
        self.source.lines = lines
        self.shape = shape_of(lines, self.cutter, self.speech)
        refuse_source(lines, self.speech, self.source)
        rows = list(self.rows(lines))
        self.all_rows = rows
        if len(self.unread) > max(FEW_UNREAD, sum(1 for row in rows if row.cells)):
            raise Fault("typed_junk", place=(self.source, self.unread[0], 1))
        if not any(row.cells for row in rows):
            self.report.stop()
            raise Fault("typed_nothing", place=(self.source, 1, 1))
        if not self.shape.addresses and start is None:
            hint = "--at 0x0200, for one, says where the first word belongs"
            raise Fault("read_address", hint=hint, place=(self.source, rows[0].number, 1), what="the listing")
        said = [self.speech.read(row.beside) if self.shape.most is None else Said() for row in rows]
        self.learn(rows, said)
        counted = [self.counted(row, one) for row, one in zip(rows, said, strict=True)]
        places = frozenset(self.target.routes.starts.values())
        placer = Placer(counted, self.slip, self.doubt, self.shown, self.shape.most, places)
        placed = placer.place(None if self.shape.addresses else start)
        checker = Checker(placed, self.slip, self.cutter)
        checker.sums(self.shape.total)
        if self.shape.most is not None:
            checker.characters()
        checker.statements(self.speech, self.decoder)
        return Typed(self.image(placed), self.told(placed), self.taken)

    def rows(self, lines: list[str]) -> Iterator[Row]:
        """The rows; what stands between them is kept as remarks."""
        index = 0
        remarks: list[str] = []
        for number, line in enumerate(lines, 1):
            text = NUMBER.sub("", line, count=1).strip() if self.shape.numbered else line.strip()
            if not text:
                continue
            row = None if text[0] in ";*" else self.cutter.cut(number, line, self.shape)
            if row is not None and not row.cells and self.shape.most is not None:
                row = None
            if row is None:
                if text[0] not in ";*" and not self.passes(text):
                    token = self.cutter.tokens(line)[0]
                    self.unread.append(number)
                    empty = Row(number, line, "", None, (), None, "", 0)
                    if not self.slip("typed_row", empty, token._replace(end=len(line.rstrip())), "a remark"):
                        continue
                remarks.append(text.lstrip(";* "))
                continue
            if remarks:
                self.above[index] = remarks
                remarks = []
            index += 1
            yield row
        if remarks:
            self.above[index] = remarks

    def passes(self, line: str) -> bool:
        """Whether a line that is no row may stand among rows: a definition, a directive, a heading without numbers."""
        match = EQUATE.match(line)
        if match and self.speech.define(match[1], match[2]):
            return True
        said = self.speech.read(line)
        if said.statement is not None:
            return self.speech.meaning(said.statement.operation) not in self.target.mnemonics
        tokens = self.cutter.tokens(line)
        words = sum(1 for token in tokens if self.cutter.word.is_word(token.text) and not token.text.isalpha())
        return words < 2 and not line.lstrip()[0].isdigit()

    def learn(self, rows: list[Row], said: list[Said]) -> None:
        """Labels have the addresses of their rows."""
        for row, one in zip(rows, said, strict=True):
            label = row.label.rstrip(":") or one.label
            if label and row.address is not None and row.address.best is not None:
                self.speech.values.setdefault(label.rstrip(":"), row.address.best)

    # words

    def counted(self, row: Row, said: Said) -> Counted:
        """A row with slips in its words put right. What was meant is what the statement beside it means, or else what the
        digits look like."""
        typed = [cell.value for cell in row.cells]
        slips = [cell for cell in row.cells if cell.value is None]
        sizes = self.sizes(said)
        short = bool(sizes and row.cells and len(typed) not in sizes)
        if not slips and not short:
            return Counted(row, said, row.words, True, sizes)
        meant = None
        if said.statement is not None:
            address = (row.address.best or 0) if row.address is not None else 0
            meant = self.speech.meant(said.statement, typed, address)
        well = True
        for index, cell in enumerate(row.cells):
            if cell.value is None:
                well = self.word_slip(row, cell, meant[index] if meant else cell.meant) and well
        if short and not (slips and meant):
            shown = " ".join(map(self.cutter.word.written, meant)) if meant else None
            token = Token("", row.cells[0].token.start, row.cells[-1].token.end)
            values = {"have": f"{len(typed)} {'word' if len(typed) == 1 else 'words'}", "wanted": " or ".join(map(str, sorted(sizes)))}
            well = self.slip("typed_size", row, token, shown, statement=said.text, **values) and well
        return Counted(row, said, (meant or row.words) if well else None, False, sizes)

    def word_slip(self, row: Row, cell: Cell, best: int | None) -> bool:
        digits = self.cutter.word
        shown = None if best is None else digits.written(best)
        values = {"text": cell.token.text, "digits": digits.width, "what": "word", "bits": digits.bits}
        return self.slip(cell.slip, row, cell.token, shown, **values)

    def shown(self, address: int) -> str:
        """An address in the digits of the listing."""
        return self.cutter.place.written(address)

    def sizes(self, said: Said) -> frozenset[int]:
        """How many words a statement can have; empty where that is open."""
        if said.statement is None or self.speech.meaning(said.statement.operation) not in self.target.mnemonics:
            return frozenset()
        try:
            variants, _ = self.speech.variants(said.statement)
        except Fault:
            return frozenset()
        return frozenset(len(variant.words) for variant in variants)

    # what comes out

    def image(self, placed: list[Placed]) -> ReadImage:
        """The words of all rows. Rows that contradict each other are told of."""
        pieces = Pieces(self.target.word)
        for one in placed:
            try:
                pieces.add(one.address, one.words)
            except Clash as clash:
                cells = one.row.cells
                token = cells[min(clash.index, len(cells) - 1)].token
                place = (self.source, one.row.number, 1)
                self.report.add(at(place, clash.code, clash.values, token.start, token.end - token.start))
        if self.report.failed:
            self.report.stop()
        return ReadImage(self.source.path, "", pieces.parts())

    def told(self, placed: list[Placed]) -> Told:
        """What the listing says about its words."""
        told = Told()
        names: set[str] = set()
        below = {one.row.number: one.address for one in placed}
        for one in placed:
            said = one.said
            label = one.row.label.rstrip(":") or said.label.rstrip(":")
            name = self.name_of(label)
            if name and name not in names and ("", one.address) not in told.names:
                told.names["", one.address] = name
                names.add(name)
            remark = said.remark
            if label and label != name:
                remark = f"{label}: {remark}".rstrip(": ")
            if remark and one.words:
                before = told.remarks.beside.get(one.address)
                told.remarks.beside[one.address] = f"{before}; {remark}" if before else remark
            self.meaning(told, one)
        for index, remarks in self.above.items():
            address = below.get(self.all_rows[index].number) if index < len(self.all_rows) else None
            if address is not None:
                told.remarks.above.setdefault(address, []).extend(remarks)
            else:
                told.remarks.last.extend(remarks)
        inside = {at for one in placed for at in range(one.address, one.address + len(one.words))}
        for label, value in self.speech.values.items():
            name = self.name_of(label)
            if name and name not in names and value not in inside and ("", value) not in told.names and 0 <= value <= self.target.top:
                told.spare["", value] = name
                names.add(name)
        return told

    def name_of(self, label: str) -> str:
        """A label as a name of ours; "" where it can be none."""
        name = STRANGE.sub("_", label)
        name = f"n{name}" if name[:1].isdigit() else name
        return name if name and taken(name, self.target) is None else ""

    def meaning(self, told: Told, one: Placed) -> None:
        """Whether a row is code or data."""
        if not one.words:
            return
        if one.said.remark or one.said.label or one.row.label:
            told.cuts.add(one.address)
        if one.said.statement is None:
            before = told.regions[-1] if told.regions else None
            if before is not None and before.end == one.address and before.kind != WORDS and not one.said.label:
                told.regions[-1] = before._replace(end=one.address + len(one.words))
            return
        operation = self.speech.meaning(one.said.statement.operation)
        if operation in self.target.mnemonics or one.said.statement.operation in self.target.mnemonics:
            told.code.append(one.address)
            return
        text = all(0x20 <= word <= 0x7E or word in (0x0A, 0x0D, 0) for word in one.words) and len(one.words) > 2
        kind = WORDS if operation == "DW" else TEXT if text else BYTES
        told.regions.append(Region(one.address, one.address + len(one.words), kind, True))
