"""Whether an instruction, written as source, becomes the very same words again."""

from __future__ import annotations

import re
from typing import NamedTuple, cast

from xasm.source.diagnostics import Fault
from xasm.syntax.expressions import Number, Scope
from xasm.syntax.lines import cut_statement
from xasm.syntax.parser import parse_operands
from xasm.target.decode import Decoder, Instruction
from xasm.target.encode import beginning, encode
from xasm.target.forms import Form, Variant, gather
from xasm.target.kinds import NameList
from xasm.target.model import Target

FIELD = re.compile(r"(?<![A-Za-z0-9_'])[a-z][a-z0-9]*(?![A-Za-z0-9_'])")
NO_NAMES = cast(Scope, None)  # numbers ask for none


class Found(NamedTuple):
    """An instruction at its place. `exact` tells that the assembler makes its words out of its text; `elastic` that it
    chooses among codes of different lengths by an address, so that other addresses may change it."""

    address: int
    words: tuple[int, ...]
    instruction: Instruction
    exact: bool
    elastic: bool

    @property
    def form(self) -> Form:
        return self.instruction.form

    @property
    def end(self) -> int:
        """The address behind it."""
        return self.address + len(self.words)


class _Way(NamedTuple):
    """What the assembler chooses from for one way to write a form: its variants in order, and the fields that are
    expressions, in order."""

    variants: tuple[Variant, ...]
    fields: tuple[str, ...]
    elastic: bool


class Disassembler:
    """Instructions of one chip out of its words, each held against what the assembler would make of it."""

    def __init__(self, target: Target) -> None:
        self.target = target
        self.decoder = Decoder(target)
        self.longest = self.decoder.longest
        self._ways: dict[tuple[Form, tuple[str | None, ...]], _Way | None] = {}

    def at(self, address: int, words: tuple[int, ...]) -> Found | None:
        """The instruction that stands at an address and begins with these words; None where there is none."""
        found = self.decoder.decode(words, address)
        if found is None:
            return None
        own = words[: found.form.size]
        way = self._way(found)
        exact = way is not None and self._made(way.variants, way.fields, found, own, address) == own
        return Found(address, own, found, exact, way is not None and way.elastic)

    def _way(self, found: Instruction) -> _Way | None:
        """None where the text cannot be read, which a table's own test would have told."""
        form = found.form
        spelled = tuple(_spelled(form, name, value) for name, value in found.fields.items())
        key = (form, spelled)
        if key not in self._ways:
            try:
                cut = cut_statement(found.text)
                variants, leaves, _ = self.target.variants(cut.operation, parse_operands(cut.operands).nodes)
                self._ways[key] = self._of(form, spelled, found, variants, len(leaves))
            except Fault:
                self._ways[key] = None
        return self._ways[key]

    def begins(self, found: Found) -> tuple[int, ...]:
        """The words with which its code begins, as few as tell the assembler which code to choose (CODED): with them its text
        becomes its words again, however long other forms are. Empty where there are none, and only data is left."""
        way = self._way(found.instruction)
        if way is None:
            return ()
        for count in range(1, len(found.words) + 1):
            variants = beginning(way.variants, found.words[:count])
            one_size = len({len(variant.words) for variant in variants}) == 1
            if one_size and self._made(variants, way.fields, found.instruction, found.words, found.address) == found.words:
                return found.words[:count]
        return ()

    @staticmethod
    def _of(form: Form, spelled: tuple[str | None, ...], found: Instruction, variants: tuple[Variant, ...], leaves: int) -> _Way | None:
        free = {name for name, spelling in zip(found.fields, spelled, strict=True) if not spelling}
        fields = tuple(name for name in FIELD.findall(form.asm[len(form.statement.operation) :]) if name in free)
        if len(fields) != leaves:
            return None
        # where every value is a number, the length depends on nothing else
        waiting = any(kind.address for variant in variants for _, kind, _ in variant.patches)
        return _Way(variants, fields, waiting and len({len(variant.words) for variant in variants}) > 1)

    def _made(
        self, variants: tuple[Variant, ...], fields: tuple[str, ...], found: Instruction, words: tuple[int, ...], address: int
    ) -> tuple[int, ...] | None:
        """What the assembler makes of it."""
        leaves = [Number(0, 0, self._value(found, name, words)) for name in fields]
        for variant in variants:
            try:
                return tuple(encode(variant, leaves, NO_NAMES, address))
            except Fault:
                continue
        return None

    @staticmethod
    def _value(found: Instruction, name: str, words: tuple[int, ...]) -> int:
        value = found.fields[name]
        # a list in words is one value: its bits
        return gather(words, found.form.code.slots[name]) if isinstance(value, str) else value


def _spelled(form: Form, name: str, value: int | str) -> str | None:
    """The part of a key that a field is: its spelling, "" for a list of names, None for a number."""
    if isinstance(value, str):
        return "" if isinstance(form.fields[name], NameList) else value
    return None
