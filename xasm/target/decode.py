"""Words back to instructions, by the same rows that encode them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

from xasm.source.diagnostics import Fault
from xasm.target.forms import Form, Row, gather
from xasm.target.kinds import Kind, Plain, numeric
from xasm.target.model import Target


class Instruction(NamedTuple):
    """A decoded instruction: its form, `fields` (name to the value it stands for, or to the spelling of a choice), and
    `text` as source would have it."""

    form: Form
    fields: dict[str, int | str]
    text: str

    @property
    def target(self) -> int | None:
        """Where control may go beside the next instruction; None where it does not, or where only the running chip knows."""
        if self.form.target is None:
            return None
        value = self.fields[self.form.target]
        return value + self.form.behind if isinstance(value, int) else None


class Decoder:
    """Decodes for one chip. Aliases are never chosen; of two rows that fit, the one with more fixed bits is. `longest` is the
    length of the longest instruction in words."""

    def __init__(self, target: Target) -> None:
        self.target = target
        self._forms = sorted((form for form in target.forms if not form.alias), key=lambda form: -fixed_bits(form))
        self._first: dict[int, list[Form]] = {}
        self.longest = max((form.size for form in self._forms), default=1)

    def beginning(self, word: int) -> list[Form]:
        """The forms whose first word this can be."""
        found = self._first.get(word)
        if found is None:
            found = [form for form in self._forms if word & form.code.masks[0] == form.code.match[0]]
            self._first[word] = found
        return found

    def decode(self, words: Sequence[int], address: int) -> Instruction | None:
        """The instruction that `words` begin with when they stand at `address`; None when there is none."""
        for form in self.beginning(words[0]) if words else ():
            if len(words) >= form.size and self._matches(form, words):
                fields = self._fields(form, tuple(words[: form.size]), address)
                if fields is not None:
                    return Instruction(form, fields, text_of(form, fields, self.target))
        return None

    @staticmethod
    def _matches(form: Form, words: Sequence[int]) -> bool:
        return all(word & mask == match for word, mask, match in zip(words, form.code.masks, form.code.match, strict=False))

    @staticmethod
    def _fields(form: Form, words: tuple[int, ...], address: int) -> dict[str, int | str] | None:
        fields: dict[str, int | str] = {}
        for name, kind in form.fields.items():
            slots = form.code.slots[name]
            bits = gather(words, slots)
            spelling = kind.spelling(bits)
            try:
                fields[name] = kind.load(bits, address, form.size, slots[0].word) if spelling is None else spelling
            except Fault:
                return None
        return fields


def fixed_bits(form: Form) -> int:
    return sum(mask.bit_count() for mask in form.code.masks)


def text_of(form: Row, fields: dict[str, int | str], target: Target) -> str:
    """An instruction as source text; what is not among `fields` stays as the form has it."""
    if not fields:
        return form.asm
    length = len(form.statement.operation)
    operation, operands = form.asm[:length], form.asm[length:]
    names = "|".join(re.escape(name) for name in fields)

    def value(match: re.Match[str]) -> str:
        found = fields[match[0]]
        return found if isinstance(found, str) else number_text(found, numeric(form.fields[match[0]]), target)

    text = re.sub(rf"(?<![A-Za-z0-9_'])(?:{names})(?![A-Za-z0-9_'])", value, operands).replace("+-", "-")
    return operation + text


def number_text(value: int, kind: Kind, target: Target) -> str:
    """A number as it is usual for its kind: by the chip's own name for it, addresses in full width, small ones and distances in
    decimal, the others in hexadecimal or the maker's octal."""
    named = target.names.text(kind.space, value) if kind.space else None
    if named is not None:
        return named
    if kind.address:
        bits = target.address if kind.whole else kind.bits
        return f"0o{value:0{(bits + 2) // 3}o}" if target.octal else f"0x{value:0{(bits + 3) // 4}X}"
    if kind.bits <= 4 or (isinstance(kind, Plain) and kind.role == "signed"):
        return str(value)
    if target.octal:
        return f"{'-' if value < 0 else ''}0o{abs(value):0{(kind.bits + 2) // 3}o}"
    return f"{'-' if value < 0 else ''}0x{abs(value):0{(kind.bits + 3) // 4}X}"
