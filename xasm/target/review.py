"""Everything that can be said of a table: what is wrong with it (errors) and what is merely doubtful (warnings)."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from xasm.source.diagnostics import Diagnostic, Report, at
from xasm.source.files import Place
from xasm.target.book_check import book_faults
from xasm.target.bookvalues import Book
from xasm.target.check import WIDEST, agree, check_target, claimed, line_text, opcodes, placed
from xasm.target.decode import Decoder
from xasm.target.forms import FLOWS, Form, Mode, Modes, Row, Slot
from xasm.target.kinds import Choice, Kind, Listed, Page, Plain, numeric
from xasm.target.model import Target
from xasm.target.trials import Trial, lost, trials
from xasm.target.unlisted_check import unlisted_faults

MOSTLY = 3  # times that a letter is of one kind before another kind is odd
CONDITIONS = ("branch", "call_if", "return", "return_if", "skip", "repeat")  # flows whose time may depend on something
# What keeps no form from being read, and what would spoil every trial all the same.
READABLE = frozenset(("table_symbol", "table_count", "table_overlap", "table_same_form"))
SPOILED = frozenset(("table_overlap", "table_same_form", "check_choice_field"))


@dataclass(frozen=True)
class Review:
    """What was looked at: rows, forms, opcodes, statements that went to words and back, book values; and how many of the
    first words begin an instruction, of how many (0 of 0 where words are too wide to look at each)."""

    rows: int
    forms: int
    opcodes: int
    statements: int
    values: int
    first: int
    words: int


def review(target: Target, report: Report, books: Sequence[Book] = ()) -> Review:
    """Adds all there is to say of a table, and of books with it, to the report."""
    looked: dict[str, int] = {}
    for diagnostic in findings(target, books, looked):
        report.add(diagnostic)
    more = (looked.get(key, 0) for key in ("forms", "opcodes", "statements", "values", "first", "words"))
    return Review(len(target.rows), *more)


def findings(target: Target, books: Sequence[Book] = (), looked: dict[str, int] | None = None) -> Iterator[Diagnostic]:
    """All there is to say of a table, and of books with it; `looked` is told how much was looked at."""
    looked = {} if looked is None else looked
    report = Report()
    check_target(target, report)
    readable = all(diagnostic.code in READABLE for diagnostic in report.diagnostics)
    for diagnostic in (*unsaid(target), *doubts(target), *(collisions(target) if readable else ())):
        report.add(diagnostic)
    yield from report.diagnostics
    if not readable or any(diagnostic.code in SPOILED for diagnostic in report.diagnostics):
        return
    first = first_words(target) if target.word <= WIDEST else {}
    looked |= {"forms": len(list(target.all_forms())), "opcodes": len(opcodes(target))}
    looked |= {"first": len(first), "words": 1 << target.word if first else 0}
    yield from unaccounted(target, first)
    yield from loose(target)
    for book in books:
        looked["values"] = looked.get("values", 0) + len(book.values)
        yield from (unlisted_faults if book.undocumented else book_faults)(target, book)
    hidden = any(form.undocumented for form in target.all_forms())
    for chip in (target, target.with_undocumented()) if hidden else (target,):
        tried = list(trials(chip))
        looked["statements"] = len(tried)
        yield from told(chip, tried)


def unsaid(target: Target) -> Iterator[Diagnostic]:
    """Rows without flow: what is taken then would be a guess."""
    for row in target.rows:
        if "flow" not in row.places:
            yield at(row.places[""], "check_no_flow", {"asm": row.asm}, hint=f"flow: next, or one of {', '.join(FLOWS[1:])}")


def collisions(target: Target) -> Iterator[Diagnostic]:
    """Choices that are written like a field of the same row, so that one is taken for the other."""
    for form in target.all_forms():
        for kind in form.fields.values():
            for spelling, _ in kind.options if isinstance(kind, Choice) else ():
                if spelling in form.fields:
                    values = {"choice": spelling, "kind": kind.name, "asm": form.asm}
                    yield at(form.places["asm"], "check_choice_field", values, hint=f"give the field '{spelling}' another letter")


def told(target: Target, tried: list[Trial]) -> Iterator[Diagnostic]:
    """What trials lose, the first of each sort at each place: what is wrong with one value mostly is with its neighbours."""
    seen: set[tuple[Place, str]] = set()
    for found in lost(target, tried, Decoder(target)):
        place = found.form.places["asm"]
        if (place, found.code) not in seen:
            seen.add((place, found.code))
            yield at(place, found.code, found.values)


def first_words(target: Target) -> dict[int, Form]:
    """Every word that begins an instruction, documented or not, with one that it begins."""
    found: dict[int, Form] = {}
    for form in target.all_forms():
        for code in claimed(form, 1):
            found.setdefault(code[0], form)
    return found


def unaccounted(target: Target, first: dict[int, Form]) -> Iterator[Diagnostic]:
    """First words that begin no instruction and are not said to, and the other way round."""
    if not first:
        return
    missing = [word for word in range(1 << target.word) if word not in first and word not in target.undefined]
    if missing:
        place = target.places.get("undefined") or target.places["forms"]
        parts = ranges([word for word in range(1 << target.word) if word not in first], target)
        hint = f"if so, the head says: undefined: {json.dumps(parts)}"
        yield at(place, "check_undefined", {"words": listed(ranges(missing, target))}, hint=hint, severity="warning")
    begun: dict[Form, list[int]] = {}
    for word in sorted(target.undefined & first.keys()):
        begun.setdefault(first[word], []).append(word)
    for form, words in begun.items():
        values = {"words": listed(ranges(words, target)), "asm": form.asm, "line": line_text(form, form)}
        yield at(target.places["undefined"], "check_defined", values)


def ranges(words: list[int], target: Target) -> list[str]:
    """Ascending words as the head has them: single ones, and ranges."""
    starts = [word for before, word in pairwise([-2, *words]) if word != before + 1]
    ends = [word for word, behind in pairwise([*words, -2]) if behind != word + 1]
    pairs = zip(starts, ends, strict=True)
    return [target.hex_word(one) if one == other else f"{target.hex_word(one)}..{target.hex_word(other)}" for one, other in pairs]


def listed(parts: list[str]) -> str:
    return f"{', '.join(parts[:-1])} or {parts[-1]}" if len(parts) > 1 else parts[0]


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
    found: dict[str, list[tuple[Row | Mode, Kind | Modes]]] = {}
    for part in parts:
        for name, kind in (*part.fields.items(), *(part.modes.items() if isinstance(part, Row) else ())):
            found.setdefault(name, []).append((part, kind))
    for name, uses in found.items():
        count = Counter(kind.name for _, kind in uses)
        for part, kind in uses:
            times = max((count[other.name] for _, other in uses if alike(kind, other)), default=0)
            if count[kind.name] == 1 and times >= MOSTLY:
                usual = next(other.name for _, other in uses if count[other.name] == times and alike(kind, other))
                values = {"field": name, "kind": kind.name, "usual": usual, "times": times}
                yield at(part.places[name], "check_odd", values, severity="warning")


def alike(one: Kind | Modes, other: Kind | Modes) -> bool:
    """Whether one kind may have been typed for the other without being missed in `code`."""
    if isinstance(one, Modes) or isinstance(other, Modes):
        return one is not other
    return one.bits == other.bits and not (isinstance(one, Choice) and isinstance(other, Choice))


def kinds_of(groups: Iterable[Iterable[Kind]]) -> set[str]:
    return {kind.name for group in groups for kind in group}
