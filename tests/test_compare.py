"""Two images side by side, and builds that are repeated when a file changes."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from tests.asking import CHIP
from xasm.building import Choices, build_sources
from xasm.cli.main import xasm as command
from xasm.cli.outputs import rule
from xasm.cli.watching import Outcome, attempt, news, stamps_of, watch
from xasm.linking.image import Span
from xasm.linking.linker import Linked
from xasm.reports.comparing import Difference, comparison, differences
from xasm.source.diagnostics import Fault, SourceErrors
from xasm.source.files import Source
from xasm.target.finding import table_paths

ROOT = Path(__file__).resolve().parent.parent
NAME = sorted(table_paths())[0]


def program(*texts: str) -> Linked:
    return build_sources([Source(f"{index}.asm", text) for index, text in enumerate(texts)], Choices(CHIP))


CELLS = st.dictionaries(st.integers(0, 40), st.integers(0, 3))


def spans(cells: dict[int, int], wide: bool) -> tuple[Span, ...]:
    """The cells as the fewest spans."""
    found: list[Span] = []
    for address in sorted(cells):
        if found and found[-1].end == address:
            found[-1].words.append(cells[address])  # type: ignore[attr-defined]
        else:
            found.append(Span(address, [cells[address]] if wide else bytearray((cells[address],))))
    return tuple(found)


@given(CELLS, CELLS, st.booleans(), st.booleans())
def test_what_differs_is_what_a_look_at_every_address_shows(one: dict[int, int], two: dict[int, int], wide: bool, narrow: bool) -> None:
    found = list(differences(spans(one, wide), spans(two, narrow)))
    seen = {}
    for start, first, second in found:
        for index in range(len(first if first is not None else second or ())):
            seen[start + index] = (None if first is None else first[index], None if second is None else second[index])
    wanted = {at: (one.get(at), two.get(at)) for at in one.keys() | two.keys() if one.get(at) != two.get(at)}
    assert seen == wanted
    for before, after in pairwise(found):
        assert before.start + before.size <= after.start


def test_large_images_are_compared_in_parts() -> None:
    words = bytearray(1 << 22)
    other = bytearray(words)
    other[4095:4097] = b"\1\2"
    other[-1] = 3
    found = list(differences([Span(16, words)], [Span(16, other)]))
    assert found == [Difference(16 + 4095, b"\0\0", b"\1\2"), Difference(16 + len(words) - 1, b"\0", b"\3")]
    assert list(differences([Span(0, words)], [Span(0, bytearray(words))])) == []


def test_a_difference_names_its_statement() -> None:
    linked = program(" DB 1\nm: DB 2, 3 ; two\n ORG 9\n DB 4\n", "n: DB 5\n")
    assert [linked.entry_at(address) is not None for address in range(12)] == [True] * 3 + [False] * 6 + [True] * 2 + [False]
    rows = list(comparison([Difference(2, [3], [7]), Difference(4, None, [1, 2]), Difference(10, [5], [6])], 8, linked))
    assert [row.split() for row in rows] == [
        ["0x0002", "03", "|", "07", "0.asm:2", "m:", "DB", "2,", "3"],
        ["0x0004..0x0005", "only", "in", "the", "second:", "2", "words"],
        ["0x000A", "05", "|", "06", "1.asm:1", "n:", "DB", "5"],
    ]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*words: str) -> tuple[int, str]:
    ran = CliRunner().invoke(command, words, catch_exceptions=True)
    if isinstance(ran.exception, (Fault, SourceErrors)):
        return -1, f"{ran.exception} {ran.exception.hint or ''}" if isinstance(ran.exception, Fault) else str(ran.exception)
    return ran.exit_code, ran.output


def test_formats_of_one_image_are_equal_and_others_are_not(folder: Path) -> None:
    (folder / "a.asm").write_text("m: DB 1,2,3\n ORG 3\n DB 4\n")
    (folder / "b.asm").write_text("m: DB 1,2,9\n ORG 3\n DB 4\n")
    for name in ("a", "b"):
        outputs = [word for suffix in ("hex", "srec", "mem", "txt", "bin", "c") for word in ("-o", f"{name}.{suffix}")]
        assert run("build", f"{name}.asm", "-t", NAME, "-q", *outputs)[0] == 0
    for suffix in ("hex", "srec", "mem", "txt", "bin", "c"):
        assert run("compare", "a.hex", f"a.{suffix}", "--at", "0") == (0, "equal: 4 words\n"), suffix
        code, shown = run("compare", "a.asm", f"b.{suffix}", "--at", "0", "-t", NAME)
        assert code == 1
        assert shown.split() == "1 word in 1 range differs: 0x0002 03 | 09 a.asm:1 m: DB 1,2,3".split()
    assert run("compare", "a.hex", "b.hex", "--source", "b.asm", "-t", NAME)[1].endswith("b.asm:1  m: DB 1,2,9\n")
    assert "--at ADDRESS" in run("compare", "a.bin", "a.hex")[1]


# what a build depends on


def test_a_rule_for_make(folder: Path) -> None:
    """make, which is there where C compilers are, reads the rule with odd names and builds again when one of them changed."""
    odd = "a file#1$x.inc"
    (folder / "main.asm").write_text(f' INCLUDE "{odd}"\n EMBED "x.bin"\n')
    (folder / odd).write_text(" DB 1\n")
    (folder / "x.bin").write_bytes(b"\2")
    assert run("build", "main.asm", "-t", NAME, "-q", "-o", "rom.bin", "-o", "rom.lst", "--depfile", "rom.d")[0] == 0
    text = (folder / "rom.d").read_text()
    assert text.split("\n")[0] == r"rom.bin rom.lst: main.asm a\ file\#1$$x.inc x.bin"
    (folder / "Makefile").write_text("all: rom.bin\nrom.bin:\n\t@echo again; touch rom.bin\n-include rom.d\n")
    assert make(folder) == ""
    for name in (odd, "x.bin", "main.asm"):
        time.sleep(0.02)
        (folder / name).touch()
        assert make(folder) == "again\n", name
        assert make(folder) == ""
    (folder / odd).unlink()
    assert make(folder) == "again\n"


def make(folder: Path) -> str:
    shown = subprocess.run(["make", "-s", "all"], cwd=folder, capture_output=True, text=True, check=True).stdout
    return "" if "Nothing to be done" in shown else shown


def test_names_in_a_rule_are_escaped() -> None:
    assert rule(["a b"], ["c#d", "e$f"]) == b"a\\ b: c\\#d e$$f\n\nc\\#d:\n\ne$$f:\n"


# builds that are repeated


def test_a_watch_shows_only_what_is_new(capsys: pytest.CaptureFixture[str]) -> None:
    texts = iter([" DB 1\n", " DB 1\n", " DB 2\n", " nonesuch\n DB 1\n", " nonesuch\n DB 999\n", " DB 2\n DB 3\n"])

    def build() -> tuple[Linked, list[str]]:
        return program(next(texts)), ["0.asm"]

    rounds = iter([True] * 5 + [False])
    watch(build, ["0.asm"], lambda stamps: next(rounds))
    shown = [line for line in capsys.readouterr().err.split("\n") if line and line[0] != " "]
    assert shown[:2] == ["built; waiting for a change (Ctrl-C ends)", "built: the image is the same"]
    assert shown[2].split() == "0x0000 01 | 02 0.asm:1 DB 2".split()
    assert shown[3] == "built"
    assert shown[4].startswith("0.asm:1:2: error: 'nonesuch'")
    assert shown[5] == "nothing written: 1 mistake left"
    assert shown[6].startswith("0.asm:2:5: error: 999")
    assert shown[7:] == ["nothing written: 2 mistakes left", "2 mistakes are gone", shown[9], "built"]
    assert shown[9].split() == "0x0001 only in the second: 1 word 0.asm:2 DB 3".split()


def test_a_watch_that_fails_looks_at_the_files_of_before_and_of_the_mistakes() -> None:
    def build() -> tuple[Linked, list[str]]:
        return program(' INCLUDE "gone.inc"\n DB 1\n'), []

    found = attempt(build, ("main.asm", "old.inc"))
    assert found.read == ("main.asm", "old.inc", "0.asm")
    assert news(Outcome(None, found.mistakes, ()), found, None) == ["nothing written: 1 mistake left"]


def test_stamps_tell_changed_files(folder: Path) -> None:
    (folder / "a").write_text("1")
    before = stamps_of(["a", "b"])
    assert before["b"] is None
    assert stamps_of(["a", "b"]) == before
    (folder / "a").write_text("22")
    assert stamps_of(["a", "b"]) != before


def lines(process: subprocess.Popen[str]) -> Iterator[str]:
    assert process.stderr is not None
    yield from iter(process.stderr.readline, "")


def test_a_watch_of_real_files(folder: Path) -> None:
    (folder / "a.asm").write_text(' INCLUDE "b.inc"\n')
    (folder / "b.inc").write_text(" DB 1\n")
    words = [sys.executable, "-m", "xasm", "build", "a.asm", "-t", NAME, "-o", "a.bin", "--watch"]
    with subprocess.Popen(
        words, stderr=subprocess.PIPE, text=True, cwd=folder, env={"PYTHONPATH": str(ROOT), "HOME": str(folder)}
    ) as process:
        try:
            shown = lines(process)
            assert next(shown).startswith("built")
            (folder / "b.inc").write_text(" DB 1, 2\n")
            assert "only in the second" in next(shown)
            assert next(shown) == "built\n"
            assert (folder / "a.bin").read_bytes() == b"\1\2"
            (folder / "b.inc").write_text(" DB\n")
            assert next(shown).startswith("b.inc:1:2: error")
        finally:
            process.kill()
