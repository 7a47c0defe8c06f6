"""A table file to a Target; every mistake is reported with its place.

`read_target` reads on after a mistake and collects all it can find in a Report. Whole-table checks (rows that overlap,
counts) are in `check.py`.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from xasm.source.diagnostics import Fault, Report
from xasm.source.files import Place, Source
from xasm.target.document import Listing, Mapping, Scalar, Value, read_document
from xasm.target.kinds import STOCK, Choice, Kind, Listed, Page, Relative, plain
from xasm.target.model import FLOWS, WORD_OF_TEXT, Book, Clock, Code, Form, Slot, Target

HEAD = {
    "name": True, "also": False, "title": True, "book": True, "word": True, "address": True, "order": True,
    "start": True, "clock": True, "count": True, "conventions": True, "kinds": True, "forms": True,
}  # fmt: skip
ROW = ("asm", "code", "cycles", "taken", "cross", "flow", "to", "alias", "note")
FIELD = re.compile(r"[a-z][a-z0-9]*\Z")
ADDRESSED = ("jump", "branch", "call", "call_if")
WIDEST_WORD = 64
WIDEST_ADDRESS = 32


def read_target(source: Source, report: Report) -> Target:
    """Reads a table; raises SourceErrors (through the report) when it has mistakes."""
    try:
        document = read_document(source)
        target = _Loader(report).target(expect(document, Mapping, "a table", "a mapping"))
    except Fault as fault:
        report.fault(fault, (source, 1, 1))
        report.stop()
        raise AssertionError("unreachable") from None
    report.stop()
    return target


def expect(value: Value, shape: type[Any], what: str, wanted: str) -> Any:
    if not isinstance(value, shape):
        raise Fault("table_shape", place=value.place, what=what, wanted=wanted)
    return value


def text(value: Value, key: str, quoted: bool = False) -> str:
    """A text; `quoted` refuses a plain one (codes and forms are full of what YAML reads otherwise)."""
    if not isinstance(value, Scalar):
        raise Fault("table_shape", place=value.place, what=f"'{key}'", wanted="a text")
    if not isinstance(value.value, str) or (quoted and not value.quoted):
        raise Fault("table_quote", place=value.place, text=f"the {key}")
    return value.value


def integer(value: Value, key: str, low: int, high: int) -> int:
    if not isinstance(value, Scalar) or isinstance(value.value, bool) or not isinstance(value.value, int):
        raise Fault("table_shape", place=value.place, what=f"'{key}'", wanted="a whole number")
    if not low <= value.value <= high:
        raise Fault("table_number", place=value.place, key=f"'{key}'", value=value.value, range=f"{low}..{high}")
    return value.value


def word(value: Value, key: str, wanted: tuple[str, ...]) -> str:
    found = text(value, key)
    if found not in wanted:
        raise Fault("table_value", place=value.place, value=found, key=key, wanted=", ".join(wanted))
    return found


def truth(value: Value, key: str) -> bool:
    if not isinstance(value, Scalar) or not isinstance(value.value, bool):
        raise Fault("table_shape", place=value.place, what=f"'{key}'", wanted="true or false")
    return value.value


class _Loader:
    def __init__(self, report: Report) -> None:
        self.report = report
        self.word = 8
        self.address = 16
        self.order = "little"
        self.kinds: dict[str, Kind] = {}

    def attempt(self, read: Callable[[], Any], default: Any) -> Any:
        """What `read` gives, or the default when it raised a fault, which is noted."""
        try:
            return read()
        except Fault as fault:
            assert fault.place is not None
            self.report.fault(fault, fault.place)
            return default

    def known(self, mapping: Mapping, what: str, keys: dict[str, bool]) -> None:
        """Notes unknown keys and missing ones (`keys` maps key to whether it is needed)."""
        for key, scalar in mapping.keys.items():
            if key not in keys:
                self.report.fault(Fault("table_unknown_key", place=scalar.place, key=key, hint=f"known here: {', '.join(keys)}"), scalar.place)
        for key, needed in keys.items():
            if needed and key not in mapping.items:
                self.report.fault(Fault("table_missing_key", place=mapping.place, what=what, key=key), mapping.place)

    def target(self, top: Mapping) -> Target:
        self.known(top, "the table", HEAD)
        items = top.items

        def get(key: str, read: Callable[[Value], Any], default: Any) -> Any:
            return self.attempt(lambda: read(items[key]), default) if key in items else default

        self.word = get("word", lambda value: integer(value, "word", 1, WIDEST_WORD), 8)
        self.address = get("address", lambda value: integer(value, "address", 1, WIDEST_ADDRESS), 16)
        self.order = get("order", lambda value: word(value, "order", ("little", "big")), "little")
        start, vector = get("start", self.start, (0, False))
        self.kinds = get("kinds", self.read_kinds, {})
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
            conventions=get("conventions", lambda value: text(value, "conventions"), ""),
            kinds=self.kinds,
            forms=get("forms", self.forms, ()),
            places={key: scalar.place for key, scalar in top.keys.items()},
        )

    def texts(self, value: Value, key: str) -> tuple[str, ...]:
        return tuple(text(item, key) for item in expect(value, Listing, f"'{key}'", "a list of texts").items)

    def start(self, value: Value) -> tuple[int, bool]:
        mapping = expect(value, Mapping, "'start'", "{at: address} or {vector: address}")
        self.known(mapping, "'start'", {"at": False, "vector": False})
        top = (1 << self.address) - 1
        if ("at" in mapping.items) == ("vector" in mapping.items):
            raise Fault("table_shape", place=value.place, what="'start'", wanted="{at: address} or {vector: address}")
        key = "at" if "at" in mapping.items else "vector"
        return integer(mapping.items[key], key, 0, top), key == "vector"

    def books(self, value: Value) -> tuple[Book, ...]:
        books = []
        for item in expect(value, Listing, "'book'", "a list of books").items:
            mapping = expect(item, Mapping, "a book", "a mapping")
            keys = ("title", "edition", "read")
            self.known(mapping, "a book", dict.fromkeys(keys, True))
            books.append(Book(*(text(mapping.items[key], key) if key in mapping.items else "" for key in keys)))
        return tuple(books)

    def clock(self, value: Value) -> Clock:
        mapping = expect(value, Mapping, "'clock'", "a mapping")
        self.known(mapping, "'clock'", {"unit": True, "periods": True, "typical": True})
        items = mapping.items
        if not {"unit", "periods", "typical"} <= items.keys():
            return Clock("cycle", 1, "")
        return Clock(text(items["unit"], "unit"), integer(items["periods"], "periods", 1, 1000), text(items["typical"], "typical"))

    def count(self, value: Value) -> dict[str, int]:
        mapping = expect(value, Mapping, "'count'", "a mapping")
        self.known(mapping, "'count'", {"mnemonics": True, "opcodes": True})
        return {key: integer(item, key, 0, 1 << 24) for key, item in mapping.items.items()}

    def read_kinds(self, value: Value) -> dict[str, Kind]:
        kinds = {}
        for name, item in expect(value, Mapping, "'kinds'", "a mapping").items.items():
            kind = self.attempt(lambda name=name, item=item: self.kind(name, item), None)
            if kind is not None:
                kinds[name] = kind
        return kinds

    def kind(self, name: str, value: Value) -> Kind:
        mapping = expect(value, Mapping, f"kind '{name}'", "a mapping")
        stock = next(iter(mapping.items), "")
        if stock not in STOCK:
            raise Fault("table_stock", place=value.place, kind=name, stock=", ".join(STOCK))
        if stock == "choice":
            return self.choice(name, mapping)
        bits = integer(mapping.items[stock], stock, 1, WIDEST_WORD)
        extra = {"relative": "from", "page": "of"}.get(stock)
        keys = {stock: True, extra: True} if extra else {stock: True, "min": False, "max": False, "values": False, "order": False}
        self.known(mapping, f"kind '{name}'", keys)
        if extra:
            origin = word(mapping.items[extra], extra, ("next", "self", "field")) if extra in mapping.items else "next"
            make = Relative if stock == "relative" else Page
            return make(name, bits, None, origin, 1 << self.address)
        order = word(mapping.items["order"], "order", ("little", "big")) if "order" in mapping.items else None
        full = plain(name, stock, bits)
        if "values" in mapping.items:
            return Listed(name, bits, order, self.values(mapping.items["values"], bits), stock)
        low = integer(mapping.items["min"], "min", full.low, full.high) if "min" in mapping.items else full.low
        high = integer(mapping.items["max"], "max", low, full.high) if "max" in mapping.items else full.high
        return plain(name, stock, bits, low, high, order)

    def values(self, value: Value, bits: int) -> tuple[tuple[int, int], ...]:
        limit = (1 << WIDEST_WORD) - 1
        if isinstance(value, Mapping):
            pairs = [
                (integer(value.keys[key], "values", -limit, limit), integer(item, "values", 0, (1 << bits) - 1))
                for key, item in value.items.items()
            ]
        else:
            listing = expect(value, Listing, "'values'", "a list or mapping of numbers")
            pairs = [(integer(item, "values", -limit, limit), stored) for stored, item in enumerate(listing.items)]
        if not pairs or len(pairs) > 1 << bits or len({number for number, _ in pairs}) < len(pairs):
            wanted = f"1..{1 << bits} different numbers for {bits} bits"
            raise Fault("table_shape", place=value.place, what="'values'", wanted=wanted)
        return tuple(pairs)

    def choice(self, name: str, mapping: Mapping) -> Kind:
        self.known(mapping, f"kind '{name}'", {"choice": True, "or": False})
        options: dict[str, int] = {}
        listed = expect(mapping.items["choice"], Mapping, "'choice'", "a mapping of spellings to numbers")
        for spelling, item in listed.items.items():
            if not WORD_OF_TEXT.search(spelling):
                raise Fault("table_shape", place=listed.keys[spelling].place, what="a choice", wanted="a word")
            options[spelling] = integer(item, spelling, 0, (1 << WIDEST_WORD) - 1)
        if len({spelling.upper() for spelling in options}) < len(options) or not options:
            raise Fault("table_shape", place=listed.place, what="'choice'", wanted="spellings that differ")
        other = None
        if "or" in mapping.items:
            other = self.kind(name, mapping.items["or"])
            if isinstance(other, Choice):
                raise Fault("table_shape", place=mapping.items["or"].place, what="'or'", wanted="a numeric kind")
        bits = max([1, *(bits.bit_length() for bits in options.values()), other.bits if other else 1])
        return Choice(name, bits, None, tuple(options.items()), other)

    def forms(self, value: Value) -> tuple[Form, ...]:
        rows = expect(value, Listing, "'forms'", "a list of rows").items
        found = (self.attempt(lambda row=row: self.form(row), None) for row in rows)
        return tuple(form for form in found if form is not None)

    def form(self, value: Value) -> Form:
        row = expect(value, Mapping, "a row", "a mapping")
        items = row.items
        for key in ("asm", "code", "cycles"):
            if key not in items:
                raise Fault("table_missing_key", place=row.place, what="the row", key=key)
        asm = text(items["asm"], "asm", quoted=True)
        if not asm.strip():
            raise Fault("table_shape", place=items["asm"].place, what="'asm'", wanted="an instruction")
        fields: dict[str, Kind] = {}
        for key, item in items.items():
            if key in ROW:
                continue
            if not FIELD.match(key):
                raise Fault("table_unknown_key", place=row.keys[key].place, key=key, hint=f"known here: {', '.join(ROW)}, and fields in small letters")
            kind = text(item, key)
            if kind not in self.kinds:
                raise Fault("table_kind", place=item.place, kind=kind, hint=f"the head has: {', '.join(self.kinds)}")
            fields[key] = self.kinds[kind]
        words = set(WORD_OF_TEXT.findall(asm))
        for name in fields:
            if name not in words:
                raise Fault("table_hole_missing", place=row.keys[name].place, field=name, where="asm")
        places = {key: item.place for key, item in items.items()} | {"": row.place}
        code = self.code(text(items["code"], "code", quoted=True), items["code"].place, fields)
        flow = word(items["flow"], "flow", FLOWS) if "flow" in items else "next"
        return Form(
            asm=asm,
            code_text=str(items["code"].value),  # type: ignore[union-attr]
            code=code,
            fields=fields,
            cycles=integer(items["cycles"], "cycles", 0, 10_000),
            taken=integer(items["taken"], "taken", 0, 10_000) if "taken" in items else None,
            cross=integer(items["cross"], "cross", 0, 10_000) if "cross" in items else None,
            flow=flow,
            target=self.goal(row, flow, fields),
            alias=truth(items["alias"], "alias") if "alias" in items else False,
            note=text(items["note"], "note") if "note" in items else "",
            places=places,
        )

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
        for item in written.split():
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
                raise Fault("table_code_word", place=place, word=item, bits=self.word, digits=digits)
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
        if have != kind.bits and not (isinstance(kind, Choice) and kind.other is None and have > kind.bits):
            raise Fault("table_hole_width", place=place, field=name, have=have, want=kind.bits)
        if run[0].down >= 0:
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
