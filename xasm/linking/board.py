"""A board: what the chip sees at its addresses, what stands where, and what the host that plays it can give.

name: bench board
clock: 1MHz
windows:
  - {name: monitor, start: 0xE000, size: 0x1000, kind: rom, costs: flash}
  - {name: work,    start: 0x0000, size: 0x0200, kind: ram, costs: ram}
  - {name: lamp,    start: 0xD000, size: 1,      kind: io}
sections: {main: monitor, tables: [monitor, spare], variables: work}
start: reset
vectors: {0xFFFA: blink}
fill: 0xFF
host: {flash: 30000, ram: 2048}
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import partial
from typing import Any, NamedTuple

from xasm.source.diagnostics import Fault, Report
from xasm.source.files import Place, Source
from xasm.target.document import Listing, Mapping, Scalar, Value, read_document
from xasm.target.model import Target
from xasm.target.reading import KEYED, Reader, expect, integer, missing_key, text, unknown_key, word

KEYS = {
    "name": False, "clock": False, "windows": True, "sections": False, "start": False, "vectors": False, "fill": False, "host": False,
}  # fmt: skip
WINDOW = {"name": True, "start": True, "size": True, "kind": True, "space": False, "bank": False, "image": False, "costs": False}
KINDS = ("rom", "ram", "io")
CLOCK = re.compile(r"([0-9]{1,9}(?:\.[0-9]{1,6})?) ?(Hz|kHz|MHz)\Z")
UNITS = {"Hz": 1, "kHz": 1_000, "MHz": 1_000_000}
NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]*\Z")
HIGHEST = (1 << 32) - 1  # address in an image; the formats of records go no further
MOST_WINDOWS = 4096


class Window(NamedTuple):
    """Addresses `start` .. `start + size - 1` of a space. `kind` is rom, ram or io; `bank` tells windows apart that share
    addresses; `image` is the address that its first word has in the image (None: nothing in it is loaded); `costs` names the
    resource of the host that holds it ("": none)."""

    name: str
    start: int
    size: int
    kind: str
    space: str
    bank: str
    image: int | None
    costs: str
    place: Place

    @property
    def end(self) -> int:
        """The address behind the last."""
        return self.start + self.size

    def holds(self, address: int) -> bool:
        return self.start <= address < self.end


class Named(NamedTuple):
    """A name of the program, and where the board gives it."""

    name: str
    place: Place


class Board(NamedTuple):
    """A board. `sections` maps a section's name ("main" is the one that a source begins with) to the windows that it may
    go to, in order of preference; `start` is the label where the chip starts (None: not said); `vectors` maps addresses to
    the names whose values they hold; `fill` is what free words of ROM hold (None: nothing is known); `clock` is in hertz
    (0: not said); `host` maps a resource to bytes. `places` maps the keys to where they stand."""

    name: str
    clock: int
    windows: tuple[Window, ...]
    sections: dict[str, tuple[Window, ...]]
    start: Named | None
    vectors: dict[int, Named]
    fill: int | None
    host: dict[str, int]
    places: dict[str, Place]


def read_board(source: Source, target: Target, report: Report) -> Board:
    """Reads a board file for a chip; raises SourceErrors (through the report) with every mistake in it."""
    report.reads(source)
    board = None
    try:
        document = read_document(source, report)
        board = _Board(target, Reader(report)).read(expect(document, Mapping, "a board", KEYED))
    except Fault as fault:
        report.fault(fault, fault.place or (source, 1, 1))
    report.stop()
    assert board is not None
    return board


class _Board:
    """The reading of one board; mistakes are noted and reading goes on."""

    def __init__(self, target: Target, reader: Reader) -> None:
        self.target = target
        self.reader = reader
        self.windows: dict[str, Window] = {}

    def read(self, top: Mapping) -> Board:
        reader, items = self.reader, top.items
        reader.known(top, "the board", KEYS)
        if "windows" in items:
            reader.attempt(lambda: self._windows(items["windows"]), None)
        full = (1 << self.target.word) - 1

        def given(key: str, read: Callable[[Value], Any], default: Any) -> Any:
            return reader.attempt(lambda: read(items[key]), default) if key in items else default

        host = given("host", self._host, None if "host" in items else {})
        for window in self.windows.values() if host is not None else ():
            if window.costs and window.costs not in host:
                hint = f"it has: {', '.join(host)}" if host else None
                reader.note(Fault("board_no_resource", hint=hint, place=window.place, name=window.name, resource=window.costs))
        return Board(
            name=given("name", lambda value: text(value, "name"), ""),
            clock=given("clock", hertz, 0),
            windows=tuple(self.windows.values()),
            sections=given("sections", self._sections, {}),
            start=given("start", lambda value: Named(symbol(value, "start"), value.place), None),
            vectors=given("vectors", self._vectors, {}),
            fill=given("fill", lambda value: integer(value, "fill", 0, full), None),
            host=host or {},
            places={key: scalar.place for key, scalar in top.keys.items()},
        )

    def _windows(self, value: Value) -> None:
        items = expect(value, Listing, "'windows'", "a list of windows").items
        if not 1 <= len(items) <= MOST_WINDOWS:
            raise Fault("table_shape", place=value.place, what="'windows'", wanted=f"a list of 1..{MOST_WINDOWS:,} windows")
        for item in items:
            window = self.reader.attempt(partial(self._window, item), None)
            if window is not None:
                self.windows.setdefault(window.name, window)

    def _window(self, value: Value) -> Window:
        mapping = expect(value, Mapping, "a window", KEYED)
        items = mapping.items
        for key, scalar in mapping.keys.items():
            if key not in WINDOW:
                self.reader.note(unknown_key(scalar, WINDOW))
        missing = next((key for key, needed in WINDOW.items() if needed and key not in items), None)
        if missing is not None:
            raise missing_key(mapping, "a window", missing)
        name = symbol(items["name"], "name")
        space = text(items["space"], "space").lower() if "space" in items else ""
        space = "" if space == "program" else space
        if space and space not in self.target.spaces:
            known = ", ".join(["program", *self.target.spaces])
            raise Fault("no_space", place=items["space"].place, space=space, chip=self.target.name, known=known)
        top = self.target.top_of(space)
        start = integer(items["start"], "start", 0, top)
        size = integer(items["size"], "size", 1, top + 1 - start)
        kind = word(items["kind"], "kind", KINDS)
        bank = str(items["bank"].value) if "bank" in items and isinstance(items["bank"], Scalar) else ""
        image: int | None = start if not space and kind == "rom" else None
        if "image" in items:
            if kind != "rom":
                raise Fault("board_image_kind", place=items["image"].place, name=name, kind=kind)
            image = integer(items["image"], "image", 0, HIGHEST + 1 - size)
        costs = text(items["costs"], "costs") if "costs" in items else ""
        window = Window(name, start, size, kind, space, bank, image, costs, mapping.place)
        for other in self.windows.values():
            self._beside(other, window, items["name"].place)
        return window

    def _beside(self, first: Window, second: Window, place: Place) -> None:
        """Two windows must not have the same name, nor share addresses without banks, nor share words of the image."""
        if first.name == second.name:
            raise Fault("board_twice", place=place, name=second.name)
        meet = first.space == second.space and first.start < second.end and second.start < first.end
        if meet and (first.bank == second.bank or not first.bank or not second.bank):
            raise Fault("board_windows_meet", place=place, name=second.name, other=first.name)
        if first.image is None or second.image is None:
            return
        if first.image < second.image + second.size and second.image < first.image + first.size:
            raise Fault("board_images_meet", place=place, name=second.name, other=first.name)

    def _sections(self, value: Value) -> dict[str, tuple[Window, ...]]:
        found = {}
        for section, item in expect(value, Mapping, "'sections'", KEYED).items.items():
            wanted = item.items if isinstance(item, Listing) else (item,)
            found[section] = tuple(self._named(one, section) for one in wanted)
            if not wanted or len({window.space for window in found[section]}) > 1:
                raise Fault("table_shape", place=item.place, what=f"'{section}'", wanted="windows of one address space")
        return found

    def _named(self, value: Value, section: str) -> Window:
        name = text(value, section)
        if name not in self.windows:
            raise Fault("table_value", place=value.place, value=name, key=section, wanted=", ".join(self.windows))
        return self.windows[name]

    def _vectors(self, value: Value) -> dict[int, Named]:
        mapping = expect(value, Mapping, "'vectors'", "addresses and the names whose values they hold")
        addresses = {key: integer(mapping.keys[key], "vectors", 0, self.target.top) for key in mapping.keys}
        return {addresses[key]: Named(symbol(item, "vectors"), item.place) for key, item in mapping.items.items()}

    def _host(self, value: Value) -> dict[str, int]:
        mapping = expect(value, Mapping, "'host'", "resources and their bytes")
        return {key: integer(item, key, 0, 1 << 40) for key, item in mapping.items.items()}


def symbol(value: Value, key: str) -> str:
    """A name as the source could have it."""
    name = text(value, key)
    if not NAME.match(name):
        raise Fault("table_shape", place=value.place, what=f"'{key}'", wanted="a name: letters, digits and '_', no digit in front")
    return name


def hertz(value: Value) -> int:
    """A clock as text (`740kHz`) in hertz."""
    match = CLOCK.match(text(value, "clock"))
    if match is None:
        raise Fault("table_shape", place=value.place, what="'clock'", wanted="a number with Hz, kHz or MHz, as in 740kHz")
    return round(float(match[1]) * UNITS[match[2]])
