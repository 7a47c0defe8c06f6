"""Sources that grow without end, given to the real command in little memory: one clear message with the limit that was met."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest

from xasm.target.finding import table_paths

ROOT = Path(__file__).resolve().parent.parent
CHIP = next(iter(table_paths()))  # any will do: no instruction is used here
MEMORY = 1 << 30  # bytes that a run may take
PATIENCE = 120  # seconds; a guard against a run without end, and no measure of speed
LONGEST_ANSWER = 20_000  # characters

LINES = "macros and repeats bring in more than {} lines; --most-lines sets this limit"
DEPTH = "macros, repeats and includes are inside one another more than {} deep; --deepest sets this limit"
FILES = "more than {} files are included or embedded; --most-files sets this limit"
FEW = ("--most-lines", "5000")


class Bomb(NamedTuple):
    """`message` is what the one message must say. `prepare` makes what cannot be written as text."""

    message: str
    source: str
    files: dict[str, str] = {}
    words: tuple[str, ...] = ()
    prepare: Callable[[Path], object] = Path.exists


class Ran(NamedTuple):
    code: int
    shown: str
    said: str


def build(folder: Path, *words: str) -> Ran:
    """`xasm build prog.asm` for any chip, in a folder."""
    command = [sys.executable, "-m", "xasm", "build", "prog.asm", "-t", CHIP, "-o", "prog.bin", "-q", *words]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        command, cwd=folder, env=environment, capture_output=True, text=True, stdin=subprocess.DEVNULL, check=False, timeout=PATIENCE,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY)),
    )  # fmt: skip
    return Ran(done.returncode, done.stdout, done.stderr)


def nested(line: str, depth: int) -> str:
    """Repeats inside one another."""
    return f" {line}\n" * depth + " DB 1\n" + " ENDM\n" * depth


def doubling(body: str, levels: int) -> str:
    """Macros of which each uses the one before it twice."""
    macros = [f"m0 MACRO\n{body} ENDM\n", *(f"m{level} MACRO\n m{level - 1}\n m{level - 1}\n ENDM\n" for level in range(1, levels))]
    return "".join(macros) + f" m{levels - 1}\n"


def chain(levels: int, times: int) -> dict[str, str]:
    """Files of which each includes the next, as often as is said."""
    files = {f"f{level}.inc": f' INCLUDE "f{level + 1}.inc"\n' * times for level in range(levels)}
    return {**files, f"f{levels}.inc": " DB 1\n"}


def sparse(folder: Path, size: int = 1 << 40) -> None:
    """A file of zeros that takes no room."""
    with (folder / "huge.bin").open("wb") as file:
        file.truncate(size)


BOMBS = {
    # macros
    "a macro that calls itself": Bomb(DEPTH.format(100), "m MACRO\n m\n ENDM\n m\n"),
    "a macro that calls itself in front of everything": Bomb(DEPTH.format(100), "m MACRO\n m\n m\n DB 1\n ENDM\n m\n m\n DB 1\n"),
    "two macros that call each other": Bomb(DEPTH.format(100), "a MACRO\n b\n ENDM\nb MACRO\n REPT 3\n a\n ENDM\n ENDM\n a\n b\n"),
    "a macro that makes a longer macro": Bomb(DEPTH.format(100), "m MACRO n\nm{n} MACRO\n m {n}0\n ENDM\n m{n}\n ENDM\n m 1\n"),
    "doubling macros": Bomb(LINES.format("5,000"), doubling(" DB 1\n", 40), words=FEW),
    "doubling macros of nothing": Bomb(LINES.format("5,000"), doubling("", 90), words=FEW),
    "a macro that calls itself twice, to an end far away": Bomb(
        LINES.format("5,000"), "m MACRO n\n IF {n}\n m {n}-1\n m {n}-1\n ENDIF\n ENDM\n m 50\n", words=FEW
    ),
    "an argument that doubles": Bomb("the limit is 65,536", "m MACRO a\n m {a}{a}\n ENDM\n m 01234567\n"),
    "an argument in braces that doubles": Bomb("the limit is 65,536", "m MACRO a\n m {{a},{a}}\n ENDM\n m 1\n"),
    "a rest that doubles": Bomb("the limit is 65,536", "m MACRO a...\n m {a}, {a}\n ENDM\n m 1\n"),
    "an argument in brackets that doubles": Bomb("the limit is 65,536", "m MACRO a\n m ({a}, {a})\n ENDM\n m 1\n"),
    "a line of holes": Bomb("the limit is 65,536", f"m MACRO a\n DB {'{a}' * 20_000}\n ENDM\n m {{{'1,' * 30_000}1}}\n"),
    "many lines that a long argument makes longer": Bomb(
        LINES.format("200,000"), "m MACRO a\n" + " DB {a}\n" * 50_000 + f" ENDM\n m {{{'1,' * 30_000}1}}\n"
    ),
    "lines of quotes that nothing closes": Bomb("done", " IF 0\n" + (" DB " + '\\"' * 32_000 + "\n") * 40 + " ENDIF\n ASSERT 0,\"done\"\n"),
    # repeats
    "a billion repeats": Bomb(LINES.format("200,000"), " REPT 1000000000\n DB 1\n ENDM\n"),
    "a billion repeats of nothing": Bomb(LINES.format("200,000"), " REPT 1000000000\n ENDM\n"),
    "more repeats than any number": Bomb(LINES.format("200,000"), " REPT 1 << 500, i\n DB {i}\n ENDM\n"),
    "repeats in repeats": Bomb(LINES.format("5,000"), nested("REPT 100", 20), words=FEW),
    "repeats of one in repeats of one": Bomb(DEPTH.format(100), nested("REPT 1", 200)),
    "repeats in a macro in repeats": Bomb(
        LINES.format("5,000"), f"m MACRO\n{nested('REPT 9', 5)} ENDM\n" + nested("REPT 9", 5).replace("DB 1", "m"), words=FEW
    ),
    "macros made in repeats": Bomb(LINES.format("200,000"), " REPT 100000, i\nm{i} MACRO\n ENDM\n m{i}\n ENDM\n"),
    # files
    "a file that includes itself": Bomb("'prog.asm' includes itself: prog.asm -> prog.asm", ' INCLUDE "prog.asm"\n'),
    "a link to itself": Bomb(
        "'link.asm' includes itself: prog.asm -> link.asm", ' INCLUDE "link.asm"\n',
        prepare=lambda folder: (folder / "link.asm").symlink_to("prog.asm"),
    ),
    "a file that includes itself by a macro": Bomb(
        "'prog.asm' includes itself: prog.asm -> prog.asm", 'm MACRO\n INCLUDE "prog.asm"\n ENDM\n m\n'
    ),
    "a file that two files include, and so on": Bomb(FILES.format("1,000"), ' INCLUDE "f0.inc"\n', chain(40, 2)),
    "files without end": Bomb(DEPTH.format(100), ' INCLUDE "f0.inc"\n', chain(200, 1)),
    "one file 2,000 times": Bomb(FILES.format("1,000"), ' INCLUDE "f0.inc"\n' * 2000, chain(0, 0)),
    "one file in repeats": Bomb(FILES.format("1,000"), ' REPT 100000\n INCLUDE "f0.inc"\n ENDM\n', chain(0, 0)),
    "a file that includes itself by a macro of another": Bomb(
        "'b.inc' includes itself: prog.asm -> a.inc -> b.inc -> a.inc -> b.inc",
        ' INCLUDE "a.inc"\n', {"a.inc": 'm MACRO\n INCLUDE "b.inc"\n ENDM\n m\n', "b.inc": " m\n"},
    ),
    "a huge file": Bomb("the file is longer than 67,108,864 bytes", ' EMBED "huge.bin"\n', prepare=sparse),
    "a part of a huge file": Bomb("the file is longer than 67,108,864 bytes", ' EMBED "huge.bin", 1 << 39, 4\n', prepare=sparse),
    "a huge source": Bomb("the file is longer than 67,108,864 bytes", ' INCLUDE "huge.bin"\n', prepare=sparse),
    "a file of more bytes than words": Bomb(
        "words, many more than", ' EMBED "huge.bin"\n', prepare=lambda folder: sparse(folder, 64 << 20)
    ),
    "zeros without end": Bomb("cannot find '/dev/zero'", ' EMBED "/dev/zero"\n'),
    "zeros without end as a source": Bomb("cannot find '/dev/zero'", ' INCLUDE "/dev/zero"\n'),
    "a link to noise without end": Bomb(
        "cannot find 'noise'", ' EMBED "noise", 5, 5\n', prepare=lambda folder: (folder / "noise").symlink_to("/dev/urandom")
    ),
    "a pipe that nobody writes to": Bomb("cannot find 'pipe'", ' EMBED "pipe"\n', prepare=lambda folder: os.mkfifo(folder / "pipe")),
    "a folder": Bomb("cannot find '.'", ' EMBED "."\n'),
    "a file that is part of no folder": Bomb("cannot find", f' EMBED "{"x/" * 5000}"\n'),
    # values
    "values without end": Bomb("that there is room for", " DB 1 << 500 OF 0\n"),
    "memory without end": Bomb("beyond the last address", " DS 1 << 500, 0\n"),
}  # fmt: skip


def wrong_with(ran: Ran, message: str) -> list[str]:
    """What is wrong with an answer that must hold one message."""
    first = ran.said.partition("\n")[0]
    found = []
    if ran.code != 1:
        found.append(f"exit code {ran.code}")
    if message not in first:
        found.append(f"it begins with {first[:200]!r}")
    if ran.said.count("error: ") != 1:
        found.append(f"{ran.said.count('error: ')} messages")
    if "Traceback" in ran.said or "itself failed" in ran.said or ran.shown:
        found.append("a defect is shown, or something is printed")
    if len(ran.said) > LONGEST_ANSWER:
        found.append(f"{len(ran.said)} characters")
    return found


@pytest.mark.parametrize("name", BOMBS)
def test_bomb(name: str, tmp_path: Path) -> None:
    bomb = BOMBS[name]
    for path, text in {**bomb.files, "prog.asm": bomb.source}.items():
        (tmp_path / path).write_text(text)
    bomb.prepare(tmp_path)
    assert wrong_with(build(tmp_path, *bomb.words), bomb.message) == []
    assert not (tmp_path / "prog.bin").exists()


def test_a_wrong_answer_is_noticed(tmp_path: Path) -> None:
    (tmp_path / "prog.asm").write_text(" REPT 3\n DB 300\n ENDM\n")
    assert wrong_with(build(tmp_path), "does not fit") == ["3 messages"]
    (tmp_path / "prog.asm").write_text(" DB 3\n")
    assert wrong_with(build(tmp_path), LINES) == ["exit code 0", "it begins with ''", "0 messages"]


@pytest.mark.parametrize(
    ("option", "message", "limit", "source"),
    [
        ("--most-lines", LINES, 5, " REPT {count}\n DB 1\n ENDM\n"),
        ("--most-lines", LINES, 10, "m MACRO\n DB 1\n ENDM\n" + " m\n" * 4 + " REPT {count} - 4\n DB 2\n ENDM\n"),
        ("--most-lines", LINES, 7, "m MACRO a\n DB {{a}}\n ENDM\n m {{1" + " + 1" * 60 + "}}\n REPT {count} - 1\n ENDM\n DB 1\n"),
        ("--deepest", DEPTH, 5, "m MACRO n\n IF {{n}} != {count}\n m {{n}} + 1\n ENDIF\n DB 1\n ENDM\n m 1\n"),
        ("--deepest", DEPTH, 11, "n := {count}\nm MACRO\nn := n - 2\n IF n > 0\n REPT 1\n m\n ENDM\n ENDIF\n DB 1\n ENDM\n m\n"),
        ("--most-files", FILES, 8, ' REPT {count} - 1\n INCLUDE "f0.inc"\n ENDM\n EMBED "f0.inc"\n'),
    ],
)
def test_limits_are_set_by_options(option: str, message: str, limit: int, source: str, tmp_path: Path) -> None:
    """As much as the limit is built, and no more."""
    (tmp_path / "f0.inc").write_text(" DB 1\n")
    (tmp_path / "prog.asm").write_text(source.format(count=limit))
    assert build(tmp_path, option, str(limit)) == (0, "", "")
    (tmp_path / "prog.asm").write_text(source.format(count=limit + 2))
    assert wrong_with(build(tmp_path, option, str(limit)), message.format(limit)) == []


def test_limits_above_those_that_are_set_without_options(tmp_path: Path) -> None:
    (tmp_path / "f0.inc").write_text(" DB 1\n")
    (tmp_path / "prog.asm").write_text(' REPT 1001\n INCLUDE "f0.inc"\n ENDM\n' + nested("REPT 1", 150) + " REPT 200000\n ENDM\n")
    assert build(tmp_path, "--most-files", "1001", "--deepest", "150", "--most-lines", "300000") == (0, "", "")


def test_the_deepest_of_everything(tmp_path: Path) -> None:
    """Macros, repeats and files as deep as can be set, around an expression as deep as can be."""
    files = {f"f{level}.inc": f' INCLUDE "f{level + 1}.inc"\n' for level in range(149)}
    files["f149.inc"] = f" DB {'(' * 198}v{')' * 198}, {'-' * 198}v\n"
    for name, text in {**files, "prog.asm": 'v := 1\n INCLUDE "f0.inc"\n'}.items():
        (tmp_path / name).write_text(text)
    assert build(tmp_path, "--deepest", "150") == (0, "", "")
    (tmp_path / "prog.asm").write_text("v := 1\n" + nested("REPT 1", 150).replace(" DB 1\n", files["f149.inc"]))
    assert build(tmp_path, "--deepest", "150") == (0, "", "")


@pytest.mark.parametrize("words", [("--most-lines", "0"), ("--deepest", "151"), ("--deepest", "-1"), ("--most-files", "many")])
def test_limits_that_cannot_be_set(words: tuple[str, ...], tmp_path: Path) -> None:
    (tmp_path / "prog.asm").write_text(" DB 1\n")
    ran = build(tmp_path, *words)
    assert ran.code == 2
    assert words[0] in ran.said
