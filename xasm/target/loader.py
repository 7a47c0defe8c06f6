"""A table file to a Target; every mistake is reported with its place.

`read_target` reads on after a mistake and collects all it can find in a Report. Whole-table checks (rows that overlap,
counts) are in `check.py`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from xasm.source.diagnostics import Fault, Report
from xasm.source.files import Source
from xasm.target.bus_parts import Starters, default_lines, read_lines, read_starters
from xasm.target.codes import CodeReader
from xasm.target.document import Listing, Mapping, Value
from xasm.target.habits import read_directives, read_habits
from xasm.target.inheritance import TableSource, joined, lineage, no_tables
from xasm.target.kind_loader import Around, kind_places, read_kinds
from xasm.target.model import Book, Clock, Target
from xasm.target.reading import KEYED, Reader, expect, integer, read_ranges, text, word
from xasm.target.routes import Routes, read_routes
from xasm.target.row_loader import RowReader
from xasm.target.symbols import BIT, OwnNames, read_assumptions, read_bits, read_symbols

HEAD = {
    "name": True, "also": False, "title": True, "book": True, "word": True, "address": True, "order": True,
    "start": True, "clock": True, "count": True, "conventions": True, "spaces": False, "directives": False,
    "habits": False, "symbols": False, "bits": False, "assume": False, "undefined": False, "lines": False,
    "starters": False, "kinds": True, "forms": True, "extends": False, "routes": False, "digits": False,
}  # fmt: skip
DIGITS = ("hexadecimal", "octal")
OWN = ("name", "title", "book", "count", "extends")  # what a table that extends another must say itself
EXTENDING = {key: key in OWN for key in HEAD} | {"strike": False}
# Of what is made of keys in the head, the keys and whether they are needed.
START = {"at": False, "vector": False}  # one of the two
BOOK = dict.fromkeys(("title", "edition", "read"), True)
CLOCK = dict.fromkeys(("unit", "periods", "typical"), True) | {"access": False}
COUNT = {"mnemonics": True, "opcodes": True, "undocumented": False}
SPACE = {"address": True}
WIDEST_WORD = 64
WIDEST_ADDRESS = 32
MOST_PERIODS = 1000  # of the clock in one cycle
MOST_COUNTED = 1 << 24


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
        self.address = 16

    def target(self, top: Mapping) -> Target:
        items = top.items
        failed: set[str] = set()

        def get(key: str, read: Callable[[Value], Any], default: Any) -> Any:
            before = len(self.reader.report.diagnostics)
            found = self.reader.attempt(lambda: read(items[key]), default) if key in items else default
            if key not in items or (found is default and len(self.reader.report.diagnostics) > before):
                failed.add(key)
            return found

        width = get("word", lambda value: integer(value, "word", 1, WIDEST_WORD), 8)
        self.address = get("address", lambda value: integer(value, "address", 1, WIDEST_ADDRESS), 16)
        order = get("order", lambda value: word(value, "order", ("little", "big")), "little")
        start, vector = get("start", self.start, (0, False))
        names: OwnNames = get("symbols", lambda value: read_symbols(self.reader, value), OwnNames())
        names = replace(names, areas=get("bits", lambda value: read_bits(self.reader, value), ()))
        assumed = get("assume", read_assumptions, {})
        further: dict[str, int] = get("spaces", self.spaces, {})
        wrong = failed & items.keys()  # what else would be wrong because of it is not told
        spaces = dict.fromkeys((*names.groups, *([BIT] if names.areas else [])))
        around = Around(
            self.address,
            tuple(spaces) if wrong.isdisjoint(("symbols", "bits")) else None,
            assumed if "assume" not in wrong else None,
        )
        rows = RowReader(self.reader, get("kinds", lambda value: read_kinds(self.reader, value, around), {}), CodeReader(width, order))
        # without these every row would seem wrong
        readable = failed.isdisjoint(("word", "kinds"))
        if readable:
            rows.read_modes(items["kinds"])
        return Target(
            name=get("name", lambda value: text(value, "name"), ""),
            also=get("also", lambda value: self.texts(value, "also"), ()),
            title=get("title", lambda value: text(value, "title"), ""),
            books=get("book", self.books, ()),
            word=width,
            address=self.address,
            order=order,
            start=start,
            start_vector=vector,
            clock=get("clock", self.clock, Clock("cycle", 1, "")),
            count=get("count", self.count, {}),
            spaces=further,
            lines=get("lines", lambda value: read_lines(self.reader, value, self.address, width), default_lines(self.address, width)),
            starters=get("starters", lambda value: read_starters(self.reader, value, (1 << self.address) - 1, further), Starters()),
            directives=get("directives", lambda value: read_directives(self.reader, value), {}),
            habits=get("habits", read_habits, frozenset()),
            conventions=get("conventions", lambda value: text(value, "conventions"), ""),
            names=names,
            assume=assumed,
            routes=get("routes", lambda value: read_routes(self.reader, value, (1 << self.address) - 1), Routes()),
            kinds={name: kind for name, kind in rows.kinds.items() if kind is not None},
            modes={name: modes for name, modes in rows.modes.items() if modes is not None},
            undefined=get("undefined", lambda value: read_ranges(value, width), frozenset()) if "word" not in failed else frozenset(),
            kind_places=kind_places(items.get("kinds")),
            rows=get("forms", rows.rows, ()) if readable else (),
            octal=get("digits", lambda value: word(value, "digits", DIGITS) == "octal", False),
            places={key: scalar.place for key, scalar in top.keys.items()},
        )

    def texts(self, value: Value, key: str) -> tuple[str, ...]:
        return tuple(text(item, key) for item in expect(value, Listing, f"'{key}'", "a list of texts").items)

    def start(self, value: Value) -> tuple[int, bool]:
        wanted = "{at: address} or {vector: address}"
        mapping = expect(value, Mapping, "'start'", wanted)
        self.reader.known(mapping, "'start'", START)
        top = (1 << self.address) - 1
        if ("at" in mapping.items) == ("vector" in mapping.items):
            raise Fault("table_shape", place=value.place, what="'start'", wanted=wanted)
        key = "at" if "at" in mapping.items else "vector"
        return integer(mapping.items[key], key, 0, top), key == "vector"

    def books(self, value: Value) -> tuple[Book, ...]:
        books = []
        for item in expect(value, Listing, "'book'", "a list of books").items:
            mapping = expect(item, Mapping, "a book", KEYED)
            self.reader.known(mapping, "a book", BOOK)
            books.append(Book(*(text(mapping.items[key], key) if key in mapping.items else "" for key in BOOK)))
        return tuple(books)

    def spaces(self, value: Value) -> dict[str, int]:
        """Further address spaces: `{data: {address: 8}}`."""
        spaces = {}
        for name, item in expect(value, Mapping, "'spaces'", "a mapping").items.items():
            mapping = expect(item, Mapping, f"space '{name}'", "{address: bits}")
            self.reader.known(mapping, f"space '{name}'", SPACE)
            if "address" in mapping.items:
                spaces[name.lower()] = integer(mapping.items["address"], "address", 1, WIDEST_ADDRESS)
        return spaces

    def clock(self, value: Value) -> Clock:
        mapping = expect(value, Mapping, "'clock'", KEYED)
        self.reader.known(mapping, "'clock'", CLOCK)
        items = mapping.items
        if not {key for key, needed in CLOCK.items() if needed} <= items.keys():
            return Clock("cycle", 1, "")
        periods = integer(items["periods"], "periods", 1, MOST_PERIODS)
        access = integer(items["access"], "access", 1, MOST_PERIODS) if "access" in items else 1
        return Clock(text(items["unit"], "unit"), periods, text(items["typical"], "typical"), access)

    def count(self, value: Value) -> dict[str, int]:
        mapping = expect(value, Mapping, "'count'", KEYED)
        self.reader.known(mapping, "'count'", COUNT)
        return {key: integer(mapping.items[key], key, 0, MOST_COUNTED) for key in COUNT if key in mapping.items}
