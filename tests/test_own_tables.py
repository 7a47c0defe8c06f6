"""Tables of one's own: named by their path, or found by name in a folder that an option or a variable names."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

import xasm
from tests.invented import BRANCHES, table
from tests.test_cli import Ran, run
from tests.test_target_new import says
from xasm.source.diagnostics import Fault, SourceErrors
from xasm.target.finding import VARIABLE, known_tables, load_target, table_paths

SHIPPED = next(iter(table_paths()))
OWN = table(BRANCHES, "my-chip")
SOURCE = "here:   BR here\n"
EXTENDING = (
    'extends: "{}"\nname: "{}"\ntitle: Another invented chip\n'
    'book: [{{title: "n", edition: "n", read: "n"}}]\ncount: {{mnemonics: 0, opcodes: 0}}\n'
)


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a source, and one of tables in it."""
    monkeypatch.delenv(VARIABLE, raising=False)
    monkeypatch.chdir(tmp_path)
    (tmp_path / "own").mkdir()
    (tmp_path / "own" / "my-chip.yaml").write_text(OWN)
    (tmp_path / "prog.asm").write_text(SOURCE)
    return tmp_path


def code(target: str) -> bytes:
    return bytes(xasm.assemble(SOURCE, target).spans[0][1])


@pytest.mark.parametrize("name", ["own/my-chip.yaml", "./own/my-chip.yaml", "own/my-chip"])
def test_a_table_by_its_path(name: str) -> None:
    assert code(name) == b"\x01\xfe"


def test_a_table_by_its_name_in_a_folder(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(Fault, match="there is no chip 'my-chip'"):
        load_target("my-chip")
    chip = load_target("My-Chip", own=["own"])
    assert chip.name == "my-chip"
    assert list(known_tables(["own"])) == sorted([*table_paths(), "my-chip"])
    monkeypatch.setenv(VARIABLE, os.pathsep.join([".", "own"]))
    assert code("my-chip") == b"\x01\xfe"
    assert list(known_tables()) == sorted([*table_paths(), "my-chip"])
    assert "my-chip" not in table_paths()


def test_other_names_of_an_own_table() -> None:
    Path("own/my-chip.yaml").write_text('also: ["mc1"]\n' + OWN.lstrip())
    assert load_target("MC1", own=["own"]) is load_target("my-chip", own=["own"])
    with pytest.raises(Fault, match="there is no chip") as caught:
        load_target("mc2", own=["own"])
    assert str(caught.value.hint).startswith("did you mean mc1")


def test_an_own_table_takes_the_place_of_a_shipped_one() -> None:
    Path(f"own/{SHIPPED}.yaml").write_text(table(BRANCHES, SHIPPED))
    own = load_target(SHIPPED, own=["own"])
    assert own.title == "An invented chip for tests" != load_target(SHIPPED).title


def test_a_table_that_changes_is_read_again() -> None:
    first = load_target("own/my-chip.yaml")
    assert load_target("own/my-chip.yaml") is first
    Path("own/my-chip.yaml").write_text(OWN.replace("BR t", "LEAP t"))
    assert "LEAP" in load_target("own/my-chip.yaml").mnemonics


def test_what_an_own_table_extends_is_looked_for_beside_it_first() -> None:
    Path("own/second.yaml").write_text(EXTENDING.format("my-chip", "second"))
    Path("own/third.yaml").write_text(EXTENDING.format("second.yaml", "third"))
    assert code("own/third.yaml") == b"\x01\xfe"
    Path("own/fourth.yaml").write_text(EXTENDING.format(SHIPPED, "fourth"))
    assert load_target("fourth", own=["own"]).rows != ()
    Path("elsewhere").mkdir()
    Path("elsewhere/fifth.yaml").write_text(EXTENDING.format("my-chip", "fifth"))
    assert load_target("elsewhere/fifth.yaml", own=["own"]).name == "fifth"
    with pytest.raises(SourceErrors, match=r"elsewhere/fifth\.yaml:1:10: error: there is no chip 'my-chip'"):
        load_target("elsewhere/fifth.yaml")


def test_a_table_may_bear_the_name_of_what_it_extends() -> None:
    Path(f"own/{SHIPPED}.yaml").write_text(EXTENDING.format(SHIPPED, SHIPPED))
    chip = load_target(SHIPPED, own=["own"])
    assert (chip.title, chip.rows[0].asm) == ("Another invented chip", load_target(SHIPPED).rows[0].asm)


@pytest.mark.parametrize("name", ["my-chip", "other.yaml"])
def test_tables_that_extend_each_other(name: str) -> None:
    Path("own/my-chip.yaml").write_text(EXTENDING.format("other", "my-chip"))
    Path("own/other.yaml").write_text(EXTENDING.format(name, "other"))
    with pytest.raises(SourceErrors, match="extends itself"):
        load_target("own/my-chip.yaml")


# the commands


def listing(ran: Ran) -> str:
    assert (ran.code, ran.said) == (0, "")
    return ran.shown


def test_the_commands_take_paths_and_folders(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    by_path = listing(run(folder, "build", "prog.asm", "-t", "own/my-chip.yaml", "-o", "-"))
    assert "0000     01 FE" in by_path
    assert listing(run(folder, "build", "prog.asm", "-t", "my-chip", "--tables", "own", "-o", "-")) == by_path
    assert "STOP" in listing(run(folder, "target", "show", "own/my-chip.yaml"))
    card = listing(run(folder, "target", "show", "my-chip", "--tables", "own"))
    assert "my-chip" not in listing(run(folder, "target", "list"))
    assert "my-chip" in listing(run(folder, "target", "list", "--tables", "own"))
    monkeypatch.setenv(VARIABLE, str(folder / "own"))
    (folder / "prog.asm").write_text("        TARGET my-chip\n" + SOURCE)
    assert "0000     01 FE" in listing(run(folder, "build", "prog.asm", "-o", "-"))
    assert listing(run(folder, "target", "show", "my-chip")) == card


def test_a_source_may_name_the_chip_whose_table_is_given(folder: Path) -> None:
    (folder / "prog.asm").write_text("        TARGET MY-CHIP\n" + SOURCE)
    assert run(folder, "build", "prog.asm", "-t", "own/my-chip.yaml").code == 0
    (folder / "prog.asm").write_text('        TARGET "own/my-chip.yaml"\n' + SOURCE)
    assert run(folder, "build", "prog.asm", "-t", "own/my-chip.yaml").code == 0
    assert run(folder, "build", "prog.asm", "--tables", "own", "-t", "my-chip").code == 0
    assert f"the chip is '{SHIPPED}' already" in run(folder, "build", "prog.asm", "-t", SHIPPED).said


def test_first_programs_and_the_bus_of_an_own_chip(folder: Path) -> None:
    starting = OWN + "starters:\n  halt: |\n    start:  BR start\n"
    (folder / "own" / "my-chip.yaml").write_text(starting)
    own = ("--tables", "own", "-t", "my-chip")
    ran = run(folder, "starter", "halt", *own, "-o", "first.asm")
    assert (ran.code, ran.said) == (0, "first.asm: halt for the my-chip; next: xasm expect first.asm --tables own\n")
    ran = run(folder, "starter", "halt", "-t", "own/my-chip.yaml", "-o", "again.asm")
    assert (ran.code, ran.said) == (0, "again.asm: halt for the my-chip; next: xasm expect again.asm -t own/my-chip.yaml\n")
    assert (folder / "first.asm").read_text() == (folder / "again.asm").read_text()
    shown = listing(run(folder, "expect", "first.asm", "--tables", "own"))
    assert "0000 0001 for ever" in shown
    assert listing(run(folder, "expect", "again.asm", "-t", "own/my-chip.yaml")) == shown
    assert run(folder, "build", "first.asm", "--tables", "own", "-o", "first.hex").code == 0
    assert listing(run(folder, "expect", "first.hex", *own)) == shown.replace("start: BR", "BR")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["-t", "none.yaml"], "error: cannot read 'none.yaml': no such file or directory\n"),
        (["-t", "own/"], "error: cannot read 'own': is a directory\n"),
        (["-t", "x", "--tables", "none"], "error: there is no folder 'none' of tables\n"),
    ],
)
def test_what_is_not_there(words: list[str], said: str, folder: Path) -> None:
    assert says("no_table_folder" if "--tables" in words else "cannot_read", said)
    assert run(folder, "build", "prog.asm", *words) == Ran(2, "", said)


def test_hints_at_what_was_meant(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (folder / "mine.yaml").write_text(OWN)
    ran = run(folder, "build", "prog.asm", "-t", "mine")
    assert ran.said.startswith("error: there is no chip 'mine'\n    did you mean the table mine.yaml? there are: ")
    monkeypatch.setenv(VARIABLE, "gone")
    ran = run(folder, "target", "list")
    assert ran == Ran(2, "", f"error: there is no folder 'gone' of tables\n    the environment variable {VARIABLE} names it\n")


def test_a_table_with_mistakes_keeps_no_other_from_the_list(folder: Path) -> None:
    (folder / "own" / "bad.yaml").write_text(OWN.replace("word: 8", "word: eight"))
    (folder / "own" / "worse.yaml").write_bytes(b"\xff")
    ran = run(folder, "target", "list", "--tables", "own")
    assert ran.code == 1
    assert "my-chip" in ran.shown and SHIPPED in ran.shown
    assert [line.partition(": error")[0] for line in ran.said.split("\n") if ": error" in line] == [
        "own/bad.yaml:6:7",
        "own/worse.yaml:1:1",
    ]
