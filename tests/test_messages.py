"""Every message that a person can see, word for word. Those about tables are in test_table_mistakes.py."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

import xasm
from tests.messages import FOLDER, Case, Shown, cases, marks, read
from tests.messages.__main__ import filled
from xasm.source.messages import CATALOGUE
from xasm.target.finding import table_paths

CASES = cases()
LEAST = 140  # cases in the data files; fewer, and they were not all read
# Entries that are met by other tests: those about tables, about files of words that are read, about images that are split,
# about modules that were made for different chips, about more than a case should hold.
ELSEWHERE = (
    "table_", "check_", "book_", "new_", "no_table_folder", "read_", "split_", "other_target", "capture_long", "recover_large",
    "typed_lines",
)  # fmt: skip
TESTS = Path(__file__).resolve().parent


@pytest.mark.parametrize("case", CASES, ids=[f"{case.origin}-{case.codes[0]}" for case in CASES])
def test_message(case: Case, tmp_path: Path) -> None:
    shown = Shown(case, tmp_path)
    assert shown.says == case.says
    assert shown.prints == case.prints
    assert shown.exit == case.exit
    assert shown.met == set(case.codes)
    assert shown.untouched, "a run with errors must not write anything"


def test_every_entry_of_the_catalogue_is_met_by_a_case() -> None:
    assert len(CASES) >= LEAST
    met = {code for case in CASES for code in case.codes}
    assert met <= CATALOGUE.keys()
    assert {code for code in CATALOGUE if not code.startswith(ELSEWHERE)} - met == set()


def test_other_tests_name_the_entries_that_are_left_to_them() -> None:
    others = [path for path in TESTS.rglob("*.*") if path.suffix in (".py", ".txt") and path.name != Path(__file__).name]
    named = {word for path in others for word in re.findall(r"\b[a-z]+_[a-z_]+\b", path.read_text("utf-8"))}
    left = {code for code in CATALOGUE if code.startswith(ELSEWHERE)}
    assert len(left) > 20
    assert left - named == set()


@pytest.mark.parametrize(("mistakes", "more"), [(100, ""), (150, "... and 50 more\n"), (5000, "... and 900 more\n")])
def test_of_many_mistakes_a_hundred_are_shown_and_a_thousand_are_looked_for(mistakes: int, more: str, tmp_path: Path) -> None:
    command = ["build", "prog.asm", "-t", next(iter(table_paths()))]
    shown = Shown(Case("here", [], "many", command, {"prog.asm": b"        ORG -1\n" * mistakes}), tmp_path)
    assert shown.exit == 1
    assert shown.says.count(": error: address -1 is outside") == 100
    assert shown.says.splitlines()[297].startswith("prog.asm:100:13: error: ")
    assert shown.says.endswith(f"        ORG -1\n                ^^\n{more}")


def strings(folder: Path) -> set[str]:
    """All strings that stand in the code of a folder, those of the catalogue left out."""
    found = set()
    for path in folder.rglob("*.py"):
        if path.name != "messages.py":
            found |= {node.value for node in ast.walk(ast.parse(path.read_text("utf-8"))) if isinstance(node, ast.Constant)}
    return found


def test_no_entry_of_the_catalogue_is_unused(tmp_path: Path) -> None:
    assert CATALOGUE.keys() - strings(Path(xasm.__file__).parent) == set()
    (tmp_path / "code.py").write_text('raise Fault("undefined")\n')
    assert "undefined" in strings(tmp_path)
    assert "circular" not in strings(tmp_path)


def test_a_case_that_does_not_hold_is_noticed(tmp_path: Path) -> None:
    case = next(case for case in CASES if case.codes == ["undefined"])
    shown = Shown(case, tmp_path)
    (changed,) = read("== divide_by_zero: another text\n-- says, exit 0\nprog.asm:1:1: error: something else\n", "here")
    assert (shown.says, shown.exit) == (case.says, case.exit)
    assert shown.says != changed.says and shown.exit != changed.exit and shown.met != set(changed.codes)


def test_the_tool_that_fills_data_files_changes_answers_only() -> None:
    case = next(case for case in CASES if case.codes == ["not_ascii"])
    path = FOLDER / case.origin.partition(":")[0]
    text = path.read_text("ascii")
    assert filled(text, path.name) == text
    assert filled(text.replace("-- says, exit 1\n", "-- says, exit 0\nnothing\n"), path.name) == text


def test_the_data_files_are_read_as_they_say() -> None:
    text = "== a_b, c: two\n$ xasm build 'x y' -q\n-- a{1..2}.txt (with marks)\n{3*ab}{n}{n+1}\\x41\n\n-- says, exit 2\n  who\n"
    (case,) = read(text, "here")
    assert (case.origin, case.codes, case.title, case.command) == ("here:1", ["a_b", "c"], "two", ["build", "x y", "-q"])
    assert case.files == {"a1.txt": b"ababab12A\n", "a2.txt": b"ababab23A\n"}
    assert (case.says, case.prints, case.exit) == ("  who\n", "", 2)
    assert marks(b"{2*{}x}") == b"{{x}"
    for wrong in ("lost\n", "== Title\n", "== a: b\n-- x\n-- x\n"):
        with pytest.raises(ValueError, match="here"):
            read(wrong, "here")
