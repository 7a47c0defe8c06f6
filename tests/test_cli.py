"""The commands, as a person types them: what they print where, what each option does, how they end."""

from __future__ import annotations

import csv
import os
import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import click
import pytest
from intelhex import IntelHex

import xasm
from tests.messages import Case, Shown, cases, content
from tests.test_book import AGREED
from tests.test_table_mistakes import TABLE
from xasm.cli import main
from xasm.formats import FORMATS
from xasm.target.finding import load_target, table_paths
from xasm.target.model import Target

ROOT = Path(__file__).resolve().parent.parent
DATA = Path(__file__).resolve().parent / "cli"
LISTINGS = cases(DATA)
TWELVE = (DATA / "twelve.yaml").read_bytes()  # a chip whose words have 12 bits
TABLES = list(table_paths())
CHIP = next(name for name in TABLES if load_target(name).word == 8)  # any will do: no instruction is used here
TARGET = ["-t", CHIP]
SUFFIXES = [*FORMATS, ".lst"]
# Two parts with a gap of two words between them.
APART = "        ORG 0x10\nfirst:  DB 1, 2\n        ORG 0x14\nlast:   DB 3\n"


class Ran(NamedTuple):
    """How a run ended: exit code, standard output, standard error."""

    code: int
    shown: str
    said: str


def run(folder: Path, *words: str) -> Ran:
    """`python -m xasm` with these words, in a folder."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "100"}
    command = [sys.executable, "-m", "xasm", *words]
    done = subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True, check=False, timeout=300)
    return Ran(done.returncode, done.stdout, done.stderr)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "apart.asm").write_text(APART)
    return tmp_path


def build(folder: Path, *words: str, source: str = "apart.asm") -> Ran:
    """A build that must go well."""
    ran = run(folder, "build", source, *TARGET, *words)
    assert ran.code == 0, ran.said
    return ran


# ---- help


def commands(group: click.Group | None = None, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], click.Command]]:
    """Every command with the words that call it."""
    group = group or main.xasm
    yield path, group
    context = click.Context(group)
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        assert command is not None
        if isinstance(command, click.Group):
            yield from commands(command, (*path, name))
        else:
            yield (*path, name), command


COMMANDS = list(commands())


def lacking(page: str, path: tuple[str, ...], command: click.Command) -> list[str]:
    """What a help page does not mention."""
    wanted = [option for parameter in command.params if isinstance(parameter, click.Option) for option in parameter.opts]
    wanted += [str(parameter.metavar or parameter.name).split()[0] for parameter in command.params if isinstance(parameter, click.Argument)]
    if isinstance(command, click.Group):
        wanted += command.list_commands(click.Context(command))
    missing = [word for word in ["--help", *wanted] if word.lower() not in page.lower()]
    return missing + ([] if list(examples(page, path)) else ["an example"])


def examples(page: str, path: tuple[str, ...]) -> Iterator[list[str]]:
    """The words of the examples in a help page, without `xasm` and what stands behind `|` and `>`."""
    for line in page.partition("Options:")[2].split("\n"):
        match = re.match(r"\s+(?:Example:\s+)?xasm ([^|>]*)", line)
        if match and match[1].split()[: len(path)] == list(path):
            yield shlex.split(match[1])


@pytest.mark.parametrize(("path", "command"), COMMANDS, ids=[" ".join(path) or "xasm" for path, _ in COMMANDS])
def test_help_mentions_every_option_and_an_example_that_works(path: tuple[str, ...], command: click.Command, folder: Path) -> None:
    ran = run(folder, *path, "--help")
    assert (ran.code, ran.said) == (0, "")
    assert lacking(ran.shown, path, command) == []
    assert run(folder, *path, "-h") == ran
    for name in ("first.asm", "rom.asm"):
        (folder / name).write_text(APART)
    (folder / "lantern.yaml").write_text(TABLE)
    (folder / "lantern.txt").write_text(AGREED)
    for name in ("monitor.asm", "lamps.asm", "lamp.asm", "key.asm"):
        (folder / name).write_text("        DB 1\n")
    (folder / "bench.yaml").write_text("windows: [{name: all, start: 0, size: 0x800, kind: rom}]\n")
    if path == ("recover",):
        (folder / "typed.txt").write_text("0000: 01 02 03 04\n0004: 05 06 07 08\n")
        (folder / "rom.bin").write_bytes(bytes(0x200))
        (folder / "page.txt").write_text("001 002 003 004\n005 006 007 010\n")
    if path == ("link",):
        run(folder, "assemble", "monitor.asm", "lamps.asm", *TARGET)
        run(folder, "assemble", "lamp.asm", "key.asm", *TARGET, "-o", "drivers.zip")
    if path == ("compare",):
        run(folder, "build", "first.asm", *TARGET, "-o", "rom.hex", "-o", "old.hex")
        (folder / "rom.bin").write_bytes(bytes(0x10) + b"\x01\x02\xff\xff\x03")
        (folder / "first.asm").write_text("        DB 16 OF 0, 1, 2, 255, 255, 3\n")
    if path == ("expect",):
        run(folder, "starter", "halt", *TARGET, "-o", "first.asm", "--force")
        run(folder, "expect", "first.asm", "-o", "first.csv")
        rows = list(csv.DictReader((folder / "first.csv").read_text().splitlines()))
        (folder / "capture.txt").write_text("".join(f"{row['address']} {row['word']}\n" for row in rows))
    if path == ("starter",):
        (folder / "first.asm").unlink()
    for words in examples(ran.shown, path):
        tried = run(folder, *[CHIP if word == "NAME" else word for word in words])
        assert tried.code == 0, (words, tried.said)


def test_every_command_has_help_and_its_options_have_a_text() -> None:
    assert len(COMMANDS) >= 5
    for path, command in COMMANDS:
        assert command.help and command.help.strip().endswith("."), path
        for parameter in command.params:
            assert not isinstance(parameter, click.Option) or parameter.help, (path, parameter.name)


def test_a_help_page_that_lacks_something_is_noticed(folder: Path) -> None:
    path, command = next(item for item in COMMANDS if item[0] == ("build",))
    page = run(folder, *path, "--help").shown
    assert lacking(page, path, command) == []
    assert lacking(page.replace("--storage", ""), path, command) == ["--storage"]
    assert lacking(page.partition("Example")[0], path, command) == ["an example"]


def test_version(folder: Path) -> None:
    assert run(folder, "--version") == run(folder, "-V") == Ran(0, f"xasm {xasm.__version__}\n", "")


# ---- the chips


def test_target_list_names_every_table(folder: Path) -> None:
    ran = run(folder, "target", "list")
    assert (ran.code, ran.said) == (0, "")
    heading, *rows = ran.shown.splitlines()
    assert heading.split() == ["name", "word", "address", "mnemonics", "opcodes", "chip"]
    assert [row.split()[0] for row in rows] == TABLES
    assert len(rows) >= 3
    for row, name in zip(rows, TABLES, strict=True):
        target = load_target(name)
        assert row.split()[1:5] == [str(target.word), str(target.address), str(target.count["mnemonics"]), str(target.count["opcodes"])]
        assert target.title in row
        assert all(other in row for other in target.also)


@pytest.mark.parametrize("name", TABLES)
def test_target_show_prints_everything_of_a_table(name: str, folder: Path) -> None:
    ran = run(folder, "target", "show", name)
    assert (ran.code, ran.said) == (0, "")
    target = load_target(name)
    assert untold(ran.shown, target) == []
    assert len(target.rows) > 20
    form = target.rows[-1]
    assert form.asm in " ".join(untold(ran.shown.replace(f"\n{form.asm}  ", "\n"), target)), "a form that is missing is noticed"
    for other in (*target.also[:1], name.upper()):
        assert run(folder, "target", "show", other) == ran


def untold(card: str, target: Target) -> list[str]:
    """What a card does not tell: rows with code, time and flow, modes with code and time, kinds, names with their values,
    conventions, books."""
    rows = [re.split(r" {2,}", row) for row in card.splitlines()]
    missing = [
        f"{form.asm}: {form.code_text}"
        for form in target.rows
        if not any(row[:3] == [form.asm, form.code_text, form.cycles_text()] and form.flow in row[3] for row in rows)
    ]
    missing += [
        f"{mode.asm}: {mode.code_text}"
        for modes in target.modes.values()
        for mode in modes.modes
        if not any([mode.asm, mode.code_text, mode.cycles_text()] == row[at : at + 3] for row in rows for at in (1, 2))
    ]
    told = [f"{name} 0x{value:02X}" for group in target.names.groups.values() for name, value in group.items()]
    told += [target.title, *target.kinds, *(book.title for book in target.books), *target.conventions.split("\n")]
    return missing + [text for text in told if text.strip() not in card]


# ---- outputs


def test_the_screen_shows_what_a_file_would_hold(folder: Path) -> None:
    files = [word for suffix in SUFFIXES for word in ("-o", f"out{suffix}")]
    ran = build(folder, *files)
    assert ran.shown == ""
    titles = {suffix: form.title for suffix, form in FORMATS.items()} | {".lst": "listing"}
    assert ran.said.splitlines() == [f"out{suffix}: {titles[suffix]}, 3 bytes from 0x0010" for suffix in SUFFIXES]
    texts = [suffix for suffix in SUFFIXES if suffix == ".lst" or FORMATS[suffix].text]
    assert len(texts) >= 4
    for screen, suffix in [("-", ".lst"), *((f"-{suffix}", suffix) for suffix in texts)]:
        shown = build(folder, "-o", screen)
        assert shown == Ran(0, (folder / f"out{suffix}").read_text(), "")
    assert (folder / "out.bin").read_bytes() == b"\x01\x02\xff\xff\x03"
    assert IntelHex(str(folder / "out.hex")).todict() == {0x10: 1, 0x11: 2, 0x14: 3}


def test_screen_and_files_in_one_run(folder: Path) -> None:
    ran = build(folder, "-o", "-.hex", "-o", "out.HEX", "-o", "-")
    assert ran.shown == (folder / "out.HEX").read_text() + build(folder, "-o", "-").shown
    assert ran.said == "out.HEX: Intel HEX, 3 bytes from 0x0010\n"
    assert build(folder, "-o", "out.HEX", "-o", "-", "-q").said == ""


def test_without_an_output_the_program_is_checked(folder: Path) -> None:
    before = content(folder)
    assert build(folder) == Ran(0, "", f"no errors: 3 bytes for the {load_target(CHIP).name}; name a file to write with -o\n")
    assert build(folder, "--quiet") == Ran(0, "", "")
    assert content(folder) == before


def test_an_output_in_another_folder_replaces_an_older_one(folder: Path) -> None:
    (folder / "out").mkdir()
    (folder / "out" / "x.bin").write_bytes(b"older and longer")
    build(folder, "-o", "out/x.bin")
    assert (folder / "out" / "x.bin").read_bytes() == b"\x01\x02\xff\xff\x03"
    assert sorted(content(folder)) == ["apart.asm", "out/x.bin"]


# ---- options


def test_name_is_that_of_the_arrays(folder: Path) -> None:
    shown = build(folder, "-o", "-.h", "--name", "lamp").shown
    assert "lamp_0010[2]" in shown and "lamp_0014[1]" in shown and "#ifndef LAMP_H" in shown
    assert "apart_0010[2]" in build(folder, "-o", "-.h").shown, "else the name of the source"
    (folder / "2 lamps.asm").write_text("        DB 1\n")
    assert re.search(r"const uint8_t [A-Za-z_]\w*\[1\]", build(folder, "-o", "-.h", source="2 lamps.asm").shown)


@pytest.mark.parametrize(("written", "value"), [("0", 0), ("0xEA", 0xEA), ("0EAH", 0xEA), ("$EA", 0xEA), ("%11", 3), ("-1", 0xFF)])
def test_fill_fills_gaps(folder: Path, written: str, value: int) -> None:
    """In every format; a number is written as in source."""
    ran = build(folder, f"--fill={written}", "-o", "out.bin", "-o", "out.hex", "-o", "-.h", "-q")
    assert (folder / "out.bin").read_bytes() == bytes([1, 2, value, value, 3])
    assert IntelHex(str(folder / "out.hex")).tobinarray().tolist() == [1, 2, value, value, 3]
    assert f"apart[5] = {{\n    /* 0x0010 */ 0x01, 0x02, 0x{value:02X}, 0x{value:02X}, 0x03,\n}};" in ran.shown


def test_storage_and_include_go_into_the_c_array(folder: Path) -> None:
    plain = build(folder, "-o", "-.h", "--fill", "0").shown
    shown = build(folder, "-o", "-.h", "--fill", "0", "--storage", "FLASH", "--include", "a/b.h", "--include", '"c.h"').shown
    changed = plain.replace("#include <stdint.h>\n", '#include <stdint.h>\n#include <a/b.h>\n#include "c.h"\n')
    assert shown == changed.replace("apart[5] =", "apart[5] FLASH =")


def test_order_is_that_of_the_bytes_of_wide_words(tmp_path: Path) -> None:
    for number, (words, expected) in enumerate(
        ((["--order", "big"], b"\x01\x23\x0a\xbc"), (["--order", "little"], b"\x23\x01\xbc\x0a"), ([], b"\x23\x01\xbc\x0a"))
    ):
        folder = tmp_path / str(number)
        name = f"twelve{number}"
        files = {"prog.asm": b"        DB 0x123, 0xABC\n", f"targets/{name}.yaml": TWELVE.replace(b"twelve", name.encode())}
        command = ["build", "prog.asm", "-t", name, "-o", "out.bin", *words]
        shown = Shown(Case("here", [], "order", command, files), folder)
        assert (shown.exit, shown.says) == (0, "out.bin: raw binary, 2 12-bit words from 0x00\n")
        assert (folder / "out.bin").read_bytes() == expected


def test_folders_are_searched_in_order_behind_the_own_one(folder: Path) -> None:
    (folder / "prog.asm").write_text('        INCLUDE "value.inc"\n        DB value\n')
    for number, name in enumerate(("one", "two"), 1):
        (folder / name).mkdir()
        (folder / name / "value.inc").write_text(f"value   EQU {number}\n")

    def value(*words: str) -> int:
        build(folder, "-o", "out.bin", *words, source="prog.asm")
        return (folder / "out.bin").read_bytes()[0]

    assert run(folder, "build", "prog.asm", *TARGET).code == 1
    assert value("-I", "one", "-I", "two") == 1
    assert value("--folder", "two", "-I", "one") == 2
    (folder / "value.inc").write_text("value   EQU 3\n")
    assert value("-I", "one") == 3


def test_several_sources_are_modules_of_one_program(folder: Path) -> None:
    (folder / "more.asm").write_text("        EXTERN first, last\n        ORG 0x12\nmiddle: DB last - first, middle\n")
    (folder / "apart.asm").write_text("        PUBLIC first, last\n" + (folder / "apart.asm").read_text())
    ran = run(folder, "build", "apart.asm", "more.asm", *TARGET, "-o", "out.bin", "-o", "-")
    assert (folder / "out.bin").read_bytes() == b"\x01\x02\x04\x12\x03"
    assert [row.strip() for row in ran.shown.splitlines() if row.strip().startswith("(")] == ["(apart.asm)", "(more.asm)"]
    swapped = run(folder, "build", "more.asm", "apart.asm", *TARGET, "-o", "-.h", "--name", "x")
    assert swapped.shown == run(folder, "build", "apart.asm", "more.asm", *TARGET, "-o", "-.h", "--name", "x").shown


def test_the_source_may_name_the_chip(folder: Path) -> None:
    (folder / "prog.asm").write_text(f"        TARGET {CHIP}\n        DB 1\n")
    assert run(folder, "build", "prog.asm").code == 0
    assert run(folder, "build", "prog.asm", "-t", CHIP.upper()).code == 0
    other = next(name for name in TABLES if name != CHIP)
    assert run(folder, "build", "prog.asm", "--target", other).code == 1


@pytest.mark.parametrize(
    ("option", "source"),
    [
        ("--most-lines", "        REPT 11\n        DB 1\n        ENDM\n"),
        ("--most-files", '        INCLUDE "part.inc"\n' * 11),
        ("--deepest", "more MACRO n\n IF {n}\n DB 1\n more {n}-1\n ENDIF\n ENDM\n more 10\n"),
    ],
)
def test_limits(folder: Path, option: str, source: str) -> None:
    """Eleven of something: too much for a limit of 10 and not for one of 11. The message names the option."""
    (folder / "part.inc").write_text("        DB 1\n")
    (folder / "prog.asm").write_text(source)
    ran = run(folder, "build", "prog.asm", *TARGET, option, "10")
    assert ran.code == 1 and f"; {option} sets this limit" in ran.said
    assert run(folder, "build", "prog.asm", *TARGET, option, "11").code == 0


# ---- exit codes and streams


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (["build", "apart.asm", *TARGET, "-o", "-"], 0),
        (["build", "wrong.asm", *TARGET, "-o", "-"], 1),
        (["build", "wrong.asm", "gone.asm", *TARGET, "-o", "-"], 2),
        (["build", "apart.asm", "-o", "-"], 1),
        (["build", "apart.asm", "-t", "nonesuch", "-o", "-"], 2),
        (["build", "apart.asm", *TARGET, "-o", "-", "--nonesuch"], 2),
        (["build", "-o", "-"], 2),
        (["target", "show", CHIP], 0),
        (["target", "show", "nonesuch"], 2),
        (["nonesuch"], 2),
        ([], 2),
    ],
)
def test_exit_codes_and_streams(folder: Path, words: list[str], code: int) -> None:
    """What was asked for goes to standard output and messages to standard error, never both."""
    (folder / "wrong.asm").write_text("        DB 1\n        nonesuch\n")
    ran = run(folder, *words)
    assert ran.code == code
    assert bool(ran.shown) == (code == 0)
    assert bool(ran.said) == (code != 0)


def test_errors_show_the_place_and_nothing_is_written(folder: Path) -> None:
    (folder / "wrong.asm").write_text("        DB 1\n        nonesuch\n")
    before = content(folder)
    ran = run(folder, "build", "wrong.asm", *TARGET, "-o", "out.bin", "-o", "-")
    assert ran.said.startswith("wrong.asm:2:9: error: 'nonesuch' is no instruction of the ")
    assert content(folder) == before


def test_python_runs_the_same_program(folder: Path) -> None:
    build(folder, "-o", "out.hex")
    assert IntelHex(str(folder / "out.hex")).todict() == dict(xasm.assemble(APART, CHIP).cells())


# ---- the listing


@pytest.mark.parametrize("case", LISTINGS, ids=[case.origin for case in LISTINGS])
def test_listing(case: Case, tmp_path: Path) -> None:
    """A whole listing: addresses, words, cycles and source in columns, long data in several rows, what includes, macros and
    repeats brought in marked, the symbols at the end."""
    shown = Shown(case, tmp_path)
    assert shown.prints == case.prints
    assert (shown.exit, shown.says) == (0, case.says)


def test_there_is_a_listing() -> None:
    assert LISTINGS
    printed = LISTINGS[0].prints
    for mark in ("\n    >1 ", "\n   >>1 ", " 2/3+1 ", "(1 free)", "= 0x4000", "\nsymbol ", " variable "):
        assert mark in printed


def test_tabs_and_wide_words_keep_the_columns(tmp_path: Path) -> None:
    source = b"one:\tDB\t0x123\t; one\n        DB 1, 2, 3, 4, 5, 6, 7, 8, 9\nlong_name_of_a_thing EQU 300\n"
    files = {"prog.asm": source, "targets/twelve.yaml": TWELVE}
    shown = Shown(Case("here", [], "listing", ["build", "prog.asm", "-t", "twelve", "-o", "-"], files), tmp_path)
    assert shown.prints.splitlines()[2:] == [
        "  line  address  words                            cycles  source",
        "     1  00       123                                      one:    DB      0x123   ; one",
        "     2  01       001 002 003 004 005 006 007 008                  DB 1, 2, 3, 4, 5, 6, 7, 8, 9",
        "        09       009",
        "     3           = 0x12C                                  long_name_of_a_thing EQU 300",
        "",
        "symbol                value         kind      defined",
        "long_name_of_a_thing  0x12C         constant  prog.asm:3",
        "one                   0x00          label     prog.asm:1",
    ]


def test_a_program_without_names_says_so(folder: Path) -> None:
    (folder / "prog.asm").write_text("        DB 1\n")
    assert build(folder, "-o", "-", source="prog.asm").shown.endswith("DB 1\n\nno symbols\n")
