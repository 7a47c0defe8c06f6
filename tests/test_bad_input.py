"""Input that nobody means well, and commands that cannot be carried out: the answer is always a clear message, in bounded memory,
and the outputs of an earlier run stay as they were, byte for byte."""

from __future__ import annotations

import json
import os
import re
import resource
import signal
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

import pytest

from tests.hostile import CHIP, HOSTILE, lines

ROOT = Path(__file__).resolve().parent.parent
MEMORY = 1 << 30  # bytes that a run may take
PATIENCE = 300  # seconds; a guard against a run without end, and no measure of speed
LONGEST_ANSWER = 60_000  # characters
OUTPUTS = ("old.bin", "old.hex", "old.h", "old.c", "old.lst")
ALL = [word for name in (*OUTPUTS, "new.bin") for word in ("-o", name)]
FIRST_LINE = re.compile(r"(?:[^\n:]+(?::\d+:\d+)?: )?error: \S.*")

# What `xasm.assemble` says to the text of each file, all in one process: what one leaves behind must not harm the next.
ASSEMBLE = """
import json, pathlib, sys, xasm
answers = {}
for path in sorted(pathlib.Path("sources").iterdir(), key=lambda path: int(path.name)):
    try:
        xasm.assemble(path.read_bytes().decode(), sys.argv[1], "prog.asm")
        answers[path.name] = (0, "")
    except xasm.SourceErrors as errors:
        answers[path.name] = (1, str(errors))
print(json.dumps(answers))
"""


class Ran(NamedTuple):
    """How a run ended: exit code, standard output, standard error."""

    code: int
    shown: str
    said: str


def run(folder: Path, *words: str | bytes, output: int = subprocess.PIPE, memory: int = MEMORY, largest: int = -1) -> Ran:
    """Runs Python in a folder; `largest` is the size in bytes up to which a file can be written."""

    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
        if largest >= 0:
            resource.setrlimit(resource.RLIMIT_FSIZE, (largest, largest))

    environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "1"}
    done = subprocess.run(
        [sys.executable, *words], cwd=folder, env=environment, stdout=output, stderr=subprocess.PIPE, preexec_fn=limit, timeout=PATIENCE,
        check=False,
    )  # fmt: skip
    return Ran(done.returncode, (done.stdout or b"").decode(), done.stderr.decode())


def xasm(folder: Path, *words: str | bytes, **limits: int) -> Ran:
    return run(folder, "-m", "xasm", *words, **limits)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with the outputs of an earlier run, and a program without a mistake."""
    for name in OUTPUTS:
        (tmp_path / name).write_bytes(f"earlier {name}\n".encode())
    (tmp_path / "good.asm").write_text("        DB 1, 2, 3\n")
    return tmp_path


def content(folder: Path) -> dict[str, bytes | str]:
    """Everything in a folder: files with their bytes, links with where they lead."""
    return {
        str(path.relative_to(folder)): os.readlink(path) if path.is_symlink() else path.read_bytes() if path.is_file() else "folder"
        for path in folder.rglob("*")
    }


def wrong_with(ran: Ran, codes: tuple[int, ...], message: str) -> list[str]:
    """What is wrong with an answer."""
    first = ran.said.partition("\n")[0]
    usage = ran.said.startswith(("Usage: ", "Error: "))  # how the command line is wrong
    found = []
    if ran.code not in codes:
        found.append(f"exit code {ran.code}")
    if not usage and not FIRST_LINE.fullmatch(first):
        found.append(f"it begins with {first[:200]!r}")
    if message not in (ran.said if usage else first):
        found.append(f"it does not say {message!r} but {ran.said[:500]!r}")
    if "Traceback" in ran.said or "itself failed" in ran.said:
        found.append(f"a defect is shown: {ran.said[-500:]}")
    if ran.shown:
        found.append(f"it prints {ran.shown[:200]!r}")
    if len(ran.said) > LONGEST_ANSWER:
        found.append(f"it has {len(ran.said)} characters")
    return found


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_source(name: str, folder: Path) -> None:
    source, message = HOSTILE[name]
    (folder / "prog.asm").write_bytes(source)
    before = content(folder)
    ran = xasm(folder, "build", "prog.asm", "-t", CHIP, *ALL)
    assert wrong_with(ran, (1,), message) == []
    assert content(folder) == before


def test_hostile_sources_from_python(folder: Path) -> None:
    """The same texts given to `xasm.assemble`, with the same answers. What can only be wrong with a file is left out."""
    (folder / "sources").mkdir()
    (folder / "prog.asm").write_bytes(HOSTILE["an INCLUDE of itself"][0])
    tried = {}
    for index, (source, message) in enumerate(HOSTILE.values()):
        if message not in ("is no UTF-8 text", "the file is longer than 67,108,864 bytes"):
            (folder / "sources" / str(index)).write_bytes(source)
            tried[str(index)] = message
    assert len(tried) > 60
    ran = run(folder, "-c", ASSEMBLE, CHIP)
    assert (ran.code, ran.said) == (0, "")
    answers = {name: Ran(code, "", said) for name, (code, said) in json.loads(ran.shown).items()}
    assert answers.keys() == tried.keys()
    for name, answer in answers.items():
        if tried[name] == "there is nothing to write":
            assert answer == Ran(0, "", ""), "an image without a word is no mistake where no file is written"
        else:
            assert wrong_with(answer._replace(said=answer.said[:LONGEST_ANSWER]), (1,), tried[name]) == []


def test_a_program_that_is_hard_but_right(folder: Path) -> None:
    """The limits are far from what a person writes: these are no mistakes."""
    (folder / "prog.asm").write_bytes(
        lines(20_000, lambda index: f"n{index} EQU n{index + 1}\n") + b"n20000 EQU 5\n"
        + b" DB n0, " + b"(" * 150 + b"1" + b")" * 150 + b",1" * 1000 + b"\n"
        + b" REPT 1000, turn\n IF {turn} < 500\n DB {turn} & 1\n ENDIF\n ENDM\n"
    )  # fmt: skip
    ran = xasm(folder, "build", "prog.asm", "-t", CHIP, "-o", "new.bin")
    assert (ran.code, ran.shown) == (0, "")
    assert (folder / "new.bin").read_bytes() == b"\x05\x01" + b"\x01" * 1000 + b"\x00\x01" * 250


def test_too_little_memory_is_said(folder: Path) -> None:
    (folder / "prog.asm").write_bytes(b"\n" * (60 << 20))
    before = content(folder)
    ran = xasm(folder, "build", "prog.asm", "-t", CHIP, *ALL, memory=200 << 20)
    assert wrong_with(ran, (1,), "there is not enough memory") == []
    assert content(folder) == before


# ---- commands

# Words behind `xasm build`, the exit code, what must be said.
COMMANDS: dict[str, tuple[list[str | bytes], int, str]] = {
    "no source": ([], 2, "Missing argument"),
    "a source that is not there": (["gone.asm", "-t", CHIP], 2, "cannot read 'gone.asm': no such file or directory"),
    "a folder as source": (["sub", "-t", CHIP], 2, "cannot read 'sub': is a directory"),
    "a source below a file": (["good.asm/x", "-t", CHIP], 2, "cannot read 'good.asm/x': not a directory"),
    "a source with a name that is no text": ([b"\xff\x01.asm", "-t", CHIP], 2, r"cannot read '\udcff\x01.asm': no such file"),
    "a source without end": (["/dev/zero", "-t", CHIP], 1, "the file is longer than 67,108,864 bytes"),
    "an empty device": (["/dev/null", "-t", CHIP], 1, "there is nothing to write"),
    "no chip": (["good.asm"], 1, "no chip is named"),
    "no chip for nothing": (["/dev/null"], 2, "no chip is named"),
    "a chip that there is not": (["good.asm", "-t", "nonesuch"], 2, "there is no chip 'nonesuch'"),
    "a path to no table": (["good.asm", "-t", "../gone/table"], 2, "cannot read '../gone/table': no such file or directory"),
    "a source for a chip": (["good.asm", "-t", "./good.asm"], 1, "a table must be made of keys and values"),
    "a device for a chip": (["good.asm", "-t", "/dev/zero"], 1, "the file is longer than"),
    "a chip without name": (["good.asm", "-t", ""], 2, "there is no chip ''"),
    "an unknown option": (["good.asm", "--nonesuch"], 2, "No such option"),
    "an option without value": (["good.asm", "-t"], 2, "requires an argument"),
    "an unknown suffix": (["good.asm", "-t", CHIP, "-o", "new.exe"], 2, "cannot tell the format of 'new.exe'"),
    "no suffix": (["good.asm", "-t", CHIP, "-o", "new"], 2, "cannot tell the format of 'new'"),
    "an output without name": (["good.asm", "-t", CHIP, "-o", ""], 2, "cannot tell the format of ''"),
    "a suffix alone": (["good.asm", "-t", CHIP, "-o", ".bin"], 2, "cannot tell the format of '.bin'"),
    "a folder as output": (["good.asm", "-t", CHIP, "-o", "sub.bin"], 2, "cannot write 'sub.bin': is a directory"),
    "a folder that is not there": (["good.asm", "-t", CHIP, "-o", "gone/new.bin"], 2, "cannot write 'gone/new.bin': no such file"),
    "an output below a file": (["good.asm", "-t", CHIP, "-o", "good.asm/new.bin"], 2, "cannot write 'good.asm/new.bin': not a directory"),
    "a full disk": (["good.asm", "-t", CHIP, "-o", "full.bin"], 2, "cannot write 'full.bin': no space left on device"),
    "a name too long": (["good.asm", "-t", CHIP, "-o", "x" * 300 + ".bin"], 2, "file name too long"),
    "an output twice": (["good.asm", "-t", CHIP, "-o", "new.hex", "-o", "sub/../new.hex"], 2, "'sub/../new.hex' is named twice"),
    "an output twice, through a link": (["good.asm", "-t", CHIP, "-o", "link.bin", "-o", "linked.bin"], 2, "'linked.bin' is named twice"),
    "the screen twice": (["good.asm", "-t", CHIP, "-o", "-", "-o", "-"], 2, "'-' is named twice"),
    "bytes on the screen": (["good.asm", "-t", CHIP, "-o", "-.bin"], 2, "'-.bin' would put bytes on the screen"),
    "an output that is a source": (["source.h", "-t", CHIP, "-o", "source.h"], 2, "'source.h' is one of the sources"),
    "an output that is included": (["include.asm", "-t", CHIP, "-o", "sub/../source.h"], 2, "'sub/../source.h' is one of the sources"),
    "an output that is embedded": (["embed.asm", "-t", CHIP, "-o", "source.h"], 2, "'source.h' is one of the sources"),
    "a filler that is no number": (["good.asm", "-t", CHIP, "--fill", "none"], 2, "'none' is not a number"),
    "a filler without digits": (["good.asm", "-t", CHIP, "--fill", ""], 2, "'' is not a number"),
    "a filler too large": (["good.asm", "-t", CHIP, "--fill", "1" + "0" * 1000 + "H"], 2, "is not a number"),
    "a filler beyond a word": (["good.asm", "-t", CHIP, "--fill", "256"], 2, "the filler 256 (0x100) does not fit"),
    "an order that there is not": (["good.asm", "-t", CHIP, "--order", "middle"], 2, "'middle' is not one of"),
    "a name that is no C": (["good.asm", "-t", CHIP, "--name", "a;b"], 2, "'a;b' is not a C name"),
    "a storage word that is no C": (["good.asm", "-t", CHIP, "--storage", "a;b"], 2, "'a;b' is not a storage word"),
    "a header that is no C": (["good.asm", "-t", CHIP, "--include", "a\nb"], 2, r"'a\nb' is not the name of a C header"),
    "no line may be brought in": (["good.asm", "-t", CHIP, "--most-lines", "0"], 2, "--most-lines"),
    "a depth without bound": (["good.asm", "-t", CHIP, "--deepest", "1000000"], 2, "--deepest"),
}


@pytest.fixture
def prepared(folder: Path) -> Path:
    """What the commands above need."""
    (folder / "sub").mkdir()
    (folder / "sub.bin").mkdir()
    (folder / "source.h").write_text("        DB 1\n")
    (folder / "include.asm").write_text('        INCLUDE "source.h"\n        DB 1\n')
    (folder / "embed.asm").write_text('        EMBED "source.h"\n')
    (folder / "end.asm").write_text("        DB 1\n        END\n")
    (folder / "full.bin").symlink_to("/dev/full")
    (folder / "link.bin").symlink_to("linked.bin")
    return folder


@pytest.mark.parametrize("name", COMMANDS)
def test_command_that_cannot_be_carried_out(name: str, prepared: Path) -> None:
    """The outputs of an earlier run, which are named before those of the case, must not be touched."""
    words, code, message = COMMANDS[name]
    before = content(prepared)
    ran = xasm(prepared, "build", *ALL, *words)
    assert wrong_with(ran, (code,), message) == []
    assert content(prepared) == before


@pytest.mark.parametrize("command", [["target", "show", "nonesuch"], ["target", "show"], ["target", "nonesuch"], ["nonesuch"], []])
def test_other_commands_that_cannot_be_carried_out(command: list[str], folder: Path) -> None:
    ran = xasm(folder, *command)
    assert ran.code == 2 and not ran.shown
    assert "error: there is no chip 'nonesuch'" in ran.said or ran.said.startswith("Usage: ")
    assert "Traceback" not in ran.said and "itself failed" not in ran.said


def test_a_disk_that_is_full_half_way(folder: Path) -> None:
    """A limit on the size of files makes a real write fail behind others that went well."""
    (folder / "long.asm").write_text("        DS 4000, 1\n")
    before = content(folder)
    ran = xasm(folder, "build", "long.asm", "-t", CHIP, "-o", "old.bin", "-o", "old.hex", "-o", "new.bin", largest=5000)
    assert wrong_with(ran, (2,), "cannot write 'old.hex': file too large") == []
    assert content(folder) == before
    assert xasm(folder, "build", "long.asm", "-t", CHIP, "-o", "old.bin", largest=5000).code == 0


@pytest.mark.parametrize("words", [["build", "good.asm", "-t", CHIP, "-o", "-"], ["target", "list"], ["target", "show", CHIP]])
def test_standard_output_that_takes_no_more(words: list[str], folder: Path) -> None:
    with open("/dev/full", "wb") as full:
        ran = xasm(folder, *words, output=full.fileno())
    assert wrong_with(ran, (2,), "cannot write 'standard output': no space left on device") == []


def test_a_reader_that_goes_away_is_no_mistake(folder: Path) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    ran = xasm(folder, "target", "show", CHIP, output=writing)
    os.close(writing)
    assert ran == Ran(0, "", "")


def test_files_with_names_that_are_no_text(folder: Path) -> None:
    """They are read and written like any other; what must be shown of the name is shown as escapes."""
    name = os.fsdecode(b"\xe9t\xe9.asm")
    (folder / name).write_text("here:   DB 1\n        INCLUDE 5\n")
    ran = xasm(folder, "build", name, "-t", CHIP)
    assert wrong_with(ran, (1,), r"\udce9t\udce9.asm:2:17: error: INCLUDE needs a text in quotes") == []
    (folder / name).write_text("here:   DB 1\n")
    ran = xasm(folder, "build", name, "-t", CHIP, "-o", os.fsencode(name) + b".lst", "-o", "-")
    assert ran.code == 0
    assert rf"{chr(92)}udce9t{chr(92)}udce9.asm:1" in ran.shown
    assert (folder / f"{name}.lst").read_text() == ran.shown


# ---- that the checks would notice


def test_a_bad_answer_is_noticed() -> None:
    good = Ran(1, "", "prog.asm:1:2: error: no\n")
    assert wrong_with(good, (1,), "no") == []
    for bad in (
        good._replace(code=0),
        good._replace(code=-signal.SIGKILL),
        good._replace(said=""),
        good._replace(said="prog.asm:1:2: error: yes\n"),
        good._replace(said="no\n"),
        good._replace(said=good.said + "Traceback (most recent call last):\n"),
        good._replace(said="error: xasm itself failed (KeyError: no)\n"),
        good._replace(shown="something"),
        good._replace(said=good.said + "x" * LONGEST_ANSWER),
    ):
        assert len(wrong_with(bad, (1,), "no")) >= 1, bad


def test_the_bounds_hold(folder: Path) -> None:
    ran = run(folder, "-c", f"x = bytes({MEMORY})")
    assert ran.code == 1 and "MemoryError" in ran.said
    ran = run(folder, "-c", "file = open('big', 'wb'); file.write(bytes(200)); file.close()", largest=100)
    assert ran.code == 1 and "File too large" in ran.said


def test_a_changed_file_is_noticed(folder: Path) -> None:
    before = content(folder)
    assert xasm(folder, "build", "good.asm", "-t", CHIP, *ALL).code == 0
    after = content(folder)
    assert before.keys() ^ after.keys() == {"new.bin"}
    assert [name for name in before if before[name] != after[name]] == sorted(OUTPUTS, key=list(before).index)
