"""Every mistake that a table can have, with the whole message that it brings.

Most stand in table_mistakes.txt: a small change to the table below, or to the one in invented.py, and what is printed then.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import NamedTuple

import pytest

from tests.invented import RICH
from xasm.source.diagnostics import Report, SourceErrors
from xasm.source.files import Source
from xasm.source.messages import CATALOGUE
from xasm.target.check import check_target
from xasm.target.loader import read_target

FILE = Path(__file__).parent / "table_mistakes.txt"
TABLE = """\
name: "toy"
title: An invented chip
book: [{title: "Invented databook", edition: "first", read: "all of it"}]
word: 8
address: 12
order: big
start: {at: 0x000}
clock: {unit: cycle, periods: 1, typical: 1MHz}
count: {mnemonics: 5, opcodes: 26}
conventions: Registers are U, V and W.
kinds:
  cell: {choice: {U: 0, V: 1, W: 2, "(P)": 3}}
  data: {number: 8}
  spot: {address: 12}
  near: {relative: 8, from: next}
forms:
  - {asm: "REST", code: "00", cycles: 1, flow: next}
  - {asm: "PUT r,d", code: "010000rr <d>", r: cell, d: data, cycles: 2, flow: next}
  - {asm: "GROW r", code: "011000rr", r: cell, cycles: 1, flow: next}
  - {asm: "LEAP a", code: "1000aaaa aaaaaaaa", a: spot, cycles: 3, flow: jump}
  - {asm: "HOP t", code: "C0 <t>", t: near, cycles: 2, flow: branch}
"""
TABLES = {"toy.yaml": TABLE, "rich.yaml": RICH}
LEAST = 100  # mistakes in the file; fewer, and they were not all read
EXTENDING = {"table_cycle", "table_strike"}  # of tables that extend another: test_table_extends.py
NAMES = {"table_directive_unknown", "table_mnemonic_ours", "table_mnemonic_makers", "table_mnemonic_directive"}  # test_taken_names.py
ELSEWHERE = EXTENDING | NAMES


class Mistake(NamedTuple):
    """A wrong table, the entry of the catalogue that says so, and all that is printed."""

    line: int
    code: str
    text: str
    printed: str
    path: str = "toy.yaml"


def printed(text: str, path: str = "toy.yaml") -> str:
    """What is printed about a table; nothing when it is right."""
    report = Report()
    try:
        target = read_target(Source(path, text), report)
        check_target(target, report)
        report.stop()
    except SourceErrors as errors:
        return str(errors)
    return ""


def changed(*changes: tuple[str, str], path: str = "toy.yaml", texts: Mapping[str, str] = TABLES) -> str:
    """A table with each first text, which must stand in it once, replaced by the second."""
    text = texts[path]
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


def from_file(file: Path = FILE, texts: Mapping[str, str] = TABLES) -> Iterator[Mistake]:
    """The mistakes in a file, made in these texts by name, the first of which is meant unless a line says otherwise."""
    lines = file.read_text("ascii").split("\n")
    path = next(iter(texts))
    for number, line in enumerate(lines, 1):
        if line.startswith("# table: "):
            path = line.removeprefix("# table: ")
        elif line.startswith("== "):
            old, new = lines[number : number + 2]
            assert old[:2] == "- " and new[:1] == "+", f"{file.name}:{number}"
            end = lines.index("", number)
            yield Mistake(
                number,
                line[3:],
                changed((old[2:], new[2:].replace("\\n", "\n")), path=path, texts=texts),
                "\n".join(lines[number + 2 : end]),
                path,
            )


WHOLE = [
    Mistake(0, "table_empty", "", "toy.yaml:1:1: error: the table is empty"),
    Mistake(0, "table_empty", "# nothing yet", "toy.yaml:1:1: error: the table is empty\n    # nothing yet\n    ^"),
    Mistake(0, "table_shape", "- 1", "toy.yaml:1:1: error: a table must be made of keys and values (key: value)\n    - 1\n    ^"),
    Mistake(
        0,
        "table_shape",
        TABLE + "---\nname: other\n",
        "toy.yaml:22:1: error: a table must be one document: '---' cannot stand in it\n    ---\n    ^",
    ),
    Mistake(
        0,
        "table_yaml",
        "\x7fELF\x02\x01\x01\0\0\0",
        "toy.yaml:1:1: error: this is not YAML: it holds the character 0x7F\n    ?ELF??????\n    ^",
    ),
    Mistake(
        0,
        "table_yaml",
        changed(("order: big", "\torder: big")),
        "toy.yaml:6:1: error: this is not YAML: found character '\\t' that cannot start any token\n    \torder: big\n    ^\n"
        "    indent with blanks, not with tabs",
    ),
    Mistake(
        0,
        "table_directive_name",
        changed(("order: big", 'order: big\ndirectives: {"1X": DB}')),
        "toy.yaml:7:14: error: '1X' cannot be a directive of the maker's: capitals and digits, a point in front if need be\n"
        '    directives: {"1X": DB}\n                 ^',
    ),
    Mistake(
        0,
        "table_route",
        changed(("order: big", 'order: big\nroutes: {times: {"LEAP a": 2, "RUSH": 8}, through: ["TAKE (x)"]}')),
        "toy.yaml:7:31: error: no form or mode reads 'RUSH'\n"
        '    routes: {times: {"LEAP a": 2, "RUSH": 8}, through: ["TAKE (x)"]}\n                                  ^\n'
        "toy.yaml:7:53: error: no form or mode reads 'TAKE (x)'\n"
        '    routes: {times: {"LEAP a": 2, "RUSH": 8}, through: ["TAKE (x)"]}\n                                                        ^',
    ),
    Mistake(
        0,
        "table_deep",
        "[" * 10_000,
        f"toy.yaml:1:21: error: the table is nested deeper than 20 levels\n    {'[' * 160}\n    {' ' * 20}^",
    ),
    Mistake(
        0,
        "table_route",
        changed(("order: big", 'order: big\nroutes: {times: {"LEAP a": 2, "RUSH": 8}, through: ["TAKE (x)"]}')),
        "toy.yaml:7:31: error: no form or mode reads 'RUSH'\n"
        '    routes: {times: {"LEAP a": 2, "RUSH": 8}, through: ["TAKE (x)"]}\n                                  ^\n'
        "toy.yaml:7:53: error: no form or mode reads 'TAKE (x)'\n"
        '    routes: {times: {"LEAP a": 2, "RUSH": 8}, through: ["TAKE (x)"]}\n                                                        ^',
    ),
    Mistake(
        0,
        "table_deep",
        "\n".join(" " * depth + "a:" for depth in range(1000)),
        f"toy.yaml:21:21: error: the table is nested deeper than 20 levels\n    {' ' * 20}a:\n    {' ' * 20}^",
    ),
    Mistake(
        0,
        "table_long",
        "a: " + "x" * 5_000_000,
        f"toy.yaml:1:1: error: the table has 5,000,003 characters; the limit is 1,000,000\n    a: {'x' * 157}\n    ^",
    ),
    Mistake(
        0,
        "table_codes",
        changed(("spot: {address: 12}", "spot: {address: 21}"), ('"1000aaaa aaaaaaaa"', '"1aaaaaaa 1aaaaaaa 1aaaaaaa"')),
        "toy.yaml:20:27: error: 'LEAP a' stands for more than 1,048,576 codes\n"
        '      - {asm: "LEAP a", code: "1aaaaaaa 1aaaaaaa 1aaaaaaa", a: spot, cycles: 3, flow: jump}\n' + " " * 30 + "^",
    ),
]
MISTAKES = [*from_file(), *WHOLE]


@pytest.fixture(autouse=True)
def nothing_is_left(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is remembered of so many tables goes with the test."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))


@pytest.mark.parametrize("path", TABLES)
def test_the_table_itself_is_right(path: str) -> None:
    assert printed(TABLES[path], path) == ""


def test_mistakes_were_read() -> None:
    assert len(MISTAKES) - len(WHOLE) >= LEAST


@pytest.mark.parametrize("mistake", MISTAKES, ids=[f"{mistake.code}-{mistake.line or index}" for index, mistake in enumerate(MISTAKES)])
def test_mistake(mistake: Mistake) -> None:
    found = printed(mistake.text, mistake.path)
    assert found == mistake.printed
    assert means(mistake.code, found)


def means(code: str, found: str) -> bool:
    """Whether something printed is the catalogue's entry of that code."""
    entry = re.sub(r"\\\{.*?\\\}", ".+", re.escape(CATALOGUE[code]))
    return re.search(rf"^\w+\.(?:yaml|txt):\d+:\d+: (?:error|warning): {entry}$", found, re.MULTILINE) is not None


def test_a_message_of_another_entry_is_noticed() -> None:
    assert not means("table_kind", "toy.yaml:1:1: error: the table is empty")


def test_every_message_about_tables_is_met() -> None:
    codes = {code for code in CATALOGUE if code.startswith("table_")}
    assert len(codes) > 20
    assert codes - ELSEWHERE == {mistake.code for mistake in MISTAKES}
    assert codes >= ELSEWHERE


def test_so_many_mistakes_that_reading_stops() -> None:
    report = Report()
    with pytest.raises(SourceErrors):
        read_target(Source("toy.yaml", TABLE + "  - REST\n" * 20_000), report)
    assert report.full
    with pytest.raises(SourceErrors):
        read_target(Source("toy.yaml", "a:\n" * 20_000), Report())


def test_several_mistakes_are_told_in_one_run() -> None:
    found = printed(changed(('"00"', "00"), ('"011000rr"', "NO"), ("order: big", "order: large"))).split("\n")
    assert [line for line in found if line.startswith("toy")] == [
        "toy.yaml:17:25: error: put '00' in quotes: YAML would read it as something else",
        "toy.yaml:19:27: error: put 'NO' in quotes: YAML would read it as something else",
    ]
    found = printed(changed(('"00"', '"0"'), ("r: cell, cycles", "r: sell, cycles"), ("order: big", "order: large"))).split("\n")
    assert [line.partition(" error")[0] for line in found if line.startswith("toy")] == [
        "toy.yaml:6:8:",
        "toy.yaml:17:25:",
        "toy.yaml:19:42:",
    ]


@pytest.mark.parametrize("path", TABLES)
def test_a_character_left_out_never_ends_in_a_crash(path: str) -> None:
    table = TABLES[path]
    places = range(0, len(table), 1 + len(table) // 1500)  # some are enough of a long one
    found = [printed(table[:index] + table[index + 1 :], path) for index in places]
    wrong = [text for text in found if text]
    assert len(wrong) > len(places) // 3
    assert all(text.startswith(f"{path}:") for text in wrong)
