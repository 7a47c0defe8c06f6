"""What a file of tests/references says, as data (the README there tells what stands in it), and which codes are put to a library."""

from __future__ import annotations

import itertools
import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import capstone  # type: ignore[import-untyped]
import pypcode
import yaml

from xasm.target.check import claimed, patterns
from xasm.target.forms import Form, gather
from xasm.target.kinds import Choice, NameList

EDGES = (0x00, 0x01, 0x7F, 0x80, 0xFF)
KEYS = {"library", "select", "target", "base", "openings", "spelling", "differences", "extra"}
MORE_KEYS = {"names": {}, "nothing": "", "page": ""}  # that may be left out


class Decoded(NamedTuple):
    """What a library makes of some bytes: how many it takes, and its text."""

    length: int
    text: str


class Pypcode:
    def __init__(self, select: dict[str, str]) -> None:
        self.context = pypcode.Context(select["language"])

    def decode(self, code: bytes, address: int) -> Decoded | None:
        try:
            found = self.context.disassemble(code, base_address=address, max_instructions=1).instructions
        except (pypcode.BadDataError, pypcode.UnimplError):
            return None
        return Decoded(found[0].length, f"{found[0].mnem} {found[0].body}".strip()) if found else None


class Capstone:
    def __init__(self, select: dict[str, str]) -> None:
        self.engine = capstone.Cs(*(getattr(capstone, f"CS_{key.upper()}_{select[key]}") for key in ("arch", "mode")))

    def decode(self, code: bytes, address: int) -> Decoded | None:
        found = next(self.engine.disasm_lite(code, address, 1), None)
        return Decoded(found[1], f"{found[2]} {found[3]}".strip()) if found else None


LIBRARIES: dict[str, type[Pypcode | Capstone]] = {"pypcode": Pypcode, "capstone": Capstone}


class Pattern:
    """Code bytes in which x leaves a digit open; each byte is two hexadecimal or eight binary digits."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.bytes: list[tuple[int, int]] = []  # mask, value
        for word in text.split():
            radix, ones = {2: (16, "F"), 8: (2, "1")}[len(word)]
            mask = int("".join("0" if digit == "x" else ones for digit in word), radix)
            self.bytes.append((mask, int(word.replace("x", "0"), radix)))

    def matches(self, code: Sequence[int]) -> bool:
        return len(code) == len(self.bytes) and self.meets(code)

    def meets(self, code: Sequence[int], free: Collection[int] = ()) -> bool:
        """Whether they agree as far as both go; bytes of the code whose index is in `free` may be anything."""
        for index, (byte, (mask, value)) in enumerate(zip(code, self.bytes, strict=False)):
            if byte & mask != value and index not in free:
                return False
        return True

    def codes(self) -> Iterator[bytes]:
        """Every code that the pattern stands for."""
        choices = [[byte for byte in range(256) if byte & mask == value] for mask, value in self.bytes]
        return map(bytes, itertools.product(*choices))


Patterns = tuple[Pattern, ...]


def spread(texts: str | Sequence[str], names: Mapping[str, Sequence[str]]) -> Patterns:
    """The patterns that one text or several stand for: each `<name>` is in turn all that the name stands for."""
    found = []
    for text in [texts] if isinstance(texts, str) else texts:
        parts = [names[part[1:-1]] if part[0] == "<" else [part] for part in text.split()]
        found += [Pattern(" ".join(words)) for words in itertools.product(*parts)]
    return tuple(found)


@dataclass(frozen=True)
class Difference:
    """Codes where the library differs from the book: what it prints (a regular expression for its whole text), how many
    bytes it takes (None: as many as we do), and a statement as the book has it. With `ours` the library is not wrong: its
    text stands for the code, but our assembler makes another one of it, which is one of these."""

    codes: Patterns
    theirs: str
    book: str
    why: str
    length: int | None = None
    ours: Patterns = ()

    def fits(self, code: Sequence[int], found: Decoded, address: int) -> bool:
        """Whether this is what the library makes of a code."""
        theirs = self.theirs.replace("{next}", f"{address + found.length:x}")
        return (
            any(pattern.matches(code) for pattern in self.codes)
            and found.length == (self.length or len(code))
            and re.fullmatch(theirs, found.text) is not None
        )


@dataclass(frozen=True, eq=False)
class Witness:
    library: Pypcode | Capstone
    target: str
    base: int
    openings: Patterns
    spelling: list[tuple[str, str]]
    differences: list[Difference]
    extra: Patterns
    nothing: str
    page: str = ""

    def decode(self, code: bytes, address: int) -> Decoded | None:
        """What the library makes of some bytes; None where that is no instruction."""
        found = self.library.decode(code, address)
        return None if found is None or re.fullmatch(self.nothing, found.text) else found

    def spell(self, text: str) -> str:
        """The library's text in the maker's notation."""
        for pattern, replacement in self.spelling:
            text = re.sub(pattern, replacement, text)
        return text


def read_witness(text: str) -> Witness:
    """A file of tests/references; wrong keys and names without use are errors."""
    data = MORE_KEYS | yaml.safe_load(text)
    assert set(data) == KEYS | set(MORE_KEYS)
    assert all(entry["why"] for entry in data["differences"] + data["extra"])
    names = data["names"]
    used = set(re.findall(r"<(\w+)>", str([data["openings"], data["differences"], data["extra"]])))
    assert used == set(names), f"names without use or meaning: {used ^ set(names)}"

    def difference(code: str | list[str], ours: str | Sequence[str] = (), **others: Any) -> Difference:
        return Difference(codes=spread(code, names), ours=spread(ours, names), **others)

    return Witness(
        LIBRARIES[data["library"]](data["select"]),
        data["target"],
        data["base"],
        spread(data["openings"], names),
        [(rule["from"], rule["to"]) for rule in data["spelling"]],
        [difference(**entry) for entry in data["differences"]],
        tuple(pattern for entry in data["extra"] for pattern in spread(entry["code"], names)),
        data["nothing"],
        data["page"],
    )


def codes(form: Form) -> Iterator[bytes]:
    """The codes of a row: every field inside opcode words filled in; among words that hold a number each edge meets each
    edge; other operand words, with registers or the mode of an operand, have every value that means something."""
    free = sorted(numbers(form))
    fixed = sorted(form.code.operands - numbers(form))
    choices = [[word for word in range(256) if word & form.code.masks[index] == form.code.match[index]] for index in fixed]
    steps = itertools.product(range(len(EDGES)), repeat=2)
    ways = dict.fromkeys(tuple(EDGES[(first + place * step) % len(EDGES)] for place in range(len(free))) for first, step in steps)
    meant = {name: set(patterns(kind)) if kind.bits <= 8 else range(1 << kind.bits) for name, kind in form.fields.items()}
    for words in claimed(form, form.size):
        for chosen, way in itertools.product(itertools.product(*choices), ways):
            for index, value in zip((*fixed, *free), (*chosen, *way), strict=True):
                words[index] = value
            if all(gather(tuple(words), form.code.slots[name]) in bits for name, bits in meant.items()):
                yield bytes(words)


def numbers(form: Form) -> set[int]:
    """The operand words of a row that hold nothing but a number, or a part of one."""
    found = set()
    for index in form.code.operands:
        kinds = [form.fields[name] for name, slots in form.code.slots.items() if any(slot.width and slot.word == index for slot in slots)]
        if not form.code.masks[index] and len(kinds) == 1 and not isinstance(kinds[0], (Choice, NameList)):
            found.add(index)
    return found
