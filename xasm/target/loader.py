"""A table file to a Target; every mistake is reported with its place.

`read_target` reads on after a mistake and collects all it can find in a Report. Whole-table checks (rows that overlap,
counts) are in `check.py`.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import partial
from typing import Any

from xasm.source.diagnostics import Fault, Report
from xasm.source.files import Place, Source
from xasm.target.document import Listing, Mapping, Scalar, Value
from xasm.target.habits import read_directives, read_habits
from xasm.target.inheritance import TableSource, joined, lineage, no_tables
from xasm.target.kind_loader import read_kinds
from xasm.target.kinds import Choice, Kind
from xasm.target.model import FLOWS, Book, Clock, Code, Form, Slot, Target
from xasm.target.reading import KEYED, Reader, expect, integer, missing_key, text, truth, unknown_key, word

HEAD = {
    "name": True, "also": False, "title": True, "book": True, "word": True, "address": True, "order": True,
    "start": True, "clock": True, "count": True, "conventions": True, "spaces": False, "directives": False,
    "habits": False, "kinds": True, "forms": True, "extends": False,
}  # fmt: skip
OWN = ("name", "title", "book", "count", "extends")  # what a table that extends another must say itself
EXTENDING = {key: key in OWN for key in HEAD} | {"strike": False}
ROW = ("asm", "code", "cycles", "taken", "cross", "flow", "to", "alias", "note")
FIELD = re.compile(r"[a-z][a-z0-9]*\Z")
ASM = re.compile(r"[^\s;]+(?: [^\s;][^;\t]*)?\Z")
OPERAND_WORD = re.compile(r"(?<![A-Za-z0-9_'])[A-Za-z][A-Za-z0-9_]*")
ADDRESSED = ("jump", "branch", "call", "call_if")
WIDEST_WORD = 64
WIDEST_ADDRESS = 32
LONGEST_TIME = 10_000  # cycles
MOST_WORDS = 16  # of one instruction


def read_target(source: Source, report: Report, tables: TableSource = no_tables) -> Target:
    """Reads a table; raises SourceErrors (through the report) when it has mistakes.

    `tables` gives the table of a chip by name, for one that extends it; it raises Fault when there is none.
    """
    try:
        documents = lineage(source, tables, report)
        report.stop()
        reader = Reader(report)
        for document in documents:
            reader.known(document, "the table", EXTENDING if "extends" in document.items else HEAD)
        target = _Loader(reader).target(joined(documents, reader))
    except Fault as fault:
        report.fault(fault, (source, 1, 1))
        report.stop()
        raise AssertionError("unreachable") from None
    report.stop()
    return target


class _Loader:
    def __init__(self, reader: Reader) -> None:
        self.reader = reader
        self.word = 8
        self.address = 16
        self.order = "little"
        self.kinds: dict[str, Kind | None] = {}

    def target(self, top: Mapping) -> Target:
        items = top.items
        failed: set[str] = set()

        def get(key: str, read: Callable[[Value], Any], default: Any) -> Any:
            before = len(self.reader.report.diagnostics)
            found = self.reader.attempt(lambda: read(items[key]), default) if key in items else default
            if key not in items or (found is default and len(self.reader.report.diagnostics) > before):
                failed.add(key)
            return found

        self.word = get("word", lambda value: integer(value, "word", 1, WIDEST_WORD), 8)
        self.address = get("address", lambda value: integer(value, "address", 1, WIDEST_ADDRESS), 16)
        self.order = get("order", lambda value: word(value, "order", ("little", "big")), "little")
        start, vector = get("start", self.start, (0, False))
        self.kinds = get("kinds", lambda value: read_kinds(self.reader, value, 1 << self.address), {})
        # without these every row would seem wrong
        readable = failed.isdisjoint(("word", "kinds"))
        return Target(
            name=get("name", lambda value: text(value, "name"), ""),
            also=get("also", lambda value: self.texts(value, "also"), ()),
            title=get("title", lambda value: text(value, "title"), ""),
            books=get("book", self.books, ()),
            word=self.word,
            address=self.address,
            order=self.order,
            start=start,
            start_vector=vector,
            clock=get("clock", self.clock, Clock("cycle", 1, "")),
            count=get("count", self.count, {}),
            spaces=get("spaces", self.spaces, {}),
            directives=get("directives", lambda value: read_directives(self.reader, value), {}),
            habits=get("habits", read_habits, frozenset()),
            conventions=get("conventions", lambda value: text(value, "conventions"), ""),
            kinds={name: kind for name, kind in self.kinds.items() if kind is not None},
            forms=get("forms", self.forms, ()) if readable else (),
            places={key: scalar.place for key, scalar in top.keys.items()},
        )

    def texts(self, value: Value, key: str) -> tuple[str, ...]:
        return tuple(text(item, key) for item in expect(value, Listing, f"'{key}'", "a list of texts").items)

    def start(self, value: Value) -> tuple[int, bool]:
        wanted = "{at: address} or {vector: address}"
        mapping = expect(value, Mapping, "'start'", wanted)
        self.reader.known(mapping, "'start'", {"at": False, "vector": False})
        top = (1 << self.address) - 1
        if ("at" in mapping.items) == ("vector" in mapping.items):
            raise Fault("table_shape", place=value.place, what="'start'", wanted=wanted)
        key = "at" if "at" in mapping.items else "vector"
        return integer(mapping.items[key], key, 0, top), key == "vector"

    def books(self, value: Value) -> tuple[Book, ...]:
        books = []
        for item in expect(value, Listing, "'book'", "a list of books").items:
            mapping = expect(item, Mapping, "a book", KEYED)
            keys = ("title", "edition", "read")
            self.reader.known(mapping, "a book", dict.fromkeys(keys, True))
            books.append(Book(*(text(mapping.items[key], key) if key in mapping.items else "" for key in keys)))
        return tuple(books)

    def spaces(self, value: Value) -> dict[str, int]:
        """Further address spaces: `{data: {address: 8}}`."""
        spaces = {}
        for name, item in expect(value, Mapping, "'spaces'", "a mapping").items.items():
            mapping = expect(item, Mapping, f"space '{name}'", "{address: bits}")
            self.reader.known(mapping, f"space '{name}'", {"address": True})
            if "address" in mapping.items:
                spaces[name.lower()] = integer(mapping.items["address"], "address", 1, WIDEST_ADDRESS)
        return spaces

    def clock(self, value: Value) -> Clock:
        mapping = expect(value, Mapping, "'clock'", KEYED)
        self.reader.known(mapping, "'clock'", {"unit": True, "periods": True, "typical": True})
        items = mapping.items
        if not {"unit", "periods", "typical"} <= items.keys():
            return Clock("cycle", 1, "")
        return Clock(text(items["unit"], "unit"), integer(items["periods"], "periods", 1, 1000), text(items["typical"], "typical"))

    def count(self, value: Value) -> dict[str, int]:
        mapping = expect(value, Mapping, "'count'", KEYED)
        keys = ("mnemonics", "opcodes")
        self.reader.known(mapping, "'count'", dict.fromkeys(keys, True))
        return {key: integer(mapping.items[key], key, 0, 1 << 24) for key in keys if key in mapping.items}

    def forms(self, value: Value) -> tuple[Form, ...]:
        rows = expect(value, Listing, "'forms'", "a list of rows").items
        found = []
        for row in rows:
            form = self.reader.attempt(partial(self.form, row), None)
            if form is not None:
                found.append(form)
            if self.reader.report.full:
                break
        return tuple(found)

    def form(self, value: Value) -> Form | None:
        """One row; None where a kind that it uses has a mistake of its own."""
        row = expect(value, Mapping, "a row", KEYED)
        items = row.items
        for key in ("asm", "code", "cycles"):
            if key not in items:
                raise missing_key(row, "the row", key)
        asm = text(items["asm"], "asm", quoted=True)
        if not ASM.match(asm):
            wanted = "a mnemonic, and where there are operands one blank and the operands"
            raise Fault("table_shape", place=items["asm"].place, what="'asm'", wanted=wanted)
        fields = self.fields(row, asm.partition(" ")[2])
        if fields is None:
            return None
        flow = word(items["flow"], "flow", FLOWS) if "flow" in items else "next"
        return Form(
            asm=asm,
            code_text=text(items["code"], "code", quoted=True),
            code=self.code(text(items["code"], "code", quoted=True), items["code"].place, fields),
            fields=fields,
            cycles=integer(items["cycles"], "cycles", 0, LONGEST_TIME),
            taken=integer(items["taken"], "taken", 0, LONGEST_TIME) if "taken" in items else None,
            cross=integer(items["cross"], "cross", 0, LONGEST_TIME) if "cross" in items else None,
            flow=flow,
            target=self.goal(row, flow, fields),
            alias=truth(items["alias"], "alias") if "alias" in items else False,
            note=text(items["note"], "note") if "note" in items else "",
            places={key: item.place for key, item in items.items()} | {"": row.place},
        )

    def fields(self, row: Mapping, operands: str) -> dict[str, Kind] | None:
        """The kind of each field of a row, whose `asm` has these operands."""
        words = OPERAND_WORD.findall(operands)
        fields: dict[str, Kind] = {}
        whole = True
        for key, item in row.items.items():
            if key in ROW:
                continue
            if not FIELD.match(key) or (key not in words and not self.names_kind(item)):
                raise unknown_key(row.keys[key], ROW, ", and the fields of 'asm'")
            name = expect(item, Scalar, f"'{key}'", "the name of a kind").value
            if name not in self.kinds:
                raise Fault("table_kind", place=item.place, kind=name, hint=f"the table has: {', '.join(self.kinds)}")
            kind = self.kinds[name]
            if kind is None:
                whole = False
                continue
            if key not in words:
                raise Fault("table_hole_missing", place=row.keys[key].place, field=key, where="asm")
            if words.count(key) > 1 and not (isinstance(kind, Choice) and kind.other is None):
                raise Fault("table_hole_twice", place=row.items["asm"].place, field=key)
            fields[key] = kind
        if not whole:
            return None
        for name in words:
            if FIELD.match(name) and name not in fields:
                hint = f"give its kind in the row ({name}: kind), or write it in capitals if it is a word of the chip"
                raise Fault("table_no_field", place=row.items["asm"].place, field=name, hint=hint)
        return fields

    def names_kind(self, value: Value) -> bool:
        """Whether a value is the name of a kind, so that its key is meant as a field."""
        return isinstance(value, Scalar) and value.value in self.kinds

    def goal(self, row: Mapping, flow: str, fields: dict[str, Kind]) -> str | None:
        """The field that holds where control goes."""
        if "to" in row.items:
            name = text(row.items["to"], "to")
            if name != "none" and name not in fields:
                raise Fault("table_value", place=row.items["to"].place, value=name, key="to", wanted=", ".join(["none", *fields]))
            return None if name == "none" else name
        if flow not in ADDRESSED:
            return None
        targets = [name for name, kind in fields.items() if kind.address]
        if len(targets) == 1:
            return targets[0]
        if flow == "jump" and not targets:
            return None
        raise Fault("table_flow_target", place=row.items["flow"].place, flow=flow)

    def code(self, written: str, place: Place, fields: dict[str, Kind]) -> Code:
        """The words of a row: hexadecimal, bits and field letters, or <field>."""
        masks: list[int] = []
        match: list[int] = []
        runs: dict[str, list[Slot]] = {name: [] for name in fields}
        operands: set[int] = set()
        digits = (self.word + 3) // 4
        full = (1 << self.word) - 1
        words = written.split()
        if not 0 < len(words) <= MOST_WORDS:
            raise Fault("table_shape", place=place, what="'code'", wanted=f"1..{MOST_WORDS} words")
        for item in words:
            if item[0] == "<" and item[-1] == ">":
                name = item[1:-1]
                kind = self.field(name, place, fields)
                count = (kind.bits + self.word - 1) // self.word
                order = kind.order or self.order
                operands.update(range(len(masks), len(masks) + count))
                for index in range(count):
                    down = self.word * (index if order == "little" else count - 1 - index)
                    width = min(self.word, kind.bits - down)
                    runs[name].append(Slot(len(masks), 0, width, down))
                    masks.append(full & ~((1 << width) - 1))
                    match.append(0)
            elif len(item) == self.word and re.fullmatch(r"[01a-z]+", item):
                masks.append(0)
                match.append(0)
                for position, letter in enumerate(item):
                    bit = self.word - 1 - position
                    if letter in "01":
                        masks[-1] |= 1 << bit
                        match[-1] |= int(letter) << bit
                    else:
                        self.field(letter, place, fields)
                        runs[letter].append(Slot(len(masks) - 1, bit, 1, -1))
            elif re.fullmatch(rf"[0-9A-F]{{{digits}}}", item) and int(item, 16) <= full:
                masks.append(full)
                match.append(int(item, 16))
            else:
                hint = "digits A..F are written in capitals" if re.fullmatch(r"[0-9A-Fa-f]+", item) and len(item) == digits else None
                raise Fault("table_code_word", hint=hint, place=place, word=item, bits=self.word, digits=digits)
        slots = {name: self.placed(name, runs[name], fields[name], place) for name in fields}
        operands.update(index for index, mask in enumerate(masks) if not mask)
        return Code(tuple(masks), tuple(match), slots, frozenset(operands))

    def field(self, name: str, place: Place, fields: dict[str, Kind]) -> Kind:
        if name not in fields:
            raise Fault("table_hole_unknown", place=place, field=name)
        return fields[name]

    def placed(self, name: str, run: list[Slot], kind: Kind, place: Place) -> tuple[Slot, ...]:
        """Single bits, given highest first, joined into runs; checks the width against the kind's."""
        if not run:
            raise Fault("table_hole_missing", place=place, field=name, where="code")
        have = sum(slot.width for slot in run)
        words = [slot for slot in run if slot.down >= 0]
        if isinstance(kind, Choice) and kind.other is None and not words:
            for spelling, bits in kind.options:
                if bits >> have:
                    where = f"the bits of field '{name}' in code ({have})"
                    raise Fault("table_choice_wide", place=place, value=bits, choice=spelling, where=where)
        elif have != kind.bits:
            raise Fault("table_hole_width", place=place, field=name, have=have, want=kind.bits)
        if words:
            return tuple(run)
        joined: list[Slot] = []
        for position, slot in enumerate(run):
            down = have - 1 - position
            last = joined[-1] if joined else None
            if last is not None and last.word == slot.word and last.shift == slot.shift + 1:
                joined[-1] = Slot(slot.word, slot.shift, last.width + 1, down)
            else:
                joined.append(Slot(slot.word, slot.shift, 1, down))
        return tuple(joined)
