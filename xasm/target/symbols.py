"""The chip's own names: of places in memory, of bits; and which bytes have bits with addresses."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property, partial
from typing import NamedTuple

from xasm.source.diagnostics import Fault
from xasm.source.files import Place
from xasm.syntax.expressions import Dotted, Node, Number, shown
from xasm.target.document import Listing, Mapping, Value
from xasm.target.kinds import ORIGINS
from xasm.target.reading import KEYED, Reader, expect, integer

NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]*\Z")
WORD = re.compile(r"[a-z][a-z0-9_]*\Z")
HIGHEST = (1 << 32) - 1
BIT, BYTE = "bit", "data"  # the groups of names of bits, and of the bytes that hold them
BITS = 8  # of a byte
AREA = dict.fromkeys(("first", "last", "step", "bit"), True)  # keys of an area of bytes, all needed
MOST_BYTES = 0xFFFF


class BitArea(NamedTuple):
    """Bytes whose bits have addresses: every `step`th from `first` to `last`; bit 0 of the first has the address `bit`, and
    the bits of each byte follow those of the one before."""

    first: int
    last: int
    step: int
    bit: int

    @property
    def end(self) -> int:
        """The bit address behind the last."""
        return self.bit + ((self.last - self.first) // self.step + 1) * BITS

    def text(self) -> str:
        if self.step == 1:
            return f"0x{self.first:02X}..0x{self.last:02X}"
        return f"0x{self.first:02X}, 0x{self.first + self.step:02X} .. 0x{self.last:02X}"


@dataclass(frozen=True)
class OwnNames:
    """Names with their values by group, and the areas of bytes with bit addresses. `places` says where each name stands."""

    groups: dict[str, dict[str, int]] = field(default_factory=dict)
    areas: tuple[BitArea, ...] = ()
    places: dict[str, Place] = field(default_factory=dict)

    @cached_property
    def values(self) -> dict[str, int]:
        """All names in capitals."""
        return {name.upper(): value for group in self.groups.values() for name, value in group.items()}

    def bit(self, byte: int, part: str, node: Node, chip: str) -> int:
        """The address of a bit of a byte; `part` is its number as written, with the point. Raises Fault that marks the
        node."""
        if not self.areas:
            hint = "a number has no fraction" if isinstance(node, Dotted) and isinstance(node.children[0], Number) else None
            raise node.fault("no_bits", hint, chip=chip)
        number = part[1:]
        if not number.isdecimal() or len(number) > 1 or int(number) >= BITS:
            raise node.fault("bad_bit", part=part)
        for area in self.areas:
            if area.first <= byte <= area.last and not (byte - area.first) % area.step:
                return area.bit + (byte - area.first) // area.step * BITS + int(number)
        raise node.fault("byte_without_bits", byte=shown(byte), chip=chip, areas=", ".join(area.text() for area in self.areas))

    def text(self, group: str, value: int) -> str | None:
        """How a value of a group is written; None where nothing but the number will do.

        A bit is written with its byte, by the byte's name if it has one; else by a name of its own.
        """
        named = self._name(group, value)
        if group != BIT:
            return named
        for area in self.areas:
            if area.bit <= value < area.end:
                byte = area.first + (value - area.bit) // BITS * area.step
                name = self._name(BYTE, byte)
                dotted = f"{name or f'0x{byte:02X}'}.{(value - area.bit) % BITS}"
                return dotted if name or not named else named
        return named

    def _name(self, group: str, value: int) -> str | None:
        return next((name for name, own in self.groups.get(group, {}).items() if own == value), None)


def overlapping(areas: Iterable[BitArea]) -> bool:
    """Whether two areas give the same bit addresses, or different ones to the same byte."""
    seen: set[int] = set()
    addresses: set[int] = set()
    for area in areas:
        own = range(area.first, area.last + 1, area.step)
        bits = range(area.bit, area.end)
        if not seen.isdisjoint(own) or not addresses.isdisjoint(bits):
            return True
        seen.update(own)
        addresses.update(bits)
    return False


def read_symbols(reader: Reader, value: Value) -> OwnNames:
    """`symbols: {data: {P1: 0x90}, bit: {CY: 0xD7}}`; the areas are read apart."""
    names = OwnNames()
    for group, item in expect(value, Mapping, "'symbols'", "groups of names (group: {name: value})").items.items():
        if not WORD.match(group):
            raise Fault("table_shape", place=value.place, what=f"the group '{group}'", wanted="a word in small letters")
        listed = expect(item, Mapping, f"the group '{group}'", "made of names and values (name: value)")
        own = names.groups[group] = {}
        for name, number in listed.items.items():
            place = listed.keys[name].place
            if not NAME.match(name):
                reader.note(Fault("table_shape", place=place, what=f"the name '{name}'", wanted="letters, digits and '_'"))
            elif name.upper() in names.places:
                reader.note(Fault("table_choice_same", place=place, choice=name))
            else:
                names.places[name.upper()] = place
                own[name] = reader.attempt(partial(integer, number, name, 0, HIGHEST), 0)
    return names


def read_bits(reader: Reader, value: Value) -> tuple[BitArea, ...]:
    """`bits: [{first: 0x20, last: 0x2F, step: 1, bit: 0x00}]`."""
    areas = []
    for item in expect(value, Listing, "'bits'", "a list of areas of bytes").items:
        mapping = expect(item, Mapping, "an area of bytes", KEYED)
        reader.known(mapping, "an area of bytes", AREA)
        if AREA.keys() <= mapping.items.keys():
            first = integer(mapping.items["first"], "first", 0, MOST_BYTES)
            last = integer(mapping.items["last"], "last", first, MOST_BYTES)
            step = integer(mapping.items["step"], "step", 1, MOST_BYTES)
            areas.append(BitArea(first, last, step, integer(mapping.items["bit"], "bit", 0, HIGHEST)))
    if overlapping(areas):
        raise Fault("table_shape", place=value.place, what="'bits'", wanted="areas of different bytes with different bit addresses")
    return tuple(areas)


def read_assumptions(value: Value) -> dict[str, int]:
    """`assume: {dp: 0}`."""
    mapping = expect(value, Mapping, "'assume'", "made of names and numbers (name: number)")
    found = {}
    for name, item in mapping.items.items():
        if not WORD.match(name) or name in (*ORIGINS, "zero"):
            wanted = "a word in small letters, and no origin of a kind"
            raise Fault("table_shape", place=mapping.keys[name].place, what=f"the assumption '{name}'", wanted=wanted)
        found[name] = integer(item, name, 0, HIGHEST)
    return found
