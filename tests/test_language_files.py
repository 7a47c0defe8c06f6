"""The language: ends of lines and comments, files that bring in files, the chip named in the source."""

from __future__ import annotations

from pathlib import Path

import pytest

import xasm
from tests.asking import CHIP, MAKERS, code, errors, symbols, texts
from tests.invented import BRANCHES, NOTATIONS, table
from xasm.building import Choices, build
from xasm.target import finding


@pytest.fixture
def toys(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two tables that can be named; what was loaded before stays known, so they have names of their own."""
    (tmp_path / "tables").mkdir()
    (tmp_path / "tables/toy-one.yaml").write_text('also: ["Toy1", "toy_first"]\n' + table(BRANCHES, "toy-one"))
    (tmp_path / "tables/toy-two.yaml").write_text(table(NOTATIONS, "toy-two"))
    monkeypatch.setattr(finding, "FOLDERS", (tmp_path / "tables",))
    monkeypatch.chdir(tmp_path)


# a register with a prime, comments, blanks, ends of lines


@pytest.mark.parametrize(
    "line",
    [
        "TRADE P,P'",
        " TRADE P,P' ; it's",
        " trade p,p';it's",
        "\tTRADE\tP , P'\t; 'quoted'",
        "a: TRADE P,P' ; \"it's\"",
        "a TRADE P,P';'",
    ],
)
def test_a_prime_is_no_quote(line: str) -> None:
    assert code(f"{line}\n WIPE P' ; don't\n REST\n", MAKERS) == "10" + "21" + "00"


def test_makers_notations_side_by_side() -> None:
    source = " GET #'A' ; it's\n GET 5\n GET [5]\n GET @Q\n GET Q+ ; +\n GET Q.3\n GET ,Q\n TO $ ; \"\n GET (5)\n GET #-1\n"
    assert code(source, MAKERS) == "4041" + "410500" + "420500" + "43" + "44" + "45" + "46" + "500c00" + "410500" + "40ff"


def test_comments_with_quotes_and_semicolons() -> None:
    source = "; it's \"\n;\n ;;';\n DB ';' ; it's ';'\n DB \";\";\"\na ; ':'\nb: ; '\"\n DB 1;2\n DB '''' ; '\n DB '\"', \"'\" ; \"\n"
    assert code(source) == "3b3b01272227"
    assert symbols(source) == {"a": 2, "b": 2}


def test_a_text_that_does_not_end() -> None:
    assert errors(" DB \"abc ; it's\n DB 'abc ; \"\n DB 'it''\n") == [
        (1, 5, "open_text"),
        (2, 5, "open_text"),
        (3, 9, "open_text"),
    ]


PLAIN = "; head\na: DB 1,2\n DB 3\nb DB 4\n"


@pytest.mark.parametrize(
    "source",
    [
        PLAIN,
        PLAIN.replace("\n", "\r\n"),
        PLAIN.replace("\n", "\r"),
        PLAIN.rstrip("\n"),
        PLAIN.replace(" ", "\t"),
        PLAIN.replace(" ", "  \t "),
        PLAIN.replace(" ", "\xa0"),
        PLAIN.replace("\n", "   \n"),
        PLAIN.replace("\n", " ;\xe4\u20ac\n"),
        PLAIN.replace("\n", "\n\n\n"),
        PLAIN.replace("; head\n", "\f\n"),
        PLAIN.replace("\n ", "\n\f "),
        "\f" + PLAIN,
        PLAIN + "\f",
        PLAIN + " END\n",
        "\ufeff" + PLAIN,
        PLAIN.replace(" ", "\v"),
    ],
)
def test_blanks_and_ends_of_lines(source: str) -> None:
    assert code(source) == "01020304"
    assert symbols(source) == {"a": 0, "b": 3}


def test_control_characters_are_no_text() -> None:
    assert errors(" DB 1\n DB\x00 2\n DB 256\n") == [(2, 4, "control")]
    assert errors(" DB '\x1b'\n")[0][:2] == (1, 6)


def test_long_lines_up_to_a_limit() -> None:
    count = (65536 - len(" DB 255")) // 4
    line = " DB 255" + ",255" * count
    assert code(line + " " * (65536 - len(line))) == "ff" * (count + 1)
    assert code(" DB 1" + " " * 60000 + "; " + "x" * 5000) == "01"
    assert code(f" DB '{'x' * 65000}'") == "78" * 65000
    assert symbols("n" * 60000 + ": STOP") == {"n" * 60000: 0}
    assert errors(f" DB 1{' ' * 65532}\n DB 2\n") == [(1, 1, "line_too_long")]


# files


@pytest.mark.usefixtures("toys")
def test_an_included_file_is_looked_for_beside_the_including_one_then_in_each_folder(tmp_path: Path) -> None:
    for folder in ("main", "main/sub", "one", "two"):
        (tmp_path / folder).mkdir()
    (tmp_path / "main/a.asm").write_text(' INCLUDE "b.inc"\n include \'c.inc\' ; it\'s\n INCLUDE "sub/d.inc"\n')
    (tmp_path / "main/b.inc").write_text(" DB 1\n")
    (tmp_path / "one/b.inc").write_text(" DB 2\n")
    (tmp_path / "two/c.inc").write_text(" DB 3\n")
    (tmp_path / "main/sub/d.inc").write_text(' INCLUDE "e.inc"\n INCLUDE "b.inc"\n')
    (tmp_path / "main/e.inc").write_text(" DB 4\n")
    (tmp_path / "main/sub/e.inc").write_text(" DB 5")
    folders = [str(tmp_path / "one"), str(tmp_path / "two")]
    image = build([str(tmp_path / "main/a.asm")], Choices("toy-one", folders)).image
    assert [image[address] for address in range(5)] == [1, 3, 5, 2, None]
    (tmp_path / "one/c.inc").write_bytes(b"\xef\xbb\xbf DB 6\r\n")
    text = (tmp_path / "main/a.asm").read_text()
    image = xasm.assemble(text, CHIP, path=str(tmp_path / "main/text.asm"), include=folders)
    assert [image[address] for address in range(5)] == [1, 6, 5, 2, None]


def test_names_and_scopes_go_through_included_files(tmp_path: Path) -> None:
    (tmp_path / "in.inc").write_text(".x: DB 1\nv := v + 1\nb: STOP\n.x: DB v\n")
    image = xasm.assemble('v := 5\na: STOP\n INCLUDE "in.inc"\n DB .x, a.x, v\n', CHIP, path=str(tmp_path / "main.asm"))
    assert image.spans == [(0, bytes([0, 1, 0, 6, 3, 1, 6]))]
    (tmp_path / "twice.inc").write_text(" DB v\nv := v + 1\n")
    image = xasm.assemble("v := 1\n" + ' INCLUDE "twice.inc"\n' * 5, CHIP, path=str(tmp_path / "main.asm"))
    assert image.spans == [(0, b"\1\2\3\4\5")]


def test_end_in_an_included_file_ends_the_program(tmp_path: Path) -> None:
    (tmp_path / "in.inc").write_text(" DB 1\n END\n DB 2\n")
    assert xasm.assemble(' INCLUDE "in.inc"\n DB 3\n', CHIP, path=str(tmp_path / "main.asm")).spans == [(0, b"\1")]


def test_a_cycle_of_files_shows_the_chain(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "b.inc").write_text(' DB 1\n INCLUDE "c.inc"\n')
    (tmp_path / "c.inc").write_text(' INCLUDE "../' + tmp_path.name + '/b.inc"\n')
    with pytest.raises(xasm.SourceErrors) as caught:
        xasm.assemble('\n INCLUDE "b.inc"\n', CHIP, path="main.asm")
    again = f"../{tmp_path.name}/b.inc"
    assert str(caught.value) == "\n".join(
        [
            f"c.inc:1:10: error: '{again}' includes itself: main.asm -> b.inc -> c.inc -> {again}",
            f'     INCLUDE "{again}"',
            "             " + "^" * (len(again) + 2),
            "    included from b.inc:2",
            "    included from main.asm:2",
        ]
    )
    (tmp_path / "own.inc").write_text(' INCLUDE "own.inc"\n')
    assert texts(' INCLUDE "own.inc"\n') == ["'own.inc' includes itself: <source> -> own.inc -> own.inc"]


def test_files_that_cannot_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "latin").write_bytes(b" DB 1 ; \xe4\n")
    (tmp_path / "folder").mkdir()
    assert errors(' INCLUDE "latin"\n')[0][2] == "not_text"
    assert errors(' INCLUDE "nowhere"\n INCLUDE "folder" ; it\'s\n') == [(1, 10, "include_missing"), (2, 10, "include_missing")]
    assert errors(" INCLUDE\n INCLUDE x\n INCLUDE 5, 'x'\n") == [(1, 9, "text_wanted"), (2, 10, "text_wanted"), (3, 10, "text_wanted")]
    for text in ('"x', "'x\"", '"', "'"):
        assert errors(f" INCLUDE {text}\n") == [(1, 10, "open_text")]


def test_files_may_be_nested_deep_but_not_without_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for number in range(150):
        (tmp_path / f"f{number}").write_text(f' DB {number}\n INCLUDE "f{number + 1}"\n')
    assert len(errors(' INCLUDE "f0"\n')) == 1
    (tmp_path / "f40").write_text(" DB 40\n")
    assert code(' INCLUDE "f0"\n') == bytes(range(41)).hex()


def test_every_mistake_in_an_included_file_names_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "in.inc").write_text(" DB 256\nx DB )\n")
    with pytest.raises(xasm.SourceErrors) as caught:
        xasm.assemble(' DB 257\n INCLUDE "in.inc"\n DB 258\n', CHIP)
    found = caught.value.diagnostics
    assert [(one.path, one.line, one.chain) for one in found] == [
        ("<source>", 1, ()),
        ("<source>", 3, ()),
        ("in.inc", 1, ("included from <source>:2",)),
        ("in.inc", 2, ("included from <source>:2",)),
    ]


# the chip


@pytest.mark.usefixtures("toys")
def test_target_in_the_source() -> None:
    for written in ("toy-one", "TOY-ONE", "Toy1", "toy1", "TOY_FIRST", '"toy-one"', "'toy1' ; it's", "\ttoy-one\t;"):
        source = f"; first\n\nx EQU 5\n target {written}\n DB x\n STOP\n"
        for target in (None, "toy-one", "toy1"):
            image = xasm.assemble(source + " TARGET toy-one\n", target)
            assert (image.target.name, image.spans) == ("toy-one", [(0, b"\5\0")])
    assert xasm.assemble(" TARGET toy-two\n REST\n").target.name == "toy-two"
    assert code(" TARGET test-chip\n STOP\n target Test-Chip\n") == "00"


@pytest.mark.usefixtures("toys")
def test_target_that_disagrees_is_unknown_or_missing() -> None:
    for target in (None, "toy-one"):
        assert errors(" TARGET toy-one\n TARGET toy-two\n", target) == [(2, 9, "target_twice")]
    assert errors(" TARGET toy-two\n DB 256\n", "toy1") == [(1, 9, "target_twice"), (2, 5, "out_of_range")]
    assert errors(" DB 1\n TARGET nowhere\n DB )\n") == [(2, 9, "unknown_target"), (3, 5, "not_understood")]
    assert errors(" TARGET nowhere\n DB )\n ORG )\n", None) == [(1, 9, "unknown_target")]
    assert errors(" TARGET\n", None)[0] == (1, 2, "operand_count")
    for line in ("STOP", "DB 1", "ORG 5", "DS 1", "ALIGN 2"):
        assert errors(f"x EQU 5\n {line}\n DB )\n", None) == [(2, 2, "no_target")]
    assert errors("x EQU 5\n", None) == [(0, 0, "no_target")]


@pytest.mark.usefixtures("toys")
def test_a_name_given_before_its_chip_may_still_be_a_word_of_the_chip() -> None:
    assert errors("Q EQU 5\np: \n TARGET toy-two\n REST\n", None) == [(1, 1, "reserved_word"), (2, 1, "reserved_word")]
