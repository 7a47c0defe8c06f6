"""A chip may have an instruction of a directive's name: programs get the instruction, and the table says what the directive is
called then."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.invented import table
from tests.test_cli import run
from tests.test_table_mistakes import means
from xasm.building import assemble
from xasm.linking.image import Image

KINDS = """
kinds:
  cell: {number: 4, min: 0}
forms:
  - {asm: "DS r",   code: "0011rrrr", r: cell, cycles: 1, flow: next}
  - {asm: "STAY",   code: "00",       cycles: 1, flow: halt}
"""
NAMED = "directives: {RESERVE: DS, FILE: EMBED}"


def toy(head: str = "", forms: str = KINDS) -> str:
    return table(f"{head}{forms}", "toy", mnemonics=2, opcodes=17)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "toy.yaml").write_text(toy(NAMED))
    return tmp_path


def words(folder: Path, text: str) -> Image:
    return assemble(text, str(folder / "toy.yaml"))


def test_the_instruction_wins_and_the_directive_has_its_other_name(folder: Path) -> None:
    image = words(folder, "here:   ds 3\nDS 4\n        RESERVE 2\n        STAY\n        DB 1\n")
    assert image.spans == [(0, b"\x33\x34"), (4, b"\x00\x01")]
    assert image.symbols == {"here": 0}


def test_recovered_source_has_the_other_name_too(folder: Path) -> None:
    (folder / "old.bin").write_bytes(b"\x33\x34\x00" + bytes(20))
    assert run(folder, "recover", "old.bin", "-t", "toy.yaml", "--at", "0", "-o", "back.asm").code == 0
    source = (folder / "back.asm").read_text()
    assert "DS 3" in source and "RESERVE 20, 0x00" in source
    (folder / "typed.txt").write_text("0000 33 DS 3\n0001 34 DS 5\n0002 00 STAY\n")
    ran = run(folder, "recover", "typed.txt", "-t", "toy.yaml", "-o", "back.asm")
    assert "34 at 0x0001 is DS 4; typed beside it: DS 5" in ran.said


def test_check_has_nothing_against_it(folder: Path) -> None:
    ran = run(folder, "target", "check", "toy.yaml")
    assert ran.code == 0
    assert "directive" not in ran.said


@pytest.mark.parametrize(
    ("code", "text", "said"),
    [
        (
            "table_mnemonic_directive",
            toy(),
            """\
toy.yaml:17:11: error: DS is a directive too; the instruction is what programs get, and no name is left for the directive
      - {asm: "DS r",   code: "0011rrrr", r: cell, cycles: 1, flow: next}
              ^
    give it one in the table, as in: directives: {OURDS: DS}
""",
        ),
        (
            "table_mnemonic_makers",
            toy("directives: {STAY: DW, RESERVE: DS}"),
            """\
toy.yaml:18:11: error: STAY is an instruction, and 'directives' makes it another name of DW: it can be one of the two
      - {asm: "STAY",   code: "00",       cycles: 1, flow: halt}
              ^
""",
        ),
        (
            "table_mnemonic_ours",
            toy(NAMED, KINDS.replace("STAY", "ELSE")),
            """\
toy.yaml:18:11: error: no instruction can be called ELSE: the word opens, closes or parts what is read before any instruction
      - {asm: "ELSE",   code: "00",       cycles: 1, flow: halt}
              ^
""",
        ),
        (
            "table_directive_unknown",
            toy(NAMED.replace("EMBED", "EMBAD")),
            """\
toy.yaml:13:1: error: 'FILE' stands for 'EMBAD', which is no directive; they are: ORG, EQU,""",
        ),
    ],
)
def test_what_a_table_leaves_unsaid(folder: Path, code: str, text: str, said: str) -> None:
    (folder / "toy.yaml").write_text(text)
    ran = run(folder, "target", "check", "toy.yaml")
    assert ran.code == 1
    assert said in ran.said and means(code, ran.said)
    assert ran.said.count("error:") == 1
