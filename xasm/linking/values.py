"""What names are worth for a given layout."""

from __future__ import annotations

import re

from xasm.assembly.module import Equate
from xasm.linking.program import Program, Unit
from xasm.source.diagnostics import MARK, Fault
from xasm.source.nearest import did_you_mean
from xasm.syntax.expressions import Dotted, Name, Node, Scope

HEXADECIMAL = re.compile(r"[A-Fa-f][0-9A-Fa-f]*[Hh]")
MOST_COMPARED = 100_000  # names looked at in one run for near ones; that is slow among thousands of symbols


class Values(Scope):
    """Values of names. `addresses` holds the address of each entry and is changed in place by the layout; `refresh`
    must be called when it did. `unit`, `index` and `local` belong to the entry whose expressions are being computed; `own`
    and `lift` are added to its own address and to labels while the layout looks ahead.
    """

    def __init__(self, program: Program, addresses: list[int]) -> None:
        self.program = program
        self.addresses = addresses
        self.unit = program.units[0]
        self.index = 0
        self.local = ""
        self.own = 0
        self.lift = 0
        self.comparisons = MOST_COMPARED
        self.order, self.circular = equate_order(program)
        self.computed: dict[int, int] = {}
        self.faults: dict[int, Fault] = dict(self.circular)

    def refresh(self) -> None:
        """Computes all equates anew, each after those that it needs."""
        self.faults = dict(self.circular)
        self.computed.clear()
        comparisons, self.comparisons = self.comparisons, 0
        for number in self.order:
            unit, equate = self.program.equates[number]
            try:
                self.computed[number] = self.of(equate.node, unit, equate.scope, equate.position)
            except Fault as fault:
                self.faults[number] = moved(fault, equate)
        self.comparisons = comparisons

    def symbol(self, name: str, node: Node) -> int:
        key = self.local + name if name[0] == "." else name
        unit = self.unit
        index = unit.labels.get(key)
        if index is not None:
            return self.addresses[index] + self.lift
        value = unit.constants.get(key)
        if value is not None:
            return value
        number = unit.equates.get(key)
        if number is not None:
            value = self.computed.get(number)
            if value is not None:
                return value
            raise self.faults.get(number) or node.fault("undefined", name=name)  # the latter before the first of all passes
        value = self.program.target.symbols.get(key.upper())
        if value is not None:
            return value
        if key in unit.module.external and key not in unit.module.defined:
            raise node.fault("nobody_defines", self._public(key), name=name)
        raise node.fault("undefined", self._hint(name, key), name=name)

    def here(self, node: Node) -> int:
        return self.addresses[self.index] + self.own

    def bit(self, byte: int, part: str, node: Node) -> int:
        return self.program.target.bit(byte, part, node)

    def of(self, node: Node, unit: Unit, scope: str, index: int) -> int:
        """The value of an expression that stands at an entry, behind the plain label `scope`. Raises Fault."""
        self.unit = unit
        self.index = index
        self.local = scope
        return node.value(self)

    def _public(self, name: str) -> str | None:
        """What may have been meant by an EXTERN that no other file has."""
        for unit in self.program.units:
            if name in unit.module.defined:
                return f"{unit.module.path} defines it: PUBLIC {name} there lets the others see it"
        return did_you_mean(name, self.program.public)

    def _hint(self, name: str, key: str) -> str | None:
        """What may have been meant by a name without a value."""
        if key in self.unit.module.variables:
            return "a name given by := has a value only behind that line"
        if name in self.program.public:
            return f"{self.program.public[name].module.path} defines it: EXTERN {name} lets this file see it"
        near = self._near(name)
        if near is None and HEXADECIMAL.fullmatch(name):
            return f"if this is a hexadecimal number, it begins with a digit: 0{name}"
        return near

    def _near(self, name: str) -> str | None:
        """A hint with names like this one."""
        module = self.unit.module
        self.comparisons -= len(module.defined)
        if self.comparisons <= 0:
            return None
        known = [key for key in module.defined if ("." in key) == ("." in name) and MARK not in key]
        if name[0] == ".":
            others = [key for key in known if key.endswith(name)]
            known = [key[len(self.local) :] for key in known if key.startswith(self.local + ".")]
            return did_you_mean(name, known) or (f"did you mean {' or '.join(others[:3])}?" if others else None)
        return did_you_mean(name, known)


def moved(fault: Fault, equate: Equate) -> Fault:
    """A fault found in an equate's expression, placed at that expression."""
    if fault.place is None:
        source, line, _ = equate.place
        column = equate.body + equate.offset
        fault.place = (source, line, column)
    return fault


def needs(program: Program, number: int) -> list[int]:
    """The equates whose values an equate needs."""
    unit, equate = program.equates[number]
    found = []
    for node in equate.node.walk():
        name = node.text if isinstance(node, Name) else node.name if isinstance(node, Dotted) else ""
        if name:
            needed = unit.equates.get(equate.scope + name if name[0] == "." else name)
            if needed is not None:
                found.append(needed)
    return found


def equate_order(program: Program) -> tuple[list[int], dict[int, Fault]]:
    """All equates, each behind those that it needs, and a fault for each that needs itself. Without recursion: chains of
    thousands are harmless."""
    order: list[int] = []
    done: set[int] = set()
    circular: dict[int, Fault] = {}
    for first in range(len(program.equates)):
        path: dict[int, list[int]] = {}
        pending = [first]
        while pending:
            number = pending[-1]
            if number in done:
                pending.pop()
                continue
            if number not in path:
                path[number] = needs(program, number)
            rest = path[number]
            while rest and rest[-1] in done:
                rest.pop()
            if not rest:
                done.add(number)
                del path[number]
                pending.pop()
                if number not in circular:
                    order.append(number)
                continue
            needed = rest.pop()
            if needed in path:
                circle = [*list(path)[list(path).index(needed) :], needed]
                chain = [name_of(program, one) for one in circle]
                name = chain[0]
                equate = program.equates[needed][1]
                shown = " -> ".join(chain if len(chain) <= 8 else [*chain[:7], "...", name])
                circular[needed] = moved(equate.node.fault("circular", name=name, chain=shown), equate)
            else:
                pending.append(needed)
    return order, circular


def name_of(program: Program, number: int) -> str:
    """The name of an equate in its own module."""
    unit, _ = program.equates[number]
    return next(name for name in unit.module.equates if unit.equates[name] == number)
