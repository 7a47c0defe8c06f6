"""The `code` of a row to masks, values and slots."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from typing import NamedTuple

from xasm.source.diagnostics import Fault
from xasm.source.files import Place
from xasm.target.forms import Code, Slot
from xasm.target.kinds import Choice, Kind

MOST_WORDS = 16  # of one instruction
NOWHERE = (Slot(0, 0, 0, 0),)  # where a field without bits lies


class Part(NamedTuple):
    """A piece of code text, where it stands in the file, and whether all its words are operands, as those of a mode are."""

    text: str
    place: Place
    operands: bool = False


class CodeReader:
    """Reads code texts for a chip with words of `word` bits and numbers in that `order`."""

    def __init__(self, word: int, order: str) -> None:
        self.word = word
        self.order = order
        self.digits = (word + 3) // 4
        self.full = (1 << word) - 1

    def words(self, text: str, place: Place, least: int = 1) -> Iterator[tuple[str, str]]:
        """The words of a text, each with what it is: "field" (the name), "bits" or "number" (as written). Raises Fault."""
        words = text.split()
        if not least <= len(words) <= MOST_WORDS:
            raise Fault("table_shape", place=place, what="'code'", wanted=f"{least}..{MOST_WORDS} words")
        for word in words:
            if word[0] == "<" and word[-1] == ">":
                yield "field", word[1:-1]
            elif len(word) == self.word and re.fullmatch(r"[01a-z-]+", word):
                yield "bits", word
            elif re.fullmatch(rf"[0-9A-F]{{{self.digits}}}", word) and int(word, 16) <= self.full:
                yield "number", word
            else:
                hint = "digits A..F are written in capitals" if re.fullmatch(rf"[0-9A-Fa-f]{{{self.digits}}}", word) else None
                raise Fault("table_code_word", hint=hint, place=place, word=word, bits=self.word, digits=self.digits)

    def names(self, text: str, place: Place, least: int = 1) -> list[str]:
        """The fields that occur in a text, each as often as it stands there as a whole or as a letter of one run of bits."""
        found = []
        for what, word in self.words(text, place, least):
            found += [word] if what == "field" else list(dict.fromkeys(re.findall("[a-z]", word))) if what == "bits" else []
        return found

    def read(self, parts: Iterable[Part], fields: Mapping[str, Kind]) -> Code:
        """The code of a row, put together from parts. Raises Fault where the text is none, or does not go with the fields."""
        masks: list[int] = []
        match: list[int] = []
        ignored: list[int] = []
        operands: set[int] = set()
        runs: dict[str, list[Slot]] = {name: [] for name in fields}
        first: Place | None = None
        for text, place, all_operands in parts:
            first = first or place
            begin = len(masks)
            for what, word in self.words(text, place, 0 if all_operands else 1):
                if what == "field":
                    kind = _field(word, place, fields)
                    count = (kind.bits + self.word - 1) // self.word
                    order = kind.order or self.order
                    operands.update(range(len(masks), len(masks) + count))
                    for index in range(count):
                        down = self.word * (index if order == "little" else count - 1 - index)
                        width = min(self.word, kind.bits - down)
                        runs[word].append(Slot(len(masks), 0, width, down))
                        masks.append(self.full & ~((1 << width) - 1))
                        match.append(0)
                        ignored.append(0)
                    continue
                masks.append(0 if what == "bits" else self.full)
                match.append(0 if what == "bits" else int(word, 16))
                ignored.append(0)
                for position, letter in enumerate(word if what == "bits" else ""):
                    bit = self.word - 1 - position
                    if letter in "01":
                        masks[-1] |= 1 << bit
                        match[-1] |= int(letter) << bit
                    elif letter == "-":
                        ignored[-1] |= 1 << bit
                    else:
                        _field(letter, place, fields)
                        runs[letter].append(Slot(len(masks) - 1, bit, 1, -1))
            if all_operands:
                operands.update(range(begin, len(masks)))
        assert first is not None
        if not 0 < len(masks) <= MOST_WORDS:
            raise Fault("table_shape", place=first, what="'code'", wanted=f"1..{MOST_WORDS} words")
        slots = {name: _placed(name, runs[name], fields[name], first) for name in fields}
        operands.update(index for index, mask in enumerate(masks) if not mask)
        return Code(tuple(masks), tuple(match), tuple(ignored), slots, frozenset(operands))


def _field(name: str, place: Place, fields: Mapping[str, Kind]) -> Kind:
    if name not in fields:
        raise Fault("table_hole_unknown", place=place, field=name, part="row")
    return fields[name]


def _placed(name: str, run: list[Slot], kind: Kind, place: Place) -> tuple[Slot, ...]:
    """Single bits, given highest first, joined into runs; checks the width against the kind's."""
    if not run and not kind.bits:
        return NOWHERE
    if not run:
        raise Fault("table_hole_missing", place=place, field=name, where="code")
    have = sum(slot.width for slot in run)
    words = [slot for slot in run if slot.down >= 0]
    if isinstance(kind, Choice) and kind.other is None and not words:
        for spelling, bits in kind.options:
            if bits >> have:
                where = f"the bits of field '{name}' in code ({have})"
                raise Fault("table_choice_wide", place=place, value=bits, choice=spelling, where=where)
    elif have != kind.bits:
        raise Fault("table_hole_width", place=place, field=name, have=have, want=kind.bits)
    if words:
        return tuple(run)
    joined: list[Slot] = []
    for position, slot in enumerate(run):
        down = have - 1 - position
        last = joined[-1] if joined else None
        if last is not None and last.word == slot.word and last.shift == slot.shift + 1:
            joined[-1] = Slot(slot.word, slot.shift, last.width + 1, down)
        else:
            joined.append(Slot(slot.word, slot.shift, 1, down))
    return tuple(joined)
