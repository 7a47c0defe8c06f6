"""Names while a source is read: what is defined, what is known already, what may change."""

from __future__ import annotations

from xasm.assembly.module import Equate, Module
from xasm.source.diagnostics import MARK, Fault, elsewhere
from xasm.source.files import Place
from xasm.syntax.expressions import WORDS, Name, Node, Number, Scope, shown
from xasm.target.model import Target

FIXED_SCOPE = "\0"  # no local name can be found in it


class Unknown(Fault):
    """A value is needed that is not known yet; `missing` names it."""

    def __init__(self, missing: str, node: Node) -> None:
        super().__init__("not_yet_known", node.start, node.end, missing=missing, directive="this")
        self.missing = missing


class Known(Scope):
    """Values that are known while the source is read: constants, and the chip's own names. `local` is the plain label in
    force."""

    def __init__(self, module: Module, local: str = FIXED_SCOPE) -> None:
        self.constants = module.constants
        self.target = module.target
        self.local = local

    def symbol(self, name: str, node: Node) -> int:
        value = self.constants.get(self.local + name if name[0] == "." else name)
        if value is None and self.target is not None:
            value = self.target.symbols.get(name.upper())
        if value is None:
            raise Unknown(name, node)
        return value

    def bit(self, byte: int, part: str, node: Node) -> int:
        if self.target is None:
            raise Unknown(part, node)
        return self.target.bit(byte, part, node)

    def here(self, node: Node) -> int:
        raise Unknown("$", node)


def of_chip(name: str, target: Target) -> Fault | None:
    """The fault of a name that the chip has already; None where it has not."""
    if name.upper() in target.reserved:
        return Fault("reserved_word", 0, len(name), name=name, chip=target.name)
    if name.upper() in target.symbols:
        return Fault("chip_name", 0, len(name), name=name, chip=target.name, value=shown(target.symbols[name.upper()]))
    return None


class Symbols:
    """Defines names in a module. `local` is the last plain label; `variables` maps each name that was given by `:=` to
    what it stands for now, local ones by their full name too."""

    def __init__(self, module: Module) -> None:
        self.module = module
        self.local = ""
        self.variables: dict[str, Node] = {}

    def key(self, name: str) -> str:
        """The full name: local names carry their plain label. Raises Fault without one."""
        if name[0] != ".":
            return name
        if not self.local:
            raise Fault("local_without_label", 0, len(name), name=name)
        return self.local + name

    def claim(self, name: str, place: Place) -> str:
        """The key of a new name; raises Fault when it is taken or a word of the chip."""
        key = self.key(name)
        first = self.module.defined.get(key)
        if first is not None:
            raise Fault("defined_twice", 0, len(name), name=name, first=elsewhere(first, place))
        if name.upper() in WORDS:
            raise Fault("operator_word", 0, len(name), name=name)
        fault = of_chip(name, self.module.target) if self.module.target is not None else None
        if fault is not None:
            raise fault
        self.module.defined[key] = place
        return key

    def is_defined(self, name: str) -> bool:
        """Whether a name has been defined so far, by the source or by the chip."""
        full = self.local + name if name[0] == "." else name
        target = self.module.target
        return full in self.module.defined or (target is not None and name.upper() in target.symbols)

    def label(self, name: str, place: Place) -> None:
        """A label at the next entry."""
        key = self.claim(name, place)
        self.module.section.labels[key] = self.module.position
        self._plain(name)

    def equate(self, name: str, node: Node, place: Place, body: int, offset: int) -> None:
        """A name for an expression, as a constant when its value is known already."""
        scope = self.local
        key = self.claim(name, place)
        try:
            self.module.constants[key] = node.value(Known(self.module, scope))
        except Unknown:
            self.module.equates[key] = Equate(node, place, body, offset, scope, self.module.position, self.module.section.number)

    def assign(self, name: str, node: Node, place: Place, body: int, offset: int) -> None:
        """Gives a changing name its next value. A value that is not known yet lives on as an equate of its own."""
        if name not in self.variables:
            self.claim(name, place)
        key = self.key(name)
        try:
            value: Node = Number(0, 0, node.value(Known(self.module, self.local)))
        except Unknown:
            unique = f"{key}:{len(self.module.equates)}"
            self.module.equates[unique] = Equate(node, place, body, offset, self.local, self.module.position, self.module.section.number)
            value = Name(0, 0, unique)
        self.variables[name] = self.variables[key] = value
        self.module.variables[key] = value

    def _plain(self, name: str) -> None:
        """A plain label begins a new scope of local names."""
        if name[0] != "." and MARK not in name:
            self.local = name
            for local in [variable for variable in self.variables if variable[0] == "."]:
                del self.variables[local]
