"""What names are worth for a given layout."""

from __future__ import annotations

import re
from difflib import get_close_matches

from xasm.assembly.module import Check, Entry, Equate, Module
from xasm.source.diagnostics import MARK, Fault
from xasm.syntax.expressions import Dotted, Name, Node, Scope

HEXADECIMAL = re.compile(r"[A-Fa-f][0-9A-Fa-f]*[Hh]")
MOST_COMPARED = 100_000  # names looked at in one run for near ones; that is slow among thousands of symbols


class Values(Scope):
    """Values of names. `addresses` holds the address of each entry and is changed in place by the layout; `refresh`
    must be called when it did. `index` and `local` belong to the entry whose expressions are being computed; `own` and
    `lift` are added to its own address and to labels while the layout looks ahead.
    """

    def __init__(self, module: Module, addresses: list[int]) -> None:
        self.module = module
        self.addresses = addresses
        self.index = 0
        self.local = ""
        self.own = 0
        self.lift = 0
        self.comparisons = MOST_COMPARED
        self.order, self.circular = equate_order(module)
        self.computed: dict[str, int] = {}
        self.faults: dict[str, Fault] = dict(self.circular)

    def refresh(self) -> None:
        """Computes all equates anew, each after those that it needs."""
        self.faults = dict(self.circular)
        self.computed.clear()
        comparisons, self.comparisons = self.comparisons, 0
        for key in self.order:
            equate = self.module.equates[key]
            try:
                self.computed[key] = self.of(equate.node, equate, equate.position)
            except Fault as fault:
                self.faults[key] = moved(fault, equate)
        self.comparisons = comparisons

    def symbol(self, name: str, node: Node) -> int:
        key = self.local + name if name[0] == "." else name
        module = self.module
        index = module.labels.get(key)
        if index is not None:
            return self.addresses[index] + self.lift
        value = module.constants.get(key)
        if value is None:
            value = self.computed.get(key)
        if value is not None:
            return value
        if key in self.faults:
            raise self.faults[key]
        if module.target is not None:
            value = module.target.symbols.get(key.upper())
            if value is not None:
                return value
        raise node.fault("undefined", self._hint(name, key), name=name)

    def here(self, node: Node) -> int:
        return self.addresses[self.index] + self.own

    def bit(self, byte: int, part: str, node: Node) -> int:
        assert self.module.target is not None
        return self.module.target.bit(byte, part, node)

    def of(self, node: Node, entry: Entry | Equate | Check, index: int) -> int:
        """The value of an expression that stands at an entry. Raises Fault."""
        self.index = index
        self.local = entry.scope
        return node.value(self)

    def _hint(self, name: str, key: str) -> str | None:
        """What may have been meant by a name without a value."""
        if key in self.module.variables:
            return "a name given by := has a value only behind that line"
        near = self._near(name)
        if near is None and HEXADECIMAL.fullmatch(name):
            return f"if this is a hexadecimal number, it begins with a digit: 0{name}"
        return near

    def _near(self, name: str) -> str | None:
        """A hint with names like this one."""
        self.comparisons -= len(self.module.defined)
        if self.comparisons <= 0:
            return None
        module = self.module
        known = [key for key in module.defined if ("." in key) == ("." in name) and MARK not in key]
        if name[0] == ".":
            others = [key for key in known if key.endswith(name)]
            known = [key[len(self.local) :] for key in known if key.startswith(self.local + ".")]
            near = get_close_matches(name, known, n=3, cutoff=0.6) or others[:3]
        else:
            near = get_close_matches(name, known, n=3, cutoff=0.6)
        return f"did you mean {' or '.join(near)}?" if near else None


def moved(fault: Fault, equate: Equate) -> Fault:
    """A fault found in an equate's expression, placed at that expression."""
    if fault.place is None:
        source, line, _ = equate.place
        column = equate.body + equate.offset
        fault.place = (source, line, column)
    return fault


def needs(module: Module, key: str) -> list[str]:
    """The equates whose values an equate needs."""
    equate = module.equates[key]
    found = []
    for node in equate.node.walk():
        name = node.text if isinstance(node, Name) else node.name if isinstance(node, Dotted) else ""
        if name:
            full = equate.scope + name if name[0] == "." else name
            if full in module.equates:
                found.append(full)
    return found


def equate_order(module: Module) -> tuple[list[str], dict[str, Fault]]:
    """All equates, each behind those that it needs, and a fault for each that needs itself. Without recursion: chains of
    thousands are harmless."""
    order: list[str] = []
    done: set[str] = set()
    circular: dict[str, Fault] = {}
    for first in module.equates:
        path: dict[str, list[str]] = {}
        pending = [first]
        while pending:
            key = pending[-1]
            if key in done:
                pending.pop()
                continue
            if key not in path:
                path[key] = needs(module, key)
            rest = path[key]
            while rest and rest[-1] in done:
                rest.pop()
            if not rest:
                done.add(key)
                del path[key]
                pending.pop()
                if key not in circular:
                    order.append(key)
                continue
            needed = rest.pop()
            if needed in path:
                chain = [*list(path)[list(path).index(needed) :], needed]
                fault = module.equates[needed].node.fault(
                    "circular", name=needed, chain=" -> ".join(chain if len(chain) <= 8 else [*chain[:7], "...", needed])
                )
                circular[needed] = moved(fault, module.equates[needed])
            else:
                pending.append(needed)
    return order, circular
