"""What a table says about the pins and about first programs: the heads `lines` and `starters`, and how a row may change its
flow by an operand."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import NamedTuple

from xasm.source.diagnostics import Fault
from xasm.source.files import Place
from xasm.target.document import Listing, Mapping, Value
from xasm.target.forms import FLOWS
from xasm.target.reading import KEYED, Reader, expect, integer, text, word

# Keys, and whether they are needed.
PINS = {"name": True, "first": False, "count": True, "address": False, "data": False}
AREA = {"start": True, "size": True, "space": False}
KINDS = ("halt", "count", "ram", "ports")
STARTERS = dict.fromkeys(("program", "memory", "io", *KINDS), False)
NAME = re.compile(r"[A-Za-z_]*\Z")
OPERAND = re.compile(r"(?:[a-z][a-z0-9]*=)?[A-Za-z][A-Za-z0-9']*\Z")
MOST_LINES = 64  # of one name; no chip has more pins


class Lines(NamedTuple):
    """Pins `name``first` .. `name``first + size - 1`. Pin number `first` + n carries bit n of each piece; a piece of an address
    or of a word begins at the bit named in `address` or `data`. What shares pins comes one after the other in time."""

    name: str
    first: int
    size: int
    address: tuple[int, ...]
    data: tuple[int, ...]


class Area(NamedTuple):
    """Addresses `start` .. `start + size - 1` of a space ("" is that of the program)."""

    start: int
    size: int
    space: str = ""


class Starter(NamedTuple):
    """A first program of a kind, as lines of source."""

    text: str
    place: Place


@dataclass(frozen=True)
class Starters:
    """First programs by kind, and where they go when no board says so: `program` is the address of the first word (None: where
    the chip starts), `memory` the RAM that they use, `io` where a chip without ports of its own has its outputs and inputs."""

    program: int | None = None
    memory: Area | None = None
    io: Area | None = None
    programs: dict[str, Starter] = field(default_factory=dict)


def default_lines(address: int, word: int) -> tuple[Lines, ...]:
    """The pins of a chip whose table says nothing of them: one for each bit."""
    return (Lines("A", 0, address, (0,), ()), Lines("D", 0, word, (), (0,)))


def read_lines(reader: Reader, value: Value, address: int, width: int) -> tuple[Lines, ...]:
    """`lines: [{name: AD, count: 8, address: [0], data: [0]}, {name: A, first: 8, count: 8, address: [8]}]`."""
    found = []
    for item in expect(value, Listing, "'lines'", "a list of groups of pins").items:
        mapping = expect(item, Mapping, "a group of pins", KEYED)
        reader.known(mapping, "a group of pins", PINS)
        items = mapping.items
        if not {"name", "count"} <= items.keys():
            continue
        name = text(items["name"], "name")
        if not NAME.match(name) or not name:
            raise Fault("table_shape", place=items["name"].place, what="'name'", wanted="letters and '_'")
        first = integer(items["first"], "first", 0, MOST_LINES) if "first" in items else 0
        count = integer(items["count"], "count", 1, MOST_LINES)
        pieces = [_pieces(items.get(key), key, bits) for key, bits in (("address", address), ("data", width))]
        found.append(Lines(name, first, count, *pieces))
    if not found:
        raise Fault("table_shape", place=value.place, what="'lines'", wanted="at least one group of pins")
    return tuple(found)


def _pieces(value: Value | None, key: str, bits: int) -> tuple[int, ...]:
    if value is None:
        return ()
    return tuple(integer(item, key, 0, bits - 1) for item in expect(value, Listing, f"'{key}'", "a list of bit numbers").items)


def read_starters(reader: Reader, value: Value, top: int, spaces: dict[str, int]) -> Starters:
    """`starters: {program: 0xFF00, memory: {start: 0, size: 0x200}, io: {start: 0x8000, size: 2}, halt: |...}`."""
    mapping = expect(value, Mapping, "'starters'", KEYED)
    reader.known(mapping, "'starters'", STARTERS)
    items = mapping.items
    programs = {kind: Starter(text(items[kind], kind), items[kind].place) for kind in KINDS if kind in items}
    program = integer(items["program"], "program", 0, top) if "program" in items else None
    memory, io = (_area(reader, items.get(key), key, top, spaces) for key in ("memory", "io"))
    return Starters(program, memory, io, programs)


def _area(reader: Reader, value: Value | None, key: str, top: int, spaces: dict[str, int]) -> Area | None:
    if value is None:
        return None
    mapping = expect(value, Mapping, f"'{key}'", "{start: address, size: words}")
    reader.known(mapping, f"'{key}'", AREA)
    items = mapping.items
    if not {"start", "size"} <= items.keys():
        return None
    space = word(items["space"], "space", tuple(spaces)) if "space" in items else ""
    highest = (1 << spaces[space]) - 1 if space else top
    start = integer(items["start"], "start", 0, highest)
    return Area(start, integer(items["size"], "size", 1, highest + 1 - start), space)


def read_flows(value: Value) -> dict[str, str]:
    """`flow_with: {PC: return}` or `{g=PC: jump}`: the flow where that name is among the operands, or is field g."""
    found = {}
    mapping = expect(value, Mapping, "'flow_with'", "operands and flows (operand: flow)")
    for name, item in mapping.items.items():
        if not OPERAND.match(name):
            raise Fault("table_shape", place=mapping.keys[name].place, what="an operand", wanted="a name, or field=name")
        found[name] = word(item, name, FLOWS)
    return found
