"""Recovered instructions against general-purpose decoder libraries: the same opcode and operands, whatever the spelling.

The witnesses are those of tests/references, and what they differ in is written there. Here every code is decoded as for a
recovered line of source, and the library's text for the same code must stand for the same row with the same values.
"""

from __future__ import annotations

import pytest

from tests.test_references import FILES, Case, all_cases, encodings
from tests.witnesses import Witness, read_witness
from xasm.recovery.exact import Disassembler
from xasm.target.finding import load_target
from xasm.target.model import Target


@pytest.fixture(scope="module", params=FILES, ids=lambda path: path.stem)
def witness(request: pytest.FixtureRequest) -> Witness:
    return read_witness(request.param.read_text("ascii"))


def agreed(witness: Witness) -> list[Case]:
    """The codes about which library and book agree."""
    return [case for case in all_cases(witness) if case.wrong is None and case.found is not None]


def disagreement(witness: Witness, target: Target, disassembler: Disassembler, case: Case) -> str:
    """What is wrong with our text of a code, held against the library's; "" for nothing."""
    assert case.found is not None
    ours = disassembler.at(case.address, tuple(case.code))
    if ours is None:
        return f"{case.code.hex(' ')}: no instruction; the library has {case.found.text}"
    if len(ours.words) != case.found.length:
        return f"{case.code.hex(' ')}: {ours.instruction.text} has another length than {case.found.text}"
    plain = bytes(word & ~ignored for word, ignored in zip(case.code, ours.form.code.ignored, strict=True))
    if any(
        code == plain and (form is ours.form or form.alias)
        for form, code in encodings(target, witness.spell(case.found.text), case.address)
    ):
        return ""
    return f"{case.code.hex(' ')}: {ours.instruction.text} is not {case.found.text}"


def test_the_library_reads_the_same(witness: Witness) -> None:
    target = load_target(witness.target)
    disassembler = Disassembler(target)
    cases = agreed(witness)
    assert len({case.form for case in cases}) * 10 > 9 * len([form for form in target.forms if not form.alias])
    wrong = [text for case in cases if (text := disagreement(witness, target, disassembler, case))]
    assert wrong == []


def test_another_text_is_noticed(witness: Witness) -> None:
    target = load_target(witness.target)
    disassembler = Disassembler(target)
    cases = agreed(witness)
    one = cases[len(cases) // 3]
    other = next(case for case in reversed(cases) if case.form.mnemonic != one.form.mnemonic and len(case.code) == len(one.code))
    assert disagreement(witness, target, disassembler, replace_found(one, other))


def replace_found(case: Case, other: Case) -> Case:
    assert case.found is not None and other.found is not None
    return case._replace(found=other.found)


def test_the_comparison_is_about_chips_with_a_library() -> None:
    assert len({load_target(read_witness(path.read_text("ascii")).target).name for path in FILES}) >= 4
