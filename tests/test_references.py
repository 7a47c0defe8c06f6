"""Outside witnesses: our tables against general-purpose decoder libraries.

A witness is a file of tests/references; the README there says what stands in it. Two questions are put to it:

- Every opcode of the table, with every register and mode of its operands and with numbers at the edges, is given to the
  library. It must take as many bytes as we do; its text must be read by our assembler as the very row that the bytes came
  from, and give the same bytes again.
- Every code that the library accepts must be in the table, or in the witness's list of extra codes.

Where library and book differ, the witness says so; an entry that no longer happens is an error.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import NamedTuple

import pytest
import yaml

import xasm
from tests.witnesses import LIBRARIES, Decoded, Difference, Pattern, Witness, codes, numbers, read_witness
from xasm.assembly.module import Module
from xasm.assembly.symbols import Known
from xasm.source.diagnostics import Fault, Report, SourceErrors
from xasm.source.files import Place, Source
from xasm.syntax.lines import cut_statement
from xasm.syntax.parser import parse_operands
from xasm.target.check import opcode_words
from xasm.target.decode import Decoder
from xasm.target.encode import encode
from xasm.target.finding import load_target, table_source
from xasm.target.forms import Form
from xasm.target.kinds import NameList, Page
from xasm.target.loader import read_target
from xasm.target.model import Target

FILES = sorted((Path(__file__).parent / "references").glob("*.yaml"))
TAILS = (bytes(6), bytes([0x7F, 0x80] * 3), bytes([0x80, 0x01] * 3), bytes([0xFF] * 6))  # operands behind an opcode
PADDING = bytes(8)  # behind our own codes: a library that wants more than we do can take it
CHANGED_ROWS = 7  # of each table, spread evenly, where a wrong bit must be noticed; and as many modes


class Case(NamedTuple):
    """One instruction of ours: row, code, address, what the library makes of it, and what is wrong with that (or None).
    `instead` is the code that our assembler makes of the library's text where that stands for this code as well."""

    form: Form
    code: bytes
    address: int
    found: Decoded | None
    wrong: str | None = None
    instead: bytes | None = None


def put(witness: Witness, target: Target, forms: Iterable[Form]) -> list[Case]:
    """Every code of some rows, with the library's answers judged. They stand one behind the other; where there is no more room
    the next one stands at the base again."""
    step = max(form.size for form in target.forms)
    room = (target.top - 256 - witness.base) // step
    cases: list[Case] = []
    for form in forms:
        for code in codes(form):
            address = witness.base + len(cases) % room * step
            cases.append(Case(form, code, address, witness.decode(code + PADDING, address)))
    assert cases
    texts = [witness.spell(case.found.text) if case.found else "" for case in cases]
    made: list[bytes | None] = []
    for first in range(0, len(cases), room):
        own = slice(first, first + room)
        made += assembled(target, [case.address for case in cases[own]], texts[own], step)
    return [judged(target, *answer) for answer in zip(cases, texts, made, strict=True)]


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


def judged(target: Target, case: Case, text: str, made: bytes | None) -> Case:
    """The case with what is wrong with the library's answer; `text` is its text in the maker's notation, `made` what our
    assembler makes of that."""
    if case.found is None:
        return case._replace(wrong="the library has no such code")
    if case.found.length != len(case.code):
        return case._replace(wrong=f"the library takes {case.found.length} bytes for '{case.found.text}'")
    if made is None:
        return case._replace(wrong=f"our assembler refuses '{text}'")
    plain = bytes(word & ~ignored for word, ignored in zip(case.code, case.form.code.ignored, strict=True))
    forms = [form for form, code in encodings(target, text, case.address) if code == plain]
    if case.form not in forms and not (any(form.alias for form in forms) and alone(target, case)):
        return case._replace(wrong=f"'{text}' is another instruction: {made.hex(' ').upper()}")
    if made != case.code and len(made) >= len(case.code):  # only a shorter form of the same statement may be preferred
        return case._replace(wrong=f"'{text}' gives {made.hex(' ').upper()}", instead=made)
    return case


def alone(target: Target, case: Case) -> bool:
    """Whether no other row but aliases has the code of a case, so that an alias with this code is one of its row."""
    rivals = tuple(form for form in beginning(target)[case.code[0]] if form is not case.form)
    return Decoder(replace(target, rows=rivals)).decode(case.code, case.address) is None


@cache
def beginning(target: Target) -> dict[int, list[Form]]:
    """The rows, but aliases, whose codes can begin with each byte."""
    found: dict[int, list[Form]] = {byte: [] for byte in range(256)}
    for form in main_forms(target):
        for byte in range(256):
            if byte & form.code.masks[0] == form.code.match[0]:
                found[byte].append(form)
    return found


def encodings(target: Target, text: str, address: int) -> Iterator[tuple[Form, bytes]]:
    """Every way in which the table can encode a statement: the one that is taken and the longer ones."""
    statement = cut_statement(text)
    variants, leaves, _ = target.variants(statement.operation, parse_operands(statement.operands).nodes)
    for variant in variants:
        assert variant.form is not None
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


def admits(difference: Difference, case: Case) -> bool:
    """Whether the library's answer for a code of ours is a listed difference."""
    if case.found is None or not difference.fits(case.code, case.found, case.address):
        return False
    if not difference.ours:
        return case.instead is None
    return case.instead is not None and any(pattern.matches(case.instead) for pattern in difference.ours)


def unexplained(witness: Witness, cases: Iterable[Case]) -> list[str]:
    """Wrong answers that are no listed differences."""
    wrong = (case for case in cases if case.wrong and not any(admits(difference, case) for difference in witness.differences))
    return [f"{case.code.hex(' ').upper()} ({case.form.asm}): {case.wrong}" for case in wrong]


@cache
def their_codes(witness: Witness) -> dict[bytes, Decoded]:
    """Every code that the library accepts: behind each opening all values of the next byte, then a few operands."""
    accepted = {}
    for opening in witness.openings:
        for start in opening.codes():
            for byte, tail in itertools.product(range(256), TAILS):
                code = start + bytes([byte]) + tail
                if any(code[:length] in accepted for length in range(1, len(start) + 2)):
                    continue  # it takes nothing of the tail, or not even of the start
                found = witness.decode(code, witness.base)
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
        if ours is not None and (
            ours.form.size == len(code)
            or any(difference.fits(code[: ours.form.size], decoded, witness.base) for difference in witness.differences)
        ):
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
    data = [yaml.safe_load(path.read_text("ascii")) for path in FILES]
    assert {one["library"] for one in data} == set(LIBRARIES)
    kinds = [kind for one in data for kind in load_target(one["target"]).kinds.values()]
    assert any(isinstance(kind, NameList) for kind in kinds)
    assert any(isinstance(kind, Page) and kind.page is None for kind in kinds)
    assert any(load_target(one["target"]).modes for one in data)


def test_a_name_without_use_is_noticed() -> None:
    for path in FILES:
        data = yaml.safe_load(path.read_text("ascii"))
        data["names"] = data.get("names", {}) | {"idle": ["00"]}
        with pytest.raises(AssertionError, match="idle"):
            read_witness(yaml.safe_dump(data))


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
    free = {form: numbers(form) for form in main_forms(load_target(witness.target))}
    for pattern in witness.extra:
        ours = {case.form.asm for case in cases if pattern.meets(case.code, free[case.form])}
        assert not ours, f"{pattern.text} has codes of ours: {ours}"


def test_differences_still_occur(witness: Witness) -> None:
    assert stale_differences(witness, all_cases(witness)) == []


def stale_differences(witness: Witness, cases: Sequence[Case]) -> list[str]:
    """Differences that do not happen, or whose statement from the book is not that code in our table."""
    stale = []
    for difference in witness.differences:
        for pattern in difference.codes:
            mine = [case for case in cases if pattern.matches(case.code)]
            if not mine or not all(case.wrong and admits(difference, case) for case in mine):
                stale.append(pattern.text)
        found = {case.instead for case in cases if case.instead is not None and admits(difference, case)}
        stale += [pattern.text for pattern in difference.ours if not any(map(pattern.matches, found))]
        ((_, words),) = xasm.assemble(f"        ORG 0x{witness.base:X}\n        {difference.book}\n", witness.target).spans
        expected = difference.ours or difference.codes
        assert any(pattern.matches(words) for pattern in expected), f"{difference.book} is {bytes(words).hex(' ')}"
    return stale


def test_spelling_rules_are_needed(witness: Witness) -> None:
    """Each rule changes a text of the library when its turn comes."""
    texts = {case.found.text for case in all_cases(witness) if case.found}
    assert len(texts) >= len(main_forms(load_target(witness.target)))
    for pattern, replacement in witness.spelling:
        before = texts
        texts = {re.sub(pattern, replacement, text) for text in before}
        assert texts != before, f"nothing to do for {pattern}"


def test_nothing_is_an_answer(witness: Witness) -> None:
    """Where a library has a text for bytes that begin no instruction, it gives it; and to none of ours."""
    found = [witness.library.decode(bytes([byte]) + PADDING, witness.base) for byte in range(256)]
    texts = [answer.text for answer in found if answer is not None]
    assert not witness.nothing or any(re.fullmatch(witness.nothing, text) for text in texts)
    case = all_cases(witness)[0]
    assert case.found is not None
    silent = replace(witness, nothing=re.escape(case.found.text))
    assert unexplained(silent, put(silent, load_target(witness.target), [case.form]))


def test_a_wrong_bit_is_noticed(witness: Witness) -> None:
    """One bit of one row turned over in the text of the table: the lowest of the first digit of its code."""
    own = [form.places[""] for form in main_forms(load_target(witness.target))]
    turn_over(witness, own, r'(?<=code: ")([a-z]*)([0-9A-F])', CHANGED_ROWS)


def test_a_wrong_bit_of_a_mode_is_noticed(witness: Witness) -> None:
    """The same with modes: the last bit that is fixed in their first word."""
    own = [mode.places[""] for form in main_forms(load_target(witness.target)) for mode in form.chosen]
    turn_over(witness, own, r'(?<=code: ")([01a-z-]*)([01])(?=[a-z-]*[" ])', CHANGED_ROWS if own else 0)


def turn_over(witness: Witness, places: Iterable[Place], digit: str, count: int) -> None:
    """Turns over one bit in each of some lines of the table, spread evenly, which the library must notice."""
    table = table_source(witness.target)
    own = [place[1] for place in dict.fromkeys(places) if place[0].path == table.path]
    own = [number for number in own if re.search(digit, table.lines[number - 1])]
    assert len(own) >= count
    for number in dict.fromkeys(own[index * (len(own) - 1) // (count - 1)] for index in range(count)):
        lines = list(table.lines)
        lines[number - 1] = re.sub(digit, lambda found: f"{found[1]}{int(found[2], 16) ^ 1:X}", lines[number - 1])
        assert lines[number - 1] != table.lines[number - 1]
        source = Source(table.path, "\n".join(lines))
        changed = read_target(source, Report(), table_source)
        form = next(
            form
            for form in main_forms(changed)
            if (source, number) in (form.places[""][:2], *(mode.places[""][:2] for mode in form.chosen))
        )
        assert unexplained(witness, put(witness, changed, [form])), f"nobody notices {lines[number - 1]}"


def test_a_lost_row_is_noticed(witness: Witness) -> None:
    rows = whole_review(witness).rows
    assert len(rows) >= CHANGED_ROWS
    begin = beginning(load_target(witness.target))
    for form, found in rows.items():
        accepted = {code: their_codes(witness)[code] for code in found}
        rivals = dict.fromkeys(one for byte in {code[0] for code in found} for one in begin[byte] if one is not form)
        assert len(review(witness, rivals, accepted).missing) == len(found), form.asm


def test_a_wrong_page_is_noticed(witness: Witness) -> None:
    """Where a row reaches the page of some address, the library agrees on the page at its borders; and not on any other."""
    target = load_target(witness.target)
    for form in main_forms(target):
        for name, kind in form.fields.items():
            if not isinstance(kind, Page) or kind.page is not None:
                continue
            border = (witness.base >> kind.bits) + 1 << kind.bits
            slot = form.code.slots[name][0].word
            theirs = replace(kind, origin=witness.page or kind.origin)
            bases = range(border - form.size - 1, border + 1)
            agreed = [base for base in bases if theirs.own(base, form.size, slot) == kind.own(base, form.size, slot)]
            assert (len(agreed) == len(bases)) == (theirs == kind), "the witness's page is that of the table"
            for base in bases:
                found = unexplained(witness, put(replace(witness, base=base), target, [form])[:1])
                assert (found == []) == (base in agreed)
            wrong = replace(form, fields=form.fields | {name: replace(kind, origin="self")})
            changed = replace(target, rows=(wrong,))
            assert unexplained(witness, put(replace(witness, base=border - 1), changed, [wrong])[:1])


def test_stale_entries_are_noticed(witness: Witness) -> None:
    cases = all_cases(witness)
    case = next(case for case in cases if not case.wrong and len(case.code) == 1)
    assert case.found is not None
    false = Difference((Pattern(case.code.hex()),), re.escape(case.found.text), witness.spell(case.found.text), "made up")
    assert stale_differences(replace(witness, differences=[*witness.differences, false]), cases) == [case.code.hex()]
    nowhere = Pattern("FF FF FF FF FF FF FF")
    more = replace(witness, extra=(*witness.extra, nowhere))
    assert nowhere not in review(more, load_target(witness.target).forms, their_codes(witness)).extra


def test_an_entry_is_no_wider_than_what_happens(witness: Witness) -> None:
    """Each entry is needed: without it something is wrong. One with a code too many is stale."""
    cases = all_cases(witness)
    fine = Pattern(next(case.code.hex(" ") for case in cases if not case.wrong and len(case.code) == 1))
    for difference in witness.differences:
        others = [other for other in witness.differences if other is not difference]
        assert unexplained(replace(witness, differences=others), cases), difference.why
        wider = replace(difference, codes=(*difference.codes, fine))
        assert fine.text in stale_differences(replace(witness, differences=[wider]), cases)
        if difference.ours:  # the library's text must stand for the code; a plain entry does not do, nor does another code
            for changed in (replace(difference, ours=()), replace(difference, ours=(fine,))):
                assert unexplained(replace(witness, differences=[*others, changed]), cases)
