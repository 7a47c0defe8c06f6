"""A board: what the chip sees at its addresses, what stands where, and what the host that plays it can give.

    name: bench board
    clock: 1MHz
    windows:
      - {name: monitor, start: 0xE000, size: 0x1000, kind: rom, costs: flash}
      - {name: work,    start: 0x0000, size: 0x0200, kind: ram, costs: ram}
      - {name: lamp,    start: 0xD000, size: 1,      kind: io}
    sections: {main: monitor, tables: [monitor, spare], variables: work}
    start: {0xFFFC: reset}
    fill: 0xFF
    host: {flash: 30000, ram: 2048}
"""

from __future__ import annotations

import re
from typing import NamedTuple

from xasm.source.diagnostics import Fault, Report
from xasm.source.files import Place, Source
from xasm.target.document import Listing, Mapping, Scalar, Value, read_document
from xasm.target.model import Target
from xasm.target.reading import KEYED, Reader, expect, integer, text, word

KEYS = {
    "name": False, "clock": False, "windows": True, "sections": False, "start": False, "fill": False, "host": False,
}  # fmt: skip
WINDOW = {"name": True, "start": True, "size": True, "kind": True, "space": False, "bank": False, "costs": False}
KINDS = ("rom", "ram", "io")
CLOCK = re.compile(r"([0-9]+(?:\.[0-9]+)?) ?(Hz|kHz|MHz)\Z")
UNITS = {"Hz": 1, "kHz": 1_000, "MHz": 1_000_000}
NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]*\Z")


class Window(NamedTuple):
    """Addresses `start` .. `start + size - 1` of a space. `kind` is rom, ram or io; `bank` tells windows apart that share
    addresses; `costs` names the host's resource that holds it (""): one byte of it for each byte of the window."""

    name: str
    start: int
    size: int
    kind: str
    space: str
    bank: str
    costs: str
    place: Place

    @property
    def end(self) -> int:
        """The address behind the last."""
        return self.start + self.size


class Board(NamedTuple):
    """A board. `sections` maps a section's name ("main" is the one that a program begins with) to the windows that it may
    go to, in order of preference; `start` maps addresses to the names whose values they hold, in the chip's order of
    words; `fill` is what free words of ROM windows hold (None: nothing); `clock` is in hertz (0: not said); `host` maps a
    resource to bytes."""

    name: str
    clock: int
    windows: tuple[Window, ...]
    sections: dict[str, tuple[str, ...]]
    start: dict[int, str]
    fill: int | None
    host: dict[str, int]
    places: dict[str, Place]

    def window(self, name: str) -> Window:
        return next(window for window in self.windows if window.name == name)


def read_board(source: Source, target: Target, report: Report) -> Board:
    """Reads a board file for a chip; raises SourceErrors (through the report) with every mistake."""
    reader = Reader(report)
    try:
        document = read_document(source, report)
        board = _board(expect(document, Mapping, "a board", KEYED), target, reader)
    except Fault as fault:
        report.fault(fault, (source, 1, 1))
        report.stop()
        raise AssertionError("unreachable") from None
    report.stop()
    return board


def _board(top: Mapping, target: Target, reader: Reader) -> Board:
    reader.known(top, "the board", KEYS)
    items = top.items
    windows = _windows(items["windows"], target, reader) if "windows" in items else ()
    names = [window.name for window in windows]
    full = (1 << target.word) - 1
    return Board(
        name=reader.attempt(lambda: text(items["name"], "name"), "") if "name" in items else "",
        clock=reader.attempt(lambda: hertz(items["clock"]), 0) if "clock" in items else 0,
        windows=windows,
        sections=reader.attempt(lambda: _sections(items["sections"], names), {}) if "sections" in items else {},
        start=reader.attempt(lambda: _start(items["start"], target), {}) if "start" in items else {},
        fill=reader.attempt(lambda: integer(items["fill"], "fill", 0, full), None) if "fill" in items else None,
        host=reader.attempt(lambda: _host(items["host"], windows), {}) if "host" in items else {},
        places={key: scalar.place for key, scalar in top.keys.items()},
    )


def _windows(value: Value, target: Target, reader: Reader) -> tuple[Window, ...]:
    found: list[Window] = []
    for item in expect(value, Listing, "'windows'", "a list of windows").items:
        window = reader.attempt(lambda item=item: _window(item, target, reader), None)
        if window is None:
            continue
        for other in found:
            if other.name == window.name:
                reader.note(Fault("board_twice", place=window.place, name=window.name))
            elif (other.space, other.bank) == (window.space, window.bank) and other.start < window.end and window.start < other.end:
                reader.note(Fault("board_windows_meet", place=window.place, name=window.name, other=other.name))
        found.append(window)
    return tuple(found)


def _window(value: Value, target: Target, reader: Reader) -> Window:
    mapping = expect(value, Mapping, "a window", KEYED)
    reader.known(mapping, "a window", WINDOW)
    items = mapping.items
    missing = [key for key, needed in WINDOW.items() if needed and key not in items]
    if missing:
        raise Fault("table_missing_key", place=mapping.place, what="a window", key=missing[0])
    name = text(items["name"], "name")
    if not NAME.match(name):
        raise Fault("table_shape", place=items["name"].place, what="the name of a window", wanted="a name")
    space = text(items["space"], "space").lower() if "space" in items else ""
    space = "" if space == "program" else space
    if space and space not in target.spaces:
        known = ", ".join(["program", *target.spaces])
        raise Fault("no_space", place=items["space"].place, space=space, chip=target.name, known=known)
    top = target.top_of(space)
    start = integer(items["start"], "start", 0, top)
    size = integer(items["size"], "size", 1, top + 1 - start)
    kind = word(items["kind"], "kind", KINDS)
    bank = str(items["bank"].value) if "bank" in items and isinstance(items["bank"], Scalar) else ""
    costs = text(items["costs"], "costs") if "costs" in items else ""
    return Window(name, start, size, kind, space, bank, costs, mapping.place)


def _sections(value: Value, names: list[str]) -> dict[str, tuple[str, ...]]:
    found = {}
    for section, item in expect(value, Mapping, "'sections'", KEYED).items.items():
        wanted = item.items if isinstance(item, Listing) else (item,)
        for one in wanted:
            if text(one, section) not in names:
                raise Fault("table_value", place=one.place, value=text(one, section), key=section, wanted=", ".join(names))
        found[section] = tuple(text(one, section) for one in wanted)
    return found


def _start(value: Value, target: Target) -> dict[int, str]:
    mapping = expect(value, Mapping, "'start'", "addresses and the names whose values they hold")
    return {integer(mapping.keys[key], "start", 0, target.top): text(item, "start") for key, item in mapping.items.items()}


def _host(value: Value, windows: tuple[Window, ...]) -> dict[str, int]:
    mapping = expect(value, Mapping, "'host'", "resources and their bytes")
    host = {key: integer(item, key, 0, 1 << 40) for key, item in mapping.items.items()}
    for window in windows:
        if window.costs and window.costs not in host:
            raise Fault("table_value", place=window.place, value=window.costs, key="costs", wanted=", ".join(host))
    return host


def hertz(value: Value) -> int:
    """A clock as text (`740kHz`) in hertz."""
    written = text(value, "clock")
    match = CLOCK.match(written)
    if match is None:
        raise Fault("table_shape", place=value.place, what="'clock'", wanted="a number with Hz, kHz or MHz")
    return round(float(match[1]) * UNITS[match[2]])
