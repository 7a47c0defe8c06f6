"""What is legal in a table and yet hardly meant: warnings."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path

from xasm.source.diagnostics import Diagnostic, at
from xasm.source.files import Place
from xasm.target.check import agree, placed
from xasm.target.forms import Form, Mode, Modes, Row, Slot
from xasm.target.kinds import Choice, Kind, Listed, Page, Plain, numeric
from xasm.target.model import Target

MOSTLY = 3  # times that a letter is of one kind before another kind is odd
CONDITIONS = ("branch", "call_if", "return", "return_if", "skip", "repeat")  # flows whose time may depend on something


def doubts(target: Target) -> Iterator[Diagnostic]:
    """What is legal and yet hardly meant."""
    yield from unused(target)
    yield from odd(target)
    for row in target.rows:
        if row.taken is not None and row.flow not in CONDITIONS and not row.modes:
            yield at(row.places["taken"], "check_taken", {"asm": row.asm, "flow": row.flow}, severity="warning")
    highest = max(target.top, *(target.top_of(space) for space in target.spaces), *target.symbols.values(), 0)
    for kind in target.kinds.values():
        if kind.address and isinstance(kind, Plain) and kind.high > highest:
            values = {"kind": kind.name, "bits": kind.bits, "own": highest.bit_length()}
            yield at(target.kind_places[kind.name][""], "check_address", values, 0, len(kind.name), severity="warning")
    name = target.places.get("name")
    found = Path(name[0].path).stem.lower() if name else target.name
    if name and target.name.lower() != found:
        values = {"file": Path(name[0].path).name, "found": found, "name": target.name}
        yield at(name, "check_file_name", values, severity="warning")


def unused(target: Target) -> Iterator[Diagnostic]:
    """Kinds and assumptions that no row has anything of."""
    modes = {name for row in target.rows for name in (own.name for own in row.modes.values())}
    kinds = kinds_of(row.fields.values() for row in target.rows)
    kinds |= kinds_of(mode.fields.values() for name in modes for mode in target.modes[name].modes)
    for name in (*target.kinds, *target.modes):
        if name not in kinds and name not in modes:
            yield at(target.kind_places[name][""], "check_unused", {"what": f"kind '{name}'"}, 0, len(name), severity="warning")
    origins = {kind.origin for kind in target.kinds.values() if isinstance(kind, Page)}
    for name in target.assume:
        if name not in origins:
            yield at(target.places["assume"], "check_unused", {"what": f"what is assumed of '{name}'"}, severity="warning")


def odd(target: Target) -> Iterator[Diagnostic]:
    """Fields whose kind is not what that letter is everywhere else, where both could hold the same bits and not both are
    choices, of which makers have many."""
    parts: list[Row | Mode] = [*target.rows, *(mode for modes in target.modes.values() for mode in modes.modes)]
    count: dict[str, Counter[Kind | Modes]] = {}
    places: dict[tuple[str, Kind | Modes], Place] = {}
    for part in parts:
        for name, kind in (*part.fields.items(), *(part.modes.items() if isinstance(part, Row) else ())):
            count.setdefault(name, Counter())[kind] += 1
            places[name, kind] = part.places[name]
    for name, kinds in count.items():
        usual = [(times, kind) for kind, times in kinds.most_common() if times >= MOSTLY]
        for kind in (kind for kind, times in kinds.items() if times == 1):
            found = next(((times, other) for times, other in usual if alike(kind, other)), None)
            if found is not None:
                values = {"field": name, "kind": kind.name, "usual": found[1].name, "times": found[0]}
                yield at(places[name, kind], "check_odd", values, severity="warning")


def alike(one: Kind | Modes, other: Kind | Modes) -> bool:
    """Whether one kind may have been typed for the other without being missed in `code`."""
    if isinstance(one, Modes) or isinstance(other, Modes):
        return one is not other
    return one.bits == other.bits and not (isinstance(one, Choice) and isinstance(other, Choice))


def kinds_of(groups: Iterable[Iterable[Kind]]) -> set[str]:
    return {kind.name for group in groups for kind in group}


def loose(target: Target) -> Iterator[Diagnostic]:
    """Fields with upper bits that nothing they take needs, where no other form takes the codes with these bits."""
    forms = list(target.all_forms())
    seen = set()
    for form in forms:
        for name, kind in form.fields.items():
            slots = form.code.slots[name]
            have, need = sum(slot.width for slot in slots), needed(numeric(kind))
            place = form.places["code"]
            if need >= have or (place, name) in seen or any(slot.word in form.code.operands for slot in slots):
                continue
            seen.add((place, name))
            if not any(other is not form and reaches(form, slots, have - 1, other) for other in forms):
                values = {"field": name, "have": have, "asm": form.asm, "need": need}
                yield at(place, "check_loose", values, severity="warning")


def needed(kind: Kind) -> int:
    """How many bits the largest pattern of a kind has."""
    if isinstance(kind, Choice):
        return max(1, *(bits.bit_length() for _, bits in kind.options))
    if isinstance(kind, Listed):
        return max(1, *(bits.bit_length() for _, bits in kind.values))
    if isinstance(kind, Plain) and kind.low >= 0:
        return max(1, kind.high.bit_length()) if kind.bits else 0
    return kind.bits


def reaches(form: Form, slots: tuple[Slot, ...], bit: int, other: Form) -> bool:
    """Whether another form may have the codes of a form in which that bit of a field is 1."""
    masks = placed(form.code.masks, [slot for slot in slots if slot.down <= bit < slot.down + slot.width], 1 << bit)
    match = placed(form.code.match, [slot for slot in slots if slot.down <= bit < slot.down + slot.width], 1 << bit)
    return agree((masks, match), (other.code.masks, other.code.match))
