"""What can be wrong with a table as a whole: rows that overlap, forms that are never chosen, counts."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Sequence
from itertools import combinations
from math import prod

from xasm.source.diagnostics import Diagnostic, Fault, Report, at, where
from xasm.source.files import Place
from xasm.syntax.expressions import WORDS
from xasm.target.forms import Form, Row, Slot, form_shapes
from xasm.target.kinds import Choice, Kind, NameList
from xasm.target.model import Target
from xasm.target.routes import unknown_forms

WIDEST = 12  # bits of a field whose patterns are looked at one by one; of a wider one every pattern counts
MOST_CODES = 1 << 20  # of one row; more is a mistake in the table
MOST_CLAIMS = 1 << 12  # combinations of fields that are looked at one by one when two rows are compared

Words = tuple[int, ...]


def check_target(target: Target, report: Report) -> None:
    """Adds everything that is wrong to the report, undocumented forms among it."""
    target = target.with_undocumented()
    forms = expanded(target, report)
    for form in forms:
        try:
            form_shapes(form, target.notation)
            if codes_count(form) > MOST_CODES:
                raise Fault("table_codes", place=form.places["code"], asm=form.asm, limit=MOST_CODES)
        except Fault as fault:
            place = form.places["asm"]
            if fault.place is not None:
                report.fault(fault, place)
            else:
                # the text is in quotes; that of a mode was read by itself already, so that no part of it is to blame
                start = 0 if form.chosen else 1 + form.statement.offset + (fault.start or 0)
                length = 0 if form.chosen else (fault.end or 0) - (fault.start or 0)
                report.add(at(place, "table_asm", {"why": fault.text}, start, max(1, length)))
    for diagnostic in (*wrong_names(target), *wrong_flows(forms)):
        report.add(diagnostic)
    for unknown in unknown_forms(target.routes, iter(forms)):
        report.lost(unknown)
    if report.failed:
        return
    same = twins(forms)
    # rows that repeat or overlap are counted wrongly, too; that would be said twice
    for diagnostic in (*same.values(), *overlaps(target, forms, same)) or counts(target):
        report.add(diagnostic)


def expanded(target: Target, report: Report) -> list[Form]:
    """The forms of all rows; what keeps a row from having any goes to the report."""
    found: list[Form] = []
    for row in target.rows:
        try:
            found += row.forms()
        except Fault as fault:
            report.fault(fault, row.places[""])
    return found


def wrong_names(target: Target) -> Iterator[Diagnostic]:
    """Names of the chip that no expression can use: the forms, or operators, have them already."""
    for name, place in target.names.places.items():
        if name in target.reserved or name in WORDS:
            yield at(place, "table_symbol", {"name": name})


def wrong_flows(forms: Iterable[Form]) -> Iterator[Diagnostic]:
    """Operands in `flow_with` that no form of the row can have."""
    rows: dict[Row, list[Form]] = {}
    for form in forms:
        rows.setdefault(form.row or form, []).append(form)
    for row, own in rows.items():
        for operand in row.flow_with:
            if not any(can_have(form, operand) for form in own):
                yield at(row.places["flow_with"], "table_flow_with", {"operand": operand, "asm": row.asm})


def can_have(form: Form, operand: str) -> bool:
    """Whether a name, or field=name, can be among the operands of a form."""
    field, _, name = operand.rpartition("=")
    kinds = [kind for key, kind in form.fields.items() if field in ("", key)]
    spellings = (text for kind in kinds if isinstance(kind, (Choice, NameList)) for text, _ in kind.options)
    return any(name in re.split("[, ]", text) for text in spellings)


def twins(forms: Iterable[Form]) -> dict[tuple[Form, Form], Diagnostic]:
    """Forms that read exactly like an earlier one and have the same code, so that they are never chosen."""
    found = {}
    seen: dict[tuple[object, ...], Form] = {}
    for form in forms:
        kinds = tuple(sorted((name, kind.name) for name, kind in form.fields.items()))
        first = seen.setdefault((form.asm.upper(), kinds, form.code.masks, form.code.match), form)
        if first is not form and first.code == form.code:
            values = {"asm": form.asm, "other": first.asm, "line": line_text(first, form)}
            found[first, form] = at(form.places["asm"], "table_same_form", values)
    return found


def overlaps(target: Target, forms: Sequence[Form], known: Collection[tuple[Form, Form]] = ()) -> list[Diagnostic]:
    """Pairs of forms that claim the same code, neither being an alias; `known` ones are left out. What two modes of a row
    share is told once, however many rows have them."""
    found = []
    told = set()
    for one, other in rivals(target, [form for form in forms if not form.alias]):
        modes = (one.chosen, other.chosen) if one.row is not None and one.row is other.row else None
        if modes is not None and modes in told:
            continue
        code = shared_code(one, other)
        if code is not None and (one, other) not in known:
            text = " ".join(target.word_text(word) for word in code)
            values = {"asm": other.asm, "other": one.asm, "line": line_text(one, other), "code": text}
            found.append(at(other.places["code"], "table_overlap", values))
            told.add(modes)
    return found


def rivals(target: Target, forms: Sequence[Form]) -> Iterable[tuple[Form, Form]]:
    """The pairs of forms that may begin with the same word, in the order of the table."""
    if target.word > WIDEST:
        return combinations(forms, 2)
    first: dict[int, list[int]] = {}
    for rank, form in enumerate(forms):
        free = ~form.code.masks[0] & ((1 << target.word) - 1)
        word = free
        while True:  # all words with the fixed bits: those of every part of the free bits
            first.setdefault(form.code.match[0] | word, []).append(rank)
            if not word:
                break
            word = (word - 1) & free
    pairs = sorted({pair for ranks in first.values() for pair in combinations(ranks, 2)})
    return ((forms[one], forms[other]) for one, other in pairs)


def line_text(form: Form, reader: Form) -> str:
    """Where a row stands, for a message about another row."""
    place = form.chosen[-1].places[""] if form.chosen else form.places[""]
    return f"line {place[1]}" if place[0] is reader.places[""][0] else where(place)


def shared_code(one: Form, other: Form) -> list[int] | None:
    """Words that both rows claim, or None. A row that is longer claims the shorter one's words only in front of more."""
    length = min(one.size, other.size)
    if not agree((one.code.masks, one.code.match), (other.code.masks, other.code.match)):
        return None
    (masks, mine), (other_masks, theirs) = claims(one, length), claims(other, length)
    both = tuple(a & b for a, b in zip(masks, other_masks, strict=True))

    def fixed(words: Words) -> Words:
        return tuple(word & mask for word, mask in zip(words, both, strict=True))

    found = {fixed(words): words for words in reversed(theirs)}  # of equal ones the first
    for words in mine:
        if fixed(words) in found:
            return [a | b for a, b in zip(words, found[fixed(words)], strict=True)]
    return None


def agree(one: tuple[Words, Words], other: tuple[Words, Words]) -> bool:
    """Whether there are words that have the fixed bits of both, each given as masks and values, as far as both go."""
    return all(not (a ^ b) & mask & other_mask for mask, a, other_mask, b in zip(*one, *other, strict=False))


def claims(form: Form, length: int) -> tuple[Words, list[Words]]:
    """What a row claims of its first words: the mask of the bits that are fixed, and their values, one entry for each
    combination of the fields that do not take every pattern."""
    masks = form.code.masks[:length]
    found = [form.code.match[:length]]
    for name, kind in form.fields.items():
        slots = [slot for slot in form.code.slots[name] if slot.word < length]
        every = 1 << sum(slot.width for slot in form.code.slots[name])
        possible = patterns(kind) if kind.bits <= WIDEST else []
        if not slots or not possible or len(possible) == every or len(found) * len(possible) > MOST_CLAIMS:
            continue
        masks = placed(masks, slots, -1)
        found = [placed(match, slots, bits) for match in found for bits in possible]
    return masks, found


def placed(words: Words, slots: list[Slot], bits: int) -> Words:
    """The words with the bits of a field in its slots, which are 0."""
    filled = list(words)
    for word, shift, width, down in slots:
        filled[word] |= (bits >> down & ((1 << width) - 1)) << shift
    return tuple(filled)


def patterns(kind: Kind) -> list[int]:
    """The bit patterns of a field that mean something."""
    found = []
    for bits in range(1 << kind.bits):
        if kind.spelling(bits) is not None:
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


def opcode_fields(form: Form, length: int) -> list[tuple[Kind, list[Slot]]]:
    """The fields that lie in opcode words among the first `length`, each with its slots there."""
    found = []
    for name, kind in form.fields.items():
        slots = [slot for slot in form.code.slots[name] if slot.word < length and slot.word not in form.code.operands]
        if slots:
            found.append((kind, slots))
    return found


def codes_count(form: Form) -> int:
    """How many opcodes a form stands for, at most."""
    free = prod(1 << sum(slot.width for slot in slots) for _, slots in opcode_fields(form, form.size))
    return free << sum(mask.bit_count() for index, mask in enumerate(form.code.ignored) if index not in form.code.operands)


def claimed(form: Form, length: int) -> list[list[int]]:
    """Every combination of a form's first words in which fields inside opcode words are filled in, and bits that the chip
    ignores are 0 and 1; words that hold nothing but operands are 0."""
    ignored = [
        Slot(index, bit, 1, 0)
        for index, mask in enumerate(form.code.ignored[:length])
        for bit in range(mask.bit_length())
        if mask >> bit & 1 and index not in form.code.operands
    ]
    fixed = [0 if index in form.code.operands else word for index, word in enumerate(form.code.match[:length])]
    codes = {tuple(a | b for a, b in zip(fixed, filling, strict=True)) for filling in every(ignored, length)}
    for kind, slots in opcode_fields(form, length):
        fillings = {placed((0,) * length, slots, bits) for bits in patterns(kind)} if kind.bits <= WIDEST else every(slots, length)
        codes = {tuple(a | b for a, b in zip(code, filling, strict=True)) for code in codes for filling in fillings}
    return [list(code) for code in codes]


def every(slots: list[Slot], length: int) -> set[Words]:
    """The words with every pattern in the slots."""
    found = {(0,) * length}
    for word, shift, width, _ in slots:
        found = {placed(code, [Slot(word, shift, width, 0)], bits) for code in found for bits in range(1 << width)}
    return found


def opcodes(target: Target) -> set[tuple[int, ...]]:
    """The different opcodes of a chip: prefixes and opcode words with every field inside them filled in."""
    return codes_of(form for form in target.all_forms() if not form.undocumented)


def undocumented_opcodes(target: Target) -> set[tuple[int, ...]]:
    """The different opcodes that the maker's book does not list."""
    return codes_of(form for form in target.all_forms() if form.undocumented) - opcodes(target)


def codes_of(forms: Iterable[Form]) -> set[tuple[int, ...]]:
    return {tuple(code) for form in forms if not form.alias for code in claimed(form, opcode_words(form))}


def mnemonics(target: Target) -> set[str]:
    """The different first words of a chip, second names among them."""
    return {mnemonic.rstrip(",") for form in target.all_forms() if not form.undocumented for mnemonic in form.mnemonics}


def counts(target: Target) -> list[Diagnostic]:
    """The head's counts against the rows."""
    have = {"mnemonics": len(mnemonics(target)), "opcodes": len(opcodes(target)), "undocumented": len(undocumented_opcodes(target))}
    place: Place | None = target.places.get("count")
    if place is None:
        return []
    names = {"undocumented": "undocumented opcodes"}
    return [
        at(place, "table_count", {"told": told, "what": names.get(what, what), "found": have[what]})
        for what, told in target.count.items()
        if have[what] != told
    ]
