"""What can be wrong with a table as a whole: rows that overlap, forms that are never chosen, counts."""

from __future__ import annotations

from itertools import combinations

from xasm.source.diagnostics import Diagnostic, Fault, Report, at
from xasm.source.files import Place
from xasm.target.kinds import Choice, Kind
from xasm.target.model import Form, Target, form_shapes


def check_target(target: Target, report: Report) -> None:
    """Adds everything that is wrong to the report."""
    for form in target.forms:
        try:
            form_shapes(form, target.notation)
        except Fault as fault:
            place = form.places["asm"]
            if fault.code == "table_asm":
                report.fault(fault, place)
            else:
                report.add(at(place, "table_asm", {"why": fault.text}))
    if report.failed:
        return
    for diagnostic in (*overlaps(target), *twins(target), *counts(target)):
        report.add(diagnostic)


def overlaps(target: Target) -> list[Diagnostic]:
    """Pairs of rows that claim the same code, neither being an alias."""
    found = []
    by_first: dict[int, list[Form]] = {}
    for form in target.forms:
        if not form.alias:
            for word in range(1 << target.word):
                if word & form.code.masks[0] == form.code.match[0]:
                    by_first.setdefault(word, []).append(form)
    seen = set()
    for forms in by_first.values():
        for one, other in combinations(forms, 2):
            if (id(one), id(other)) not in seen:
                seen.add((id(one), id(other)))
                code = shared_code(one, other)
                if code is not None:
                    text = " ".join(target.hex_word(word) for word in code)
                    values = {"asm": other.asm, "other": one.asm, "line": one.places[""][1], "code": text}
                    found.append(at(other.places["code"], "table_overlap", values))
    return found


def shared_code(one: Form, other: Form) -> list[int] | None:
    """Words that both rows claim, or None. A row that is longer claims the shorter one's words only in front of more."""
    length = min(one.size, other.size)
    words = []
    for index in range(length):
        a, b = one.code.masks[index], other.code.masks[index]
        if one.code.match[index] & b != other.code.match[index] & a:
            return None
        words.append(one.code.match[index] | other.code.match[index])
    free = [form for form in (one, other) if any(limited(kind) for kind in form.fields.values())]
    if not free:
        return words
    return next((code for code in claimed(one, length) if code in claimed(other, length)), None)


def limited(kind: Kind) -> bool:
    """Whether not every pattern of the field's bits means something."""
    return len(patterns(kind)) < 1 << kind.bits if kind.bits <= 12 else False


def patterns(kind: Kind) -> list[int]:
    """The bit patterns of a field that mean something."""
    found = []
    for bits in range(1 << kind.bits):
        if isinstance(kind, Choice) and kind.spelling(bits) is not None:
            found.append(bits)
            continue
        try:
            kind.load(bits, 0, 1, 0)
        except Fault:
            continue
        found.append(bits)
    return found


def opcode_words(form: Form) -> int:
    """How many words of a form, from the first, belong to its opcode: up to the last that is no operand."""
    return max((index + 1 for index in range(form.size) if index not in form.code.operands), default=0)


def claimed(form: Form, length: int) -> list[list[int]]:
    """Every combination of a form's first words in which fields inside opcode words are filled in; words that hold
    nothing but operands are 0."""
    codes = [list(form.code.match[:length])]
    for name, kind in form.fields.items():
        slots = [slot for slot in form.code.slots[name] if slot.word < length and slot.word not in form.code.operands]
        if not slots:
            continue
        grown = []
        for bits in sorted(set(patterns(kind)) if kind.bits <= 12 else set(range(1 << kind.bits))):
            for code in codes:
                filled = list(code)
                for word, shift, width, down in slots:
                    filled[word] |= (bits >> down & ((1 << width) - 1)) << shift
                grown.append(filled)
        codes = grown
    return [list(code) for code in {tuple(code) for code in codes}]


def opcodes(target: Target) -> set[tuple[int, ...]]:
    """The different opcodes of a chip: prefixes and opcode words with every field inside them filled in."""
    found: set[tuple[int, ...]] = set()
    for form in target.forms:
        if not form.alias:
            found.update(tuple(code) for code in claimed(form, opcode_words(form)))
    return found


def twins(target: Target) -> list[Diagnostic]:
    """Rows that read exactly like an earlier one with the same length, so that they are never chosen for encoding, and
    are not there for decoding either."""
    found = []
    seen: dict[tuple[str, tuple[tuple[str, str], ...]], Form] = {}
    for form in target.forms:
        key = (form.asm.upper(), tuple(sorted((name, kind.name) for name, kind in form.fields.items())))
        first = seen.setdefault(key, form)
        if first is not form and first.code == form.code:
            values = {"asm": form.asm, "other": first.asm, "line": first.places[""][1]}
            found.append(at(form.places["asm"], "table_same_form", values))
    return found


def counts(target: Target) -> list[Diagnostic]:
    """The head's counts against the rows."""
    mnemonics = {form.mnemonic for form in target.forms if not form.alias}
    have = {"mnemonics": len(mnemonics), "opcodes": len(opcodes(target))}
    place: Place | None = target.places.get("count")
    if place is None:
        return []
    return [
        at(place, "table_count", {"told": told, "what": what, "found": have[what]})
        for what, told in target.count.items()
        if have[what] != told
    ]



