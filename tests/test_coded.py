"""CODED: which of its codes an instruction has."""

from __future__ import annotations

from pathlib import Path

import pytest

import xasm
from tests.invented import IGNORING, chip
from tests.test_cli import run
from xasm.target.decode import Decoder
from xasm.target.finding import load_target, table_paths

CODES = (
    IGNORING.replace("kinds:\n", "kinds:\n  cell: {number: 2, min: 0}\n")
    + """\
  - {asm: "TURN r", code: "0001--rr", r: cell, cycles: 1}
  - {asm: "TURN r", code: "20 0000--rr", r: cell, cycles: 1}
"""
)
CHIP = chip(CODES)


def said(source: str) -> tuple[list[str], list[str | None]]:
    """Place and text of every message, and the hints."""
    with pytest.raises(xasm.SourceErrors) as caught:
        xasm.assemble(source, CHIP)
    found = caught.value.diagnostics
    return [f"{one.line}:{one.column}: {one.message}" for one in found], [one.hint for one in found]


def code(source: str) -> bytes:
    (span,) = xasm.assemble(source, CHIP).spans
    return span[1]


@pytest.mark.parametrize(
    ("source", "words"),
    [
        ("here: BR here", "01 FE"),
        ("here: CODED 2: BR here", "02 00 00"),
        ("here: CODED 0x02 : BR here", "02 00 00"),
        (" coded two: br here\ntwo EQU 2\nhere:", ""),
        ("two EQU 2\nhere CODED two: BR here", "02 00 00"),
        (" CODED 4: LD 0x12\n LD 0x12", "04 12 00 03 12"),
        (" CODED 4: LD last\nlast: STOP", "04 03 00 00"),
        (" CODED 1: STOP\n CODED 0: STOP\n STOP", "01 00 00"),
        (" CODED 0x1C: TURN 2\n TURN 2", "1E 12"),  # bits that the chip ignores are taken, those of the operand are not
        (" CODED 0x1F: TURN 2", "1E"),
        (" CODED 0x20: TURN 2", "20 02"),
        (" CODED 0x20, 0x0C: TURN 2", "20 0E"),
        ("LONG MACRO what\n CODED 4: LD {what}\n ENDM\n LONG 5\n LONG 6", "04 05 00 04 06 00"),
        ("STOP MACRO INSTEAD\n CODED 1: STOP\n ENDM\n STOP", "01"),
        ("a := 1\n CODED 4: LD a\na := 2\n CODED 4: LD a", "04 01 00 04 02 00"),
    ],
)
def test_the_code_that_is_said(source: str, words: str) -> None:
    if words:
        assert code(source) == bytes.fromhex(words)
    else:
        assert said(source)[0] == ["1:8: CODED needs a value that is known here; 'two' is not yet"]


def test_long_codes_push_what_follows() -> None:
    far = "here: CODED 4: LD 0\n" + " CODED 4: LD 0\n" * 43 + " BR here\n"
    assert code(far)[-3:] == bytes.fromhex("02 00 00")
    assert code(far.replace("CODED 4: ", ""))[-2:] == bytes.fromhex("01 A6")


@pytest.mark.parametrize(
    ("source", "text", "hint"),
    [
        (" CODED 3: LD 0x1234", "1:14: 4660 (0x1234) does not fit; the range is 0x0..0xFF", None),
        (" CODED 5: LD 1", "1:11: no form of LD with these operands begins with 05", "LD a is 03 <a>; LD a is 04 <a>"),
        (
            " CODED 0x20, 0x80: TURN 1",
            "1:20: no form of TURN with these operands begins with 20 80",
            "TURN r is 0001--rr; TURN r is 20 0000--rr",
        ),
        (" CODED 0, 0: STOP", "1:14: no form of STOP with these operands begins with 00 00", "STOP is 0000000-"),
        (" CODED 256: STOP", "1:8: 256 (0x100) does not fit; the range is 0..0xFF", None),
        (" CODED -1: STOP", "1:8: -1 does not fit; the range is 0..0xFF", None),
        (" CODED 1: STOP 5", "1:16: STOP takes nothing after it", None),
        (
            " CODED 1: DB 5",
            "1:11: 'DB' is no instruction of the test-chip, and only those have codes",
            "a macro or directive cannot stand here",
        ),
        (" CODED 1: WAIT", "1:11: 'WAIT' is no instruction of the test-chip, and only those have codes", None),
        (" CODED 1: 7", "1:11: '7' cannot stand here", "an instruction or a directive begins with a letter"),
        (" CODED 1:", "1:2: CODED needs the first word of the code and an instruction, as in CODED 0xAD: ...", None),
        (" CODED 1 STOP", "1:2: CODED needs the first word of the code and an instruction, as in CODED 0xAD: ...", None),
        (" CODED 4: LD nowhere", "1:14: 'nowhere' is not defined", None),
        (" CODED 4 5: LD 1", "1:10: '5' cannot stand here", "is a comma missing in front of it?"),
    ],
)
def test_what_cannot_be(source: str, text: str, hint: str | None) -> None:
    assert said(source) == ([text], [hint])


def test_modules_keep_it(tmp_path: Path) -> None:
    source = "        TARGET 6502\n        EXTERN lamp\n        CODED 0xAD: LDA lamp\n        LDA lamp\n"
    (tmp_path / "one.asm").write_text(source)
    (tmp_path / "two.asm").write_text("        TARGET 6502\n        PUBLIC lamp\nlamp    EQU 0x80\n")
    assert run(tmp_path, "assemble", "one.asm", "two.asm").code == 0
    assert run(tmp_path, "link", "one.xo", "two.xo", "-o", "linked.bin").code == 0
    assert (tmp_path / "linked.bin").read_bytes() == bytes.fromhex("AD 80 00 A5 80")


@pytest.mark.parametrize("name", table_paths())
def test_every_first_word_of_the_shipped_chips_can_be_said(name: str) -> None:
    """Each first word that begins an instruction, said with its own text, comes back."""
    target = load_target(name)
    decoder = Decoder(target)
    longest = max(form.size for form in target.forms)
    seen = 0
    for first in range(1 << target.word):
        found = decoder.decode((first, *[0x01] * (longest - 1)), 0x20)
        if found is None or found.form.undocumented:
            continue
        text = f"        ORG 0x20\n        CODED 0x{target.hex_word(first)}: {found.text}\n"
        (span,) = xasm.assemble(text, target).spans
        assert span[1][0] == first, text
        seen += 1
    assert seen > 40
