"""Where control can arrive that no row tells by itself: further starts, and targets that have to be worked out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import partial
from typing import NamedTuple

from xasm.source.diagnostics import Fault
from xasm.source.files import Place
from xasm.target.document import Listing, Mapping, Value
from xasm.target.forms import Form
from xasm.target.reading import KEYED, Reader, expect, integer, text, word

KEYS = {"starts": False, "vectors": False, "traps": False, "times": False, "through": False, "back": False, "loads": False}
TRAP = {"vector": True, "passes": False}
MOST_TIMES = 1 << 16
MOST_PASSED = 16


class Loads(NamedTuple):
    """How a program puts an address into a register: the forms that load a constant, that put it into the high and into the low
    half of a register, and that go where a register says."""

    constant: str
    high: str
    low: str
    go: str


class Trap(NamedTuple):
    """A software interrupt: the place where the address of its target lies, and how many words behind it the way back passes."""

    vector: int
    passes: int


@dataclass(frozen=True)
class Routes:
    """`starts` maps what makes the chip begin elsewhere (an interrupt) to the address, `vectors` to the place where the address
    lies, and `traps` does so for forms. `times` maps forms to how many words lie between two targets: the target
    is the operand times that. `through` are forms, or modes, whose target lies in memory at the address that they name. Behind
    forms in `back` control goes on some time, though they are jumps. `places` says where each form stands."""

    starts: dict[str, int] = field(default_factory=dict)
    vectors: dict[str, int] = field(default_factory=dict)
    times: dict[str, int] = field(default_factory=dict)
    through: frozenset[str] = frozenset()
    back: frozenset[str] = frozenset()
    traps: dict[str, Trap] = field(default_factory=dict)
    loads: Loads | None = None
    places: dict[str, Place] = field(default_factory=dict)

    def factor(self, form: Form) -> int | None:
        """By what the only operand of a form is to be multiplied to give its target."""
        return self.times.get(form.asm)

    def pointer(self, form: Form) -> str | None:
        """The field of a form that names the place where the address of its target lies."""
        if not self.through or form.target is not None or not self._is_through(form):
            return None
        return next((name for name, kind in form.fields.items() if kind.address), None)

    def _is_through(self, form: Form) -> bool:
        if form.asm in self.through:
            return True
        row_says = getattr(form.row, "to", None)  # "none" where more is done with the address than to read there
        return row_says is None and any(mode.asm in self.through for mode in form.chosen)


def read_routes(reader: Reader, value: Value, top: int) -> Routes:
    """`routes: {starts: {INT0: 0x0003}, vectors: {NMI: 0xFFFA}, times: {"RST n": 8}, through: ["JMP (a)"]}`."""
    mapping = expect(value, Mapping, "'routes'", KEYED)
    reader.known(mapping, "'routes'", KEYS)
    places: dict[str, Place] = {}

    def numbers(key: str, low: int, high: int) -> dict[str, int]:
        listed = mapping.items.get(key)
        items = expect(listed, Mapping, f"'{key}'", "made of names and numbers (name: number)").items if listed is not None else {}
        if listed is not None:
            places.update({name: listed.keys[name].place for name in items})
        return {name: reader.attempt(partial(integer, item, name, low, high), low) for name, item in items.items()}

    def forms(key: str) -> frozenset[str]:
        listed = mapping.items.get(key)
        items = expect(listed, Listing, f"'{key}'", "a list of forms").items if listed is not None else ()
        names = [text(item, key, quoted=True) for item in items]
        places.update({name: item.place for name, item in zip(names, items, strict=True)})
        return frozenset(names)

    traps = {}
    vectors = numbers("vectors", 0, top)
    if "traps" in mapping.items:
        listed = expect(mapping.items["traps"], Mapping, "'traps'", "made of forms and vectors (form: {vector: NAME})")
        for name, item in listed.items.items():
            places[name] = listed.keys[name].place
            trap = expect(item, Mapping, name, "{vector: NAME, passes: words}")
            reader.known(trap, name, TRAP)
            if "vector" in trap.items:
                vector = vectors[word(trap.items["vector"], "vector", tuple(vectors))]
                traps[name] = Trap(vector, integer(trap.items["passes"], "passes", 0, MOST_PASSED) if "passes" in trap.items else 0)
    loads = None
    if "loads" in mapping.items:
        listed = expect(mapping.items["loads"], Mapping, "'loads'", KEYED)
        reader.known(listed, "'loads'", dict.fromkeys(Loads._fields, True))
        if set(Loads._fields) <= listed.items.keys():
            loads = Loads(*(text(listed.items[key], key, quoted=True) for key in Loads._fields))
            places.update({name: listed.items[key].place for key, name in zip(Loads._fields, loads, strict=True)})
    return Routes(
        numbers("starts", 0, top),
        vectors,
        numbers("times", 1, MOST_TIMES),
        forms("through"),
        forms("back"),
        traps,
        loads,
        places,
    )


def unknown_forms(routes: Routes, forms: Iterator[Form]) -> Iterator[Fault]:
    """The forms that routes name and the table does not have, as faults with their places."""
    known: set[str] = set()
    for form in forms:
        known.add(form.asm)
        known.update(mode.asm for mode in form.chosen)
    for name in (*routes.times, *routes.traps, *sorted(routes.through | routes.back), *(routes.loads or ())):
        if name not in known:
            yield Fault("table_route", place=routes.places[name], asm=name)
