"""A name for each place that something leads to: by what it is, and by where it is.

    do_0200      a routine: something calls it          text_0300    a text
    go_0213      something jumps to it                  words_0320   a table of addresses
    into_0206    the middle of an instruction           bytes_0340   other data; fill_0400 filled room
    cell_0080    memory outside of the program          port_10      a port; data_30 a place in the space `data`

A name that a person has given goes before all of these.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterable
from functools import cached_property

from xasm.assembly.directives import DIRECTIVES
from xasm.recovery.exact import Found
from xasm.recovery.loads import loaded
from xasm.recovery.memory import Memory
from xasm.recovery.regions import Region
from xasm.recovery.told import Key, Told
from xasm.recovery.tracing import Trace
from xasm.syntax.expressions import WORDS
from xasm.target.kinds import Kind, Plain, numeric
from xasm.target.model import Target

SPACE_BITS = 8  # of the digits of addresses in other spaces than the program's
PORT = "port"  # the space of kinds whose name ends so
START = "start"
NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]*\Z")
OWN = re.compile(r"([a-z][a-z0-9]*)_([0-9A-F]+)\Z")
ROUTINE, JUMP, MIDDLE, CELL = "do", "go", "into", "cell"


def space_of(kind: Kind) -> str:
    """The space that a field's values are counted in; "" is that of the program."""
    return PORT if kind.name.endswith(PORT) else numeric(kind).space


def own_name(prefix: str, space: str, value: int, target: Target) -> str:
    """The name that we give by ourselves."""
    return f"{prefix}_{target.number_text(value, target.address if space == '' else SPACE_BITS)[2:]}"


def taken(name: str, target: Target) -> str | None:
    """What keeps a text from being a name in source: None where nothing does."""
    upper = name.upper()
    if not NAME.match(name):
        return "a name has letters, digits and '_', and no digit in front"
    if upper in target.reserved or upper in target.symbols:
        return f"the {target.name} has that name itself"
    if upper in target.mnemonics or f"{upper}," in target.mnemonics:
        return "it is an instruction"
    if upper in DIRECTIVES or upper in target.directives or upper in WORDS or upper == "OF":
        return "it is a directive or an operator"
    return None


class Names:
    """All names of one program, those that people gave before ours."""

    def __init__(self, memory: Memory, trace: Trace, told: Told, starts: Iterable[int]) -> None:
        self.memory = memory
        self.target = memory.target
        self.trace = trace
        self.told = told.names
        self.spare = told.spare
        self.starts = [start for start in starts if start in memory]
        self.kinds: dict[int, str] = {}  # of each region by where it begins
        self.equates: dict[Key, list[int]] = {}  # values outside of the program that have names, and where they are used
        self.pointers: dict[int, list[int]] = {}  # data that a number of an instruction leads to
        self.halves: dict[int, tuple[str, int]] = {}  # instructions that load a half of an address: which half, the address
        self._names: dict[Key, str] = {}
        self._used = {name: key for key, name in told.names.items()}

    def find_pointers(self) -> None:
        """Numbers as wide as an address that lead to what is no code are taken for the addresses of data."""
        trace = self.trace
        for found in trace.code.values():
            for name, kind in found.form.fields.items():
                value = found.instruction.fields[name]
                wide = isinstance(kind, Plain) and kind.role == "number" and kind.bits >= self.target.address
                if wide and isinstance(value, int) and value > 0 and value in self.memory and value not in trace.owner:
                    self.pointers.setdefault(value, []).append(found.address)

    def find_halves(self) -> None:
        """Constants that are the halves of an address of the program, as far as one is the half of one address only."""
        halves: dict[int, set[tuple[str, int]]] = {}
        found = [one for one in loaded(self.trace, self.target) if one.address in self.memory]
        for one in found:
            halves.setdefault(one.high, set()).add(("HIGH", one.address))
            halves.setdefault(one.low, set()).add(("LOW", one.address))
        for one in found:
            if one.address in self.trace.owner and not self.leads_to(one.address):
                continue
            for place in (one.high, one.low):
                if len(halves[place]) == 1:
                    self.halves[place] = next(iter(halves[place]))
            if one.address not in self.trace.owner:
                self.pointers.setdefault(one.address, []).append(one.low)

    def leads_to(self, address: int) -> bool:
        """Whether something leads to an address of the program, so that it needs a name."""
        trace = self.trace
        return (
            address in trace.calls
            or address in trace.jumps
            or address in trace.uses
            or address in self.pointers
            or ("", address) in self.told
            or address in self.starts
        )

    def learn(self, regions: Iterable[Region]) -> None:
        self.kinds = {region.start: region.kind for region in regions}

    def label(self, address: int) -> str | None:
        """The name of an address of the program, None where it needs none."""
        return self.name("", address) if self.leads_to(address) else None

    def of_field(self, found: Found, name: str) -> str | None:
        """The name to be written for a field of an instruction; None where the number says it best."""
        kind = found.form.fields[name]
        value = found.instruction.fields[name]
        if not isinstance(value, int):
            return None
        half = self.halves.get(found.address)
        if half is not None:
            return f"{half[0]} {self.name('', half[1])}"
        space = space_of(kind)
        if space == "":
            known = kind.address or found.address in self.pointers.get(value, ())
            if not known:
                return None
            if value in self.memory:
                return self.label(value)
        elif (space, value) not in self.told and self.target.names.text(space, value) is not None:
            return None
        self.equates.setdefault((space, value), []).append(found.address)
        return self.name(space, value)

    def name(self, space: str, value: int) -> str:
        key = (space, value)
        if key not in self._names:
            name = self.told.get(key) or self._own(space, value)
            self._names[key] = name
            self._used[name] = key
        return self._names[key]

    def given(self) -> dict[Key, str]:
        """All names that were asked for, by space and value."""
        return {key: self._names[key] for key in sorted(self._names)}

    def _own(self, space: str, value: int) -> str:
        if self.starts[:1] == [value] and space == "" and self._used.get(START, key := (space, value)) == key:
            return START
        spare = self.spare.get((space, value))
        if spare is not None and spare not in self._used:
            return spare
        name = own_name(self._prefix(space, value), space, value, self.target)
        while self._used.get(name, (space, value)) != (space, value):
            name += "_"
        return name

    def _prefix(self, space: str, value: int) -> str:
        if space:
            return space
        trace = self.trace
        owner = trace.owner.get(value)
        if owner is not None and owner != value:
            return MIDDLE
        if value in self.kinds:
            return self.kinds[value]
        if value in trace.calls:
            return ROUTINE
        return JUMP if value in trace.jumps or owner is not None else CELL

    @cached_property
    def routines(self) -> list[int]:
        """Where routines begin, by address."""
        told = [value for space, value in self.told if space == ""]
        return sorted(at for at in {*self.trace.calls, *self.starts, *told} if at in self.trace.code)

    def where(self, address: int) -> str:
        """An address as remarks name it: with the routine that it is in."""
        index = bisect_right(self.routines, address)
        shown = self.target.address_text(address)
        return f"{shown} in {self.name('', self.routines[index - 1])}" if index else shown
