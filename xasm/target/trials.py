"""Statements of every form of a table, made from the table itself: to words, to text, and to words again.

This shows that a table agrees with itself, and that every form can be reached; never that it is right.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from itertools import product
from math import prod
from typing import NamedTuple

from xasm.source.diagnostics import Fault
from xasm.source.messages import message
from xasm.syntax.expressions import Number
from xasm.target.check import patterns
from xasm.target.decode import Decoder, text_of
from xasm.target.encode import encode
from xasm.target.forms import Form, Patch, Variant
from xasm.target.kinds import Choice, Kind, NameList, Plain, numeric
from xasm.target.model import Target
from xasm.target.statements import Alone, encoded, ways

COUNTED = 4  # bits of an operand whose values are all tried; of a wider one the edges
MOST_VALUES = 1 << 12  # of one field that are tried
MOST_TRIALS = 1 << 13  # of one way to write a form; where there would be more, a few values of each field do
NUMBER = re.compile(r"(?<![A-Za-z0-9_])(?:0x[0-9A-F]+|0o[0-7]+|[0-9]+)\b")


class Trial(NamedTuple):
    """A form with a value for each field: spellings and numbers by name (the bits of a list are a number); the numbers in the
    order of the expressions too."""

    target: Target
    form: Form
    variant: Variant
    fields: dict[str, int | str]
    numbers: tuple[int, ...]
    address: int

    def encode(self) -> tuple[int, ...]:
        leaves = [Number(0, 0, number) for number in self.numbers]
        return tuple(encode(self.variant, leaves, Alone(self.address, self.target), self.address))

    def __str__(self) -> str:
        """The statement, with its address where that matters."""
        text = text_of(self.form, self.fields, self.target)
        placed = any(kind.placed for kind in self.form.fields.values())
        return f"{text} at {self.target.hex_address(self.address)}" if placed else text


class Lost(NamedTuple):
    """A form of which something is lost on the way: an entry of the catalogue of messages, and what fills it."""

    form: Form
    code: str
    values: dict[str, str]

    @property
    def text(self) -> str:
        return message(self.code, self.values)


def places(form: Form, target: Target) -> list[int]:
    """Where a form is tried: in the middle of memory, and at both ends where that can make a difference."""
    middle = 1 << (target.address - 1)
    return [middle, 0, target.top + 1 - form.size] if any(kind.placed for kind in form.fields.values()) else [middle]


def written(form: Form, target: Target) -> Iterator[tuple[dict[str, int | str], list[str], Variant]]:
    """Every way to write the choices of a form: spellings by field, the fields left as expressions in order, the variant."""
    names = {(slots, numeric(form.fields[name])): name for name, slots in form.code.slots.items()}
    for way, _, variant in ways(form, target):
        spelled: dict[str, int | str] = {name: spelling for name, spelling in way if spelling is not None}
        yield spelled, [names[patch.slots, numeric(patch.kind)] for patch in variant.patches], variant


def good_values(form: Form, patch: Patch, address: int) -> list[int]:
    """Values to try: all of a list, and where the field lies in an opcode word; else those at the edges."""
    kind = patch.kind if isinstance(patch.kind, NameList) else numeric(patch.kind)
    if isinstance(kind, NameList):
        return [bits for bits in range(min(1 << kind.bits, MOST_VALUES)) if kind.spelling(bits) is not None]
    here = (address, form.size, patch.slots[0].word)
    values, _ = kind.edges(*here)
    few = kind.bits <= COUNTED or any(slot.word not in form.code.operands for slot in patch.slots)
    if few and 1 << kind.bits <= MOST_VALUES:
        values = values + [kind.load(bits, *here) for bits in patterns(kind)]
    return sorted(set(values))


def trials(target: Target) -> Iterator[Trial]:
    """Every form with every spelling, every value inside opcode words, and operands at their edges."""
    for form in target.forms:
        for (spelled, names, variant), address in product(written(form, target), places(form, target)):
            values = [good_values(form, patch, address) for patch in variant.patches]
            if prod(map(len, values)) > MOST_TRIALS:
                values = [[own[0], own[len(own) // 2], own[-1]] if own else [] for own in values]
            for numbers in product(*values):
                yield Trial(target, form, variant, spelled | dict(zip(names, numbers, strict=True)), numbers, address)


def lost(target: Target, tried: Iterable[Trial], decoder: Decoder) -> list[Lost]:
    """What is lost on the way from words to text to words. Every form must be chosen by some statement, but for further
    codes of an earlier row that is written the same."""
    wrong: list[Lost] = []
    chosen: set[Form] = set()
    forms: dict[Form, None] = {}
    for trial in tried:
        forms[trial.form] = None
        wrong += _lost(trial, target, decoder, chosen)
    earlier = {form.asm: form for form in reversed(target.forms)}
    return wrong + [Lost(form, "check_never", {"asm": form.asm}) for form in forms if form not in chosen and earlier[form.asm] is form]


def _lost(trial: Trial, target: Target, decoder: Decoder, chosen: set[Form]) -> Iterator[Lost]:
    """What one statement loses; the form that its text leads to goes to `chosen`."""
    try:
        words = trial.encode()
    except Fault as fault:
        yield Lost(trial.form, "check_not_made", {"statement": str(trial), "why": fault.text})
        return

    def found(code: str, **values: str) -> Lost:
        return Lost(trial.form, code, {"statement": str(trial), "words": hexadecimal(words, target), **values})

    instruction = decoder.decode(words, trial.address)
    if instruction is None:
        yield found("check_not_decoded")
        return
    text = instruction.text
    if trial.form.alias:
        text = text_of(trial.form, trial.fields, target)
        # a row that is a second name may be longer than the code it takes; a mode may not than its fellows
        same_row = trial.form.row is not None and trial.form.row is instruction.form.row
        longer = same_row and instruction.form.size != len(words)
        # and what is written alike must mean the same value
        if instruction.form.alias or longer or (instruction.form.asm == trial.form.asm and plain(instruction.text) != plain(text)):
            yield found("check_decoded", other=instruction.text)
    elif instruction.form is not trial.form or not all(equal(trial, name, instruction.fields[name]) for name in trial.fields):
        yield found("check_decoded", other=instruction.text)
    try:
        again = encoded(target, text, trial.address)
    except Fault as fault:
        yield found("check_refused", text=text, why=fault.text)
        return
    chosen.add(again.form)
    if again.words != words:
        # rightly so where another form says the same in fewer words, or is the first of several that are written the same
        other = decoder.decode(again.words, trial.address)
        first = again.form is not trial.form and again.form.asm == trial.form.asm
        same = other is not None and (again.form.alias or plain(other.text) == plain(text))
        if not same or not (len(again.words) < len(words) or (first and len(again.words) == len(words))):
            yield found("check_again", text=text, again=hexadecimal(again.words, target))


def hexadecimal(words: Iterable[int], target: Target) -> str:
    return " ".join(target.hex_word(word) for word in words)


def equal(trial: Trial, name: str, found: int | str) -> bool:
    """Whether a decoded field is what was put in."""
    kind, value = trial.form.fields[name], trial.fields[name]
    bits = dict(kind.options) if isinstance(kind, Choice) else {}
    if isinstance(found, str):
        if isinstance(value, str):
            return bits.get(found) == bits[value]
        if isinstance(kind, NameList):
            return found == kind.spelling(value)
        return bits.get(found) == kind.store(value, trial.address, trial.form.size, trial.form.code.slots[name][0].word)
    # a number with and without sign may be the same bits
    return isinstance(value, int) and (found == value or (wraps(kind) > 0 and (found - value) % wraps(kind) == 0))


def wraps(kind: Kind) -> int:
    """By how much two numbers may differ that are the same bits."""
    return 1 << kind.bits if isinstance(kind, Plain) and kind.role == "number" else 0


def plain(text: str) -> str:
    """A statement with its numbers in decimal."""
    return NUMBER.sub(lambda match: str(int(match[0], 0)), text)
