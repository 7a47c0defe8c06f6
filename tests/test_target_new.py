"""`xasm target new`: the table it writes is right, whatever the sizes; what it asks, and what it refuses."""

from __future__ import annotations

import os
import pty
import re
import subprocess
import sys
from itertools import product
from pathlib import Path

import pytest

from tests.test_cli import ROOT, Ran, run
from xasm.source.diagnostics import Report, render_all
from xasm.source.files import Source
from xasm.source.messages import CATALOGUE
from xasm.target.finding import load_target, table_paths
from xasm.target.forms import FLOWS
from xasm.target.kinds import STOCK
from xasm.target.loader import read_target
from xasm.target.new_table import new_table
from xasm.target.review import review

WIDTHS = [*range(4, 17), 24, 32, 64]
ADDRESSES = [1, 2, 3, 4, 7, 8, 9, 12, 13, 16, 24, 32]


@pytest.mark.parametrize("order", ["little", "big"])
def test_the_table_passes_its_own_check(order: str) -> None:
    wrong = {}
    for word, address in product(WIDTHS, ADDRESSES):
        report = Report()
        target = read_target(Source("mine.yaml", new_table("mine", word, address, order)), report)
        looked = review(target, report)
        assert (target.word, target.address, target.order, target.name) == (word, address, order, "mine")
        assert looked.statements >= 15
        if report.diagnostics:
            wrong[word, address] = render_all(report.sorted())
    assert wrong == {}


def test_the_table_shows_what_is_common_and_names_the_rest() -> None:
    text = new_table("mine", 8, 16, "little")
    target = read_target(Source("mine.yaml", text), Report())
    assert len({type(kind) for kind in target.kinds.values()}) >= 3
    assert len({row.flow for row in target.rows}) >= 6
    assert all(f" {flow}" in text for flow in FLOWS)
    assert all(f" {stock}" in text for stock in STOCK)
    assert max(map(len, text.split("\n"))) <= 140


def test_the_command_writes_it_and_says_what_is_next(tmp_path: Path) -> None:
    ran = run(tmp_path, "target", "new", "mine")
    assert ran == Ran(0, "", "mine.yaml: a table to start with; next: xasm target check mine.yaml\n")
    assert (tmp_path / "mine.yaml").read_text() == new_table("mine", 8, 16, "little")
    assert run(tmp_path, "target", "check", "mine.yaml").said == ""
    (tmp_path / "prog.asm").write_text("here: GO here\n")
    assert run(tmp_path, "build", "prog.asm", "-t", "mine.yaml", "-o", "prog.bin").code == 0
    assert (tmp_path / "prog.bin").read_bytes() == b"\x05\x00\x00"


def test_options_and_the_screen(tmp_path: Path) -> None:
    sizes = ["--word", "12", "--address", "15", "--order", "big"]
    assert run(tmp_path, "target", "new", "mine", *sizes, "-o", "-") == Ran(0, new_table("mine", 12, 15, "big"), "")
    assert list(tmp_path.iterdir()) == []
    assert run(tmp_path, "target", "new", "mine", *sizes, "-o", "other.yaml").code == 0
    assert load_target(str(tmp_path / "other.yaml")).word == 12


def test_at_a_terminal_it_asks(tmp_path: Path) -> None:
    ours, theirs = pty.openpty()
    os.write(ours, b"12\nmany\n15\n\n")
    command = [sys.executable, "-m", "xasm", "target", "new", "mine", "--order", "big"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    ran = subprocess.run(command, stdin=theirs, capture_output=True, text=True, cwd=tmp_path, env=environment, timeout=60, check=False)
    os.close(ours)
    os.close(theirs)
    assert ran.returncode == 0
    assert "Bits of a word of program memory [8]:" in ran.stderr
    assert "'many' is not a valid integer range" in ran.stderr
    assert (tmp_path / "mine.yaml").read_text() == new_table("mine", 12, 15, "big")


def says(code: str, said: str) -> bool:
    """Whether what is said is that entry of the catalogue."""
    entry = re.sub(r"\\\{.*?\\\}", ".+", re.escape(CATALOGUE[code]))
    return re.match(f"error: {entry}\n", said) is not None


@pytest.mark.parametrize(
    ("code", "words", "said"),
    [
        ("new_name", ["a b"], "error: 'a b' cannot name a chip: letters, digits, '_' and '-', in front a letter or digit\n"),
        ("new_name", ["../x"], "error: '../x' cannot name a chip: letters, digits, '_' and '-', in front a letter or digit\n"),
        ("new_exists", ["here"], "error: 'here.yaml' is there already, and is not overwritten\n"),
        ("new_exists", ["mine", "-o", "here.yaml"], "error: 'here.yaml' is there already, and is not overwritten\n"),
        ("cannot_write", ["mine", "-o", "no/where.yaml"], "error: cannot write 'no/where.yaml': no such file or directory\n"),
    ],
)
def test_what_is_refused(code: str, words: list[str], said: str, tmp_path: Path) -> None:
    assert says(code, said)
    (tmp_path / "here.yaml").write_text("")
    assert run(tmp_path, "target", "new", *words) == Ran(2, "", said)
    assert [path.name for path in tmp_path.iterdir()] == ["here.yaml"]
    assert (tmp_path / "here.yaml").read_text() == ""


def test_a_name_that_a_chip_has_already(tmp_path: Path) -> None:
    name = next(iter(table_paths()))
    taken = [name, load_target(name).also[0].upper()]
    for one in taken:
        hint = f'choose another name; a table can take over another\'s rows: extends: "{one}"'
        said = f"error: there is a chip '{one}' already\n    {hint}\n"
        assert says("new_taken", said) and not says("new_name", said)
        assert run(tmp_path, "target", "new", one) == Ran(2, "", said)
    assert list(tmp_path.iterdir()) == []
