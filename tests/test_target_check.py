"""`xasm target check`: each thing that it says of a table that can be read, with the whole message."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.books import books
from tests.invented import BRANCHES, table
from tests.test_book import AGREED
from tests.test_cli import Ran, run
from tests.test_table_mistakes import TABLE, Mistake, from_file, means
from tests.test_undocumented import AGREED as UNLISTED
from tests.test_undocumented import HIDDEN
from xasm.source.diagnostics import Report, SourceErrors, render_all
from xasm.source.files import Source
from xasm.source.messages import CATALOGUE
from xasm.target.bookvalues import read_book
from xasm.target.finding import load_target, table_paths
from xasm.target.loader import read_target
from xasm.target.review import review

FILE = Path(__file__).parent / "check_mistakes.txt"
UNDEFINED = 'undefined: ["01..3F", "44..5F", "64..7F", "90..BF", "C1..FF"]'
TOY = TABLE.replace("conventions", f"{UNDEFINED}\nconventions")
HIDING = HIDDEN.replace(
    "conventions",
    'undefined: ["01", "04..3F", "44..5F", "64..6F", "74..7F", "90..BF", "C1..EF", "F1", "F4..FF"]\nconventions',
)
TEXTS = {"toy.yaml": TOY, "toy.txt": AGREED, "hidden.txt": UNLISTED}
# What only a decoder or an encoder with a defect brings about (test_tables.py has such), and what two forms of one statement need.
ELSEWHERE = {"check_not_made", "check_decoded", "check_refused", "check_odd", "book_read_again"}
MISTAKES = list(from_file(FILE, TEXTS))


def reviewed(table: str, book: str | None = None, path: str = "toy.txt") -> str:
    """All that is said of a table, with a book of that name if there is one."""
    report = Report()
    try:
        values = [read_book(Source(path, book), report)] if book is not None else []
        review(read_target(Source("toy.yaml", table), report), report, values)
    except SourceErrors:
        pass
    return render_all(report.sorted())


def said(mistake: Mistake) -> str:
    if mistake.path == "toy.yaml":
        return reviewed(mistake.text)
    return reviewed(HIDING if mistake.path == "hidden.txt" else TOY, mistake.text, mistake.path)


def test_a_table_with_nothing_wrong() -> None:
    assert reviewed(TOY) == ""
    assert reviewed(TOY, AGREED) == ""
    assert reviewed(HIDING, UNLISTED) == ""


@pytest.mark.parametrize("mistake", MISTAKES, ids=[f"{mistake.code}-{mistake.line}" for mistake in MISTAKES])
def test_mistake(mistake: Mistake) -> None:
    assert said(mistake) == mistake.printed
    assert means(mistake.code, mistake.printed)


def test_every_message_is_met() -> None:
    codes = {code for code in CATALOGUE if code.startswith(("check_", "book_"))}
    assert len(codes) > 15
    assert codes - ELSEWHERE == {mistake.code for mistake in MISTAKES if not mistake.code.startswith("table_")}
    assert codes >= ELSEWHERE


def test_a_letter_that_means_something_else_once() -> None:
    rows = [f'{{asm: "PUT{number} #d", code: "D{number} <d>", d: data, cycles: 2, flow: next}}' for number in range(3)]
    text = TOY.replace("data: {number: 8}", "data: {number: 8}\n  byte: {unsigned: 8}")
    text += "".join(f"  - {row}\n" for row in rows)
    assert "is of kind" not in reviewed(text)
    found = reviewed(text.replace('"D1 <d>", d: data', '"D1 <d>", d: byte'))
    assert "warning: field 'd' is of kind 'byte' here only; 3 others of that letter are of kind 'data'" in found


def test_words_of_a_longer_form_than_the_table_takes() -> None:
    chip = table(BRANCHES, "toy").replace('STOP",', 'STOP", ')
    found = reviewed(chip, "source: none\n04 12 00 | 3 | LD 0x12\n").split("\n")
    assert "toy.txt:2:1: error: the book has 04 12 00 here, the table 03 12" in found
    assert "toy.txt:2:1: error: the table reads 04 12 00 as 'LD 0x0012', and makes 03 12 of that" in found


def with_row(row: str, last: str = '"C1..FF"') -> str:
    """The table with one row more; `last` are the last words that begin no instruction."""
    return TOY.replace('"C1..FF"', last) + f"  - {row}\n"


def test_undocumented_rows_are_tried_too() -> None:
    rest = '"C1..C3", "C8..FF"'
    assert reviewed(with_row('{asm: "HIDE r", code: "110001rr", r: cell, undocumented: true, cycles: 2, flow: next}', rest)) == ""
    # a further code of a row that is written the same
    assert reviewed(with_row('{asm: "GROW r", code: "110001rr", r: cell, undocumented: true, cycles: 2, flow: next}', rest)) == ""
    found = reviewed(with_row('{asm: "GROW e", code: "110001ee", e: cell, undocumented: true, cycles: 2, flow: next}', rest))
    assert "toy.yaml:23:11: error: 'GROW e' is never chosen" in found


@pytest.mark.parametrize("name", table_paths())
def test_the_shipped_tables_leave_nothing_to_say(name: str) -> None:
    report = Report()
    found = review(load_target(name), report, books(name))
    assert found.statements > 200 < found.values
    assert render_all(diagnostic for diagnostic in report.sorted() if diagnostic.code != "check_undefined") == ""


# the command


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "toy.yaml").write_text(TOY)
    (tmp_path / "toy.txt").write_text(AGREED)
    return tmp_path


def test_the_command_says_what_it_has_looked_at(folder: Path) -> None:
    looked = """\
toy.yaml: nothing is wrong
  5 rows, 5 forms, 26 opcodes
  26 of 256 first words begin an instruction
  4,115 statements made into words and read back
"""
    assert run(folder, "target", "check", "toy.yaml") == Ran(0, looked, "")
    assert run(folder, "target", "check", "toy.yaml", "--book", "toy.txt") == Ran(0, looked + "  11 book values compared\n", "")


def test_warnings_leave_the_exit_code_and_errors_do_not(folder: Path) -> None:
    (folder / "toy.yaml").write_text(TOY.replace('"C1..FF"', '"C1..FE"'))
    ran = run(folder, "target", "check", "toy.yaml")
    assert (ran.code, ran.shown.split("\n")[0]) == (0, "toy.yaml: nothing is wrong, 1 warning")
    assert ran.said.startswith("toy.yaml:10:1: warning: no row begins with FF,")
    (folder / "toy.txt").write_text(AGREED.replace("61 | 1 |", "61 | 2 |"))
    ran = run(folder, "target", "check", "toy.yaml", "--book", "toy.txt")
    assert (ran.code, ran.shown) == (1, "")
    assert [line.split(" ")[1] for line in ran.said.split("\n") if line.startswith("toy")] == ["warning:", "error:"]


@pytest.mark.parametrize("words", [["none.yaml"], ["toy.yaml", "--book", "none.txt"], ["toy.yaml", "--tables", "none"], []])
def test_what_is_not_there(words: list[str], folder: Path) -> None:
    ran = run(folder, "target", "check", *words)
    assert (ran.code, ran.shown) == (2, "")


def test_a_chip_may_be_named(folder: Path) -> None:
    assert run(folder, "target", "check", next(iter(table_paths()))).code == 0
    assert run(folder, "target", "check", "toy", "--tables", ".").code == 0
