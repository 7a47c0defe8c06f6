"""Outside witnesses: our tables against general-purpose decoder libraries.

A witness is a file of tests/references; the README there says what stands in it. Two questions are put to it:

- Every opcode of the table, with operands at the edges, is given to the library. It must take as many bytes as we do;
  its text must be read by our assembler as the very row that the bytes came from, and give the same bytes again.
- Every code that the library accepts must be in the table, or in the witness's list of extra codes.

Where library and book differ, the witness says so; an entry that no longer happens is an error.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import NamedTuple

import capstone
import pypcode
import pytest
import yaml

import xasm
from xasm.assembly.module import Module
from xasm.assembly.symbols import Known
from xasm.source.diagnostics import Fault, Report, SourceErrors
from xasm.source.files import Source
from xasm.syntax.lines import cut_statement
from xasm.syntax.parser import parse_operands
from xasm.target.check import claimed, opcode_words, patterns
from xasm.target.decode import Decoder
from xasm.target.encode import encode
from xasm.target.finding import load_target, table_source
from xasm.target.forms import Form, gather
from xasm.target.loader import read_target
from xasm.target.model import Target

FILES = sorted((Path(__file__).parent / "references").glob("*.yaml"))
EDGES = (0x00, 0x01, 0x7F, 0x80, 0xFF)
TAILS = (bytes(6), bytes([0x7F, 0x80] * 3), bytes([0x80, 0x01] * 3), bytes([0xFF] * 6))  # operands behind an opcode
PADDING = bytes(8)  # behind our own codes: a library that wants more than we do can take it
CHANGED_ROWS = 7  # of each table, spread evenly, where a wrong bit must be noticed


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


LIBRARIES = {"pypcode": Pypcode, "capstone": Capstone}


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
        pairs = enumerate(zip(code, self.bytes, strict=False))
        return all(index in free or byte & mask == value for index, (byte, (mask, value)) in pairs)

    def codes(self) -> Iterator[bytes]:
        """Every code that the pattern stands for."""
        choices = [[byte for byte in range(256) if byte & mask == value] for mask, value in self.bytes]
        return map(bytes, itertools.product(*choices))


@dataclass(frozen=True)
class Difference:
    """Codes where the library differs from the book: what it prints (a regular expression for its whole text), how many
    bytes it takes (None: as many as we do), and a statement as the book has it."""

    code: Pattern
    theirs: str
    book: str
    why: str
    length: int | None = None


@dataclass(frozen=True, eq=False)
class Witness:
    library: Pypcode | Capstone
    target: str
    base: int
    openings: list[Pattern]
    spelling: list[tuple[str, str]]
    differences: list[Difference]
    extra: list[Pattern]

    def spell(self, text: str) -> str:
        """The library's text in the maker's notation."""
        for pattern, replacement in self.spelling:
            text = re.sub(pattern, replacement, text)
        return text

    def admits(self, code: bytes, found: Decoded | None) -> bool:
        """Whether the library's answer for a code of ours is a listed difference."""
        return found is not None and any(
            difference.code.matches(code)
            and found.length == (difference.length or len(code))
            and re.fullmatch(difference.theirs, found.text) is not None
            for difference in self.differences
        )


def read_witness(text: str) -> Witness:
    data = yaml.safe_load(text)
    assert set(data) == {"library", "select", "target", "base", "openings", "spelling", "differences", "extra"}
    assert all(entry["why"] for entry in data["differences"] + data["extra"])
    return Witness(
        LIBRARIES[data["library"]](data["select"]),
        data["target"],
        data["base"],
        [Pattern(opening) for opening in data["openings"]],
        [(rule["from"], rule["to"]) for rule in data["spelling"]],
        [Difference(**entry | {"code": Pattern(entry["code"])}) for entry in data["differences"]],
        [Pattern(entry["code"]) for entry in data["extra"]],
    )


class Case(NamedTuple):
    """One instruction of ours: row, code, address, what the library makes of it, and what is wrong with that (or None)."""

    form: Form
    code: bytes
    address: int
    found: Decoded | None
    wrong: str | None = None


def put(witness: Witness, target: Target, forms: Iterable[Form]) -> list[Case]:
    """Every code of some rows, each at an address of its own, with the library's answers judged."""
    step = max(form.size for form in target.forms)
    cases: list[Case] = []
    for form in forms:
        for code in codes(form):
            address = witness.base + len(cases) * step
            cases.append(Case(form, code, address, witness.library.decode(code + PADDING, address)))
    assert cases and cases[-1].address + 256 <= target.top, "the codes of a table must find room behind the base"
    texts = [witness.spell(case.found.text) if case.found else "" for case in cases]
    made = assembled(target, [case.address for case in cases], texts, step)
    return [case._replace(wrong=judged(target, case, text, words)) for case, text, words in zip(cases, texts, made, strict=True)]


def codes(form: Form) -> Iterator[bytes]:
    """The codes of a row: every field inside opcode words filled in; among operand words each edge meets each edge."""
    free = sorted(form.code.operands)
    steps = itertools.product(range(len(EDGES)), repeat=2)
    ways = dict.fromkeys(tuple(EDGES[(first + place * step) % len(EDGES)] for place in range(len(free))) for first, step in steps)
    meant = {name: patterns(kind) if kind.bits <= 8 else range(1 << kind.bits) for name, kind in form.fields.items()}
    for words in claimed(form, form.size):
        for way in ways:
            for index, edge in zip(free, way, strict=True):
                words[index] = edge
            if all(gather(tuple(words), form.code.slots[name]) in bits for name, bits in meant.items()):
                yield bytes(words)


def assembled(target: Target, addresses: Sequence[int], texts: Sequence[str], step: int) -> list[bytes | None]:
    """What our assembler makes of the texts, each at its address, `step` apart; None where it refuses."""
    left = [index for index, text in enumerate(texts) if text]
    while True:
        lines = (f"        ORG 0x{addresses[index]:X}\n        {texts[index]}\n" for index in left)
        try:
            cells = dict(xasm.assemble("".join(lines), target=target).cells())
        except SourceErrors as errors:
            refused = {(diagnostic.line - 1) // 2 for diagnostic in errors.diagnostics}
            assert min(refused) >= 0, str(errors)
            left = [index for place, index in enumerate(left) if place not in refused]
        else:
            own = [range(address, address + step) for address in addresses]
            return [bytes(cells[address] for address in places if address in cells) or None for places in own]


def judged(target: Target, case: Case, text: str, made: bytes | None) -> str | None:
    """What is wrong with the library's answer to a case, or None; `text` is its text in the maker's notation."""
    if case.found is None:
        return "the library has no such code"
    if case.found.length != len(case.code):
        return f"the library takes {case.found.length} bytes for '{case.found.text}'"
    if made is None:
        return f"our assembler refuses '{text}'"
    if not any(code == case.code and (form is case.form or form.alias) for form, code in encodings(target, text, case.address)):
        return f"'{text}' is another instruction: {made.hex(' ').upper()}"
    if made != case.code and len(made) >= len(case.code):  # only a shorter form of the same statement may be preferred
        return f"'{text}' gives {made.hex(' ').upper()}"
    return None


def encodings(target: Target, text: str, address: int) -> Iterator[tuple[Form | None, bytes]]:
    """Every way in which the table can encode a statement: the one that is taken and the longer ones."""
    statement = cut_statement(text)
    variants, leaves, _ = target.variants(statement.operation, parse_operands(statement.operands).nodes)
    for variant in variants:
        try:
            yield variant.form, bytes(encode(variant, leaves, Known(Module()), address))
        except Fault:
            continue


def main_forms(target: Target) -> list[Form]:
    return [form for form in target.forms if not form.alias]


@cache
def all_cases(witness: Witness) -> list[Case]:
    target = load_target(witness.target)
    return put(witness, target, main_forms(target))


def unexplained(witness: Witness, cases: Iterable[Case]) -> list[str]:
    """Wrong answers that are no listed differences."""
    wrong = (case for case in cases if case.wrong and not witness.admits(case.code, case.found))
    return [f"{case.code.hex(' ').upper()} ({case.form.asm}): {case.wrong}" for case in wrong]


@cache
def their_codes(witness: Witness) -> dict[bytes, Decoded]:
    """Every code that the library accepts: behind each opening all values of the next byte, then a few operands."""
    accepted = {}
    for opening in witness.openings:
        for start in opening.codes():
            for byte, tail in itertools.product(range(256), TAILS):
                code = start + bytes([byte]) + tail
                if code[: len(start) + 1] in accepted:
                    continue  # it takes nothing of the tail
                found = witness.library.decode(code, witness.base)
                if found is not None:
                    accepted[code[: found.length]] = found
    return accepted


class Review(NamedTuple):
    """The codes that each of our rows has, the extra codes that occurred, and codes that are in neither."""

    rows: dict[Form, list[bytes]]
    extra: set[Pattern]
    missing: list[str]


def review(witness: Witness, forms: Iterable[Form], accepted: Mapping[bytes, Decoded]) -> Review:
    """Looks up accepted codes in our table, reduced to some of its rows."""
    decoder = Decoder(replace(load_target(witness.target), rows=tuple(forms)))
    found = Review({}, set(), [])
    for code, decoded in accepted.items():
        ours = decoder.decode(code, witness.base)
        if ours is not None and (ours.form.size == len(code) or witness.admits(code[: ours.form.size], decoded)):
            found.rows.setdefault(ours.form, []).append(code)
            continue
        extra = [pattern for pattern in witness.extra if pattern.matches(code)]
        found.extra.update(extra)
        if not extra:
            found.missing.append(f"{code.hex(' ').upper()}: we lack what the library calls '{decoded.text}'")
    return found


@cache
def whole_review(witness: Witness) -> Review:
    return review(witness, load_target(witness.target).forms, their_codes(witness))


@pytest.fixture(scope="module", params=FILES, ids=lambda path: path.stem)
def witness(request: pytest.FixtureRequest) -> Witness:
    return read_witness(request.param.read_text("ascii"))


def test_there_are_witnesses() -> None:
    assert len(FILES) >= 3
    assert {yaml.safe_load(path.read_text("ascii"))["library"] for path in FILES} == set(LIBRARIES)


def test_the_library_reads_our_codes(witness: Witness) -> None:
    target = load_target(witness.target)
    cases = all_cases(witness)
    assert {case.form for case in cases} == set(main_forms(target))
    assert len({opcode(case) for case in cases}) == target.count["opcodes"]
    assert unexplained(witness, cases) == []


def opcode(case: Case) -> tuple[int, ...]:
    """The code of a case up to its last opcode word, operands left out."""
    operands = case.form.code.operands
    return tuple(0 if index in operands else case.code[index] for index in range(opcode_words(case.form)))


def test_we_have_the_codes_of_the_library(witness: Witness) -> None:
    found = whole_review(witness)
    lost = [form.asm for form in main_forms(load_target(witness.target)) if form not in found.rows]
    assert not lost, f"the enumeration never came to {lost}"
    assert found.missing == []
    stale = [pattern.text for pattern in witness.extra if pattern not in found.extra]
    assert not stale, f"the library has no such extra codes: {stale}"


def test_extra_codes_are_not_in_the_table(witness: Witness) -> None:
    """A pattern that is too wide would hide a row that gets lost."""
    cases = all_cases(witness)
    for pattern in witness.extra:
        ours = {case.form.asm for case in cases if pattern.meets(case.code, case.form.code.operands)}
        assert not ours, f"{pattern.text} has codes of ours: {ours}"


def test_differences_still_occur(witness: Witness) -> None:
    assert stale_differences(witness, all_cases(witness)) == []


def stale_differences(witness: Witness, cases: Sequence[Case]) -> list[str]:
    """Differences that do not happen, or whose statement from the book is not that code in our table."""
    stale = []
    for difference in witness.differences:
        alone = replace(witness, differences=[difference])
        mine = [case for case in cases if difference.code.matches(case.code)]
        if not mine or not all(case.wrong and alone.admits(case.code, case.found) for case in mine):
            stale.append(difference.code.text)
        ((_, words),) = xasm.assemble(f"        ORG 0x{witness.base:X}\n        {difference.book}\n", witness.target).spans
        assert difference.code.matches(words), f"{difference.book} is {bytes(words).hex(' ')}"
    return stale


def test_spelling_rules_are_needed(witness: Witness) -> None:
    """Each rule changes a text of the library when its turn comes."""
    texts = {case.found.text for case in all_cases(witness) if case.found}
    assert len(texts) >= len(main_forms(load_target(witness.target)))
    for pattern, replacement in witness.spelling:
        before = texts
        texts = {re.sub(pattern, replacement, text) for text in before}
        assert texts != before, f"nothing to do for {pattern}"


def test_a_wrong_bit_is_noticed(witness: Witness) -> None:
    """One bit of one row turned over in the text of the table: the lowest of the first digit of its code."""
    table = table_source(witness.target)
    own = [form for form in main_forms(load_target(witness.target)) if form.places[""][0].path == table.path]
    assert len(own) >= CHANGED_ROWS
    for number in range(CHANGED_ROWS):
        place = own[number * (len(own) - 1) // (CHANGED_ROWS - 1)].places[""][1]
        lines = list(table.lines)
        before = lines[place - 1]
        lines[place - 1] = re.sub(r'(?<=code: ")([a-z]*)([0-9A-F])', lambda found: f"{found[1]}{int(found[2], 16) ^ 1:X}", before)
        assert lines[place - 1] != before
        source = Source(table.path, "\n".join(lines))
        changed = read_target(source, Report(), table_source)
        row = next(form for form in changed.forms if form.places[""][:2] == (source, place))
        assert unexplained(witness, put(witness, changed, [row])), f"nobody notices {lines[place - 1]}"


def test_a_lost_row_is_noticed(witness: Witness) -> None:
    forms = load_target(witness.target).forms
    rows = whole_review(witness).rows
    assert len(rows) >= CHANGED_ROWS
    for form, found in rows.items():
        accepted = {code: their_codes(witness)[code] for code in found}
        assert len(review(witness, (one for one in forms if one is not form), accepted).missing) == len(found), form.asm


def test_stale_entries_are_noticed(witness: Witness) -> None:
    cases = all_cases(witness)
    case = next(case for case in cases if not case.wrong and len(case.code) == 1)
    assert case.found is not None
    false = Difference(Pattern(case.code.hex()), re.escape(case.found.text), witness.spell(case.found.text), "made up")
    assert stale_differences(replace(witness, differences=[*witness.differences, false]), cases) == [false.code.text]
    nowhere = Pattern("FF FF FF FF FF FF FF")
    more = replace(witness, extra=[*witness.extra, nowhere])
    assert nowhere not in review(more, load_target(witness.target).forms, their_codes(witness)).extra
