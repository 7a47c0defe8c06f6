"""What tables can say of operands beside plain fields: modes, lists, the chip's own names, bits, assumptions, first operands
behind a comma, bits that are ignored, forms that are not documented. All on invented chips."""

from __future__ import annotations

import sys
from contextlib import nullcontext
from pathlib import Path

import pytest

import xasm
from tests.invented import RICH as RICH_TABLE
from tests.invented import chip, rich
from tests.test_tables import bad_trials, trials, wrong_first_words, wrong_refusals, wrong_returns
from xasm.cli.main import main
from xasm.reports.card import card
from xasm.source.diagnostics import Fault, Report, SourceErrors
from xasm.target import finding
from xasm.target.check import check_target, mnemonics, opcodes
from xasm.target.decode import Decoder
from xasm.target.finding import load_target, table_paths
from xasm.target.model import Target
from xasm.target.modes import Pattern
from xasm.target.statements import encoded

RICH = rich()


def code(source: str, target: Target = RICH, undocumented: bool = False) -> str:
    """The words of a program that fills one span, in hexadecimal."""
    chosen = target.with_undocumented() if undocumented else target
    ((_, words),) = xasm.assemble(source, chosen).spans
    return bytes(words).hex(" ").upper()


def errors(source: str, target: Target = RICH) -> list[tuple[int, int, int, str]]:
    """Line, column, length and entry of the catalogue of every error."""
    with pytest.raises(SourceErrors) as caught:
        xasm.assemble(source, target)
    return [(one.line, one.column, one.length, one.code) for one in caught.value.diagnostics]


def text(words: str, address: int = 0, target: Target = RICH) -> str | None:
    """How words are decoded."""
    found = Decoder(target).decode(bytes.fromhex(words), address)
    return found and found.text


# the whole table


@pytest.mark.parametrize("target", [RICH, RICH.with_undocumented()], ids=["documented", "all"])
def test_the_table_is_right_and_all_words_come_back(target: Target) -> None:
    report = Report()
    check_target(target, report)
    assert report.diagnostics == []
    tried = list(trials(target))
    assert len(tried) > 500
    assert {trial.form for trial in tried} == set(target.forms)
    assert wrong_returns(target, tried, Decoder(target)) == []
    refused = list(bad_trials(target))
    assert len(refused) > 100
    assert wrong_refusals(refused) == []
    codes = opcodes(target) | ({(0x60,), *((0x80 | high, 0) for high in range(32))} if target.undocumented else set())
    assert wrong_first_words(target, codes, Decoder(target)) == []


def test_counts_take_every_value_of_an_ignored_bit_and_no_word_of_a_mode() -> None:
    assert (len(mnemonics(RICH)), len(opcodes(RICH))) == (8, 89)
    assert {(0x00,), (0x01,), (0x50,), (0x51,), (0x52,), (0x53,), (0x24,), (0x25,), (0x26,), (0x27,), (0x11,)} <= opcodes(RICH)
    assert {words for words in opcodes(RICH) if words[0] == 0x42} == {(0x42, *[0] * size, bits) for size in (1, 2, 3) for bits in range(16)}


# modes


MODES = {
    "FETCH ,RX": "11 80",
    "fetch ,ry": "11 C0",
    "FETCH 0,RY": "11 C0",
    "FETCH 1-1,RY": "11 C0",
    "FETCH 5,RY": "11 45",
    "FETCH -16,RX": "11 10",
    "FETCH 16,RX": "11 81 10",
    "FETCH 255,RY": "11 C1 FF",
    "FETCH $,HERE": "11 82 FD",
    "FETCH [0x1234]": "11 83 12 34",
    "FETCH #5": "10 05",
    "FETCH 0x00FF": "12 FF",
    "FETCH 0x0100": "13 01 00",
    "TURN,KX 0x1234,RX": "24 12 34",
    "TURN,KX *0x1234,RY,-": "25 12 34",
    "DIVE [5],KB,KA": "42 83 00 05 03",
    "DIVE ,RX,4": "42 80 04",
}


@pytest.mark.parametrize("statement", MODES)
def test_modes_give_these_words(statement: str) -> None:
    assert code(f" {statement}\n") == MODES[statement]


def test_forms_are_made_for_a_mnemonic_when_it_is_used() -> None:
    target = rich()
    patterns = [row for row in target.rows if isinstance(row, Pattern)]
    assert len(patterns) == 4
    assert code(" NAP\n FETCH #1\n FETCH ,RX\n", target) == "00 10 01 11 80"
    assert [row.asm for row in patterns if row._forms is not None] == ["FETCH s"]
    assert len(target.forms) == 14 + 3 * 6 + 2
    assert all(row._forms is not None for row in patterns)
    assert [form.asm for form in target.forms_of("LEAP")][-2:] == ["LEAP [a]", "LEAP t"]
    assert target.forms_of("LEAP") == tuple(form for form in target.forms if form.mnemonic == "LEAP")


def test_times_targets_and_notes_of_modes_join_those_of_the_row() -> None:
    forms = {form.asm: form for form in RICH.forms if form.row is not None and not form.alias}
    assert [forms[asm].cycles_text() for asm in ("FETCH ,r", "FETCH n,r", "FETCH t,HERE", "FETCH [a]")] == ["3", "5/6", "5+1", "8"]
    assert [forms[asm].cycles_text() for asm in ("LEAP ,r", "LEAP n,r", "LEAP t,HERE")] == ["4/6", "6/9", "6/8+1"]
    assert (forms["FETCH t,HERE"].note, forms["FETCH ,r"].note) == ("far from it", "")
    assert [forms[asm].target for asm in ("LEAP ,r", "LEAP t,HERE", "LEAP [a]", "DIVE t,HERE,l")] == [None, "t", None, "t"]
    assert all(form.alias for form in RICH.forms if form.asm == "TURN,KX *a,x,-")
    assert forms["FETCH [a]"].places["code"][1] > RICH.places["kinds"][1], "it stands where the mode does"


def test_a_value_that_grows_goes_from_mode_to_mode() -> None:
    source = " FETCH last-first,RX\nfirst: DS {count},0\nlast: NAP\n"
    sizes = {count: code(source.format(count=count)) for count in (0, 1, 15, 16, 255)}
    assert {count: words[:8].strip() for count, words in sizes.items()} == {
        0: "11 80 00",
        1: "11 01 00",
        15: "11 0F 00",
        16: "11 81 10",
        255: "11 81 FF",
    }
    assert errors(source.format(count=256)) == [(1, 8, 10, "out_of_range")]


def test_unused_forms_are_told_of_a_mnemonic_with_modes() -> None:
    with pytest.raises(SourceErrors, match=r"its forms: LEAP ,r; LEAP n,r; LEAP t,HERE; LEAP \[a\]; LEAP t") as caught:
        xasm.assemble(" LEAP 5,5\n", RICH)
    assert [(one.line, one.column) for one in caught.value.diagnostics] == [(1, 7)]


def test_a_field_without_bits() -> None:
    plain = chip('kinds: {zero: {unsigned: 0}}\nforms:\n  - {asm: "REST n", code: "07", n: zero, cycles: 1}\n')
    assert code(" REST 0\n REST 4-4\n", plain) == "07 07"
    assert errors(" REST 1\n", plain) == [(1, 7, 1, "out_of_range")]
    assert text("07", target=plain) == "REST 0"
    assert "zero  a number 0\n" in card(plain)


# lists


def test_lists_take_names_in_any_order_each_once() -> None:
    assert code(" PACK KA\n pack kx,ka\n PACK KA,KX\n PACK KD\n PACK KB,KA\n PACK KA,KD\n") == "18 01 18 05 18 05 18 03 18 03 18 03"
    assert code(" PACK #1,KA\n PACK #2,KB,KA\n PACK #3,3\n PACK #4,15\n") == "19 01 01 19 02 03 19 03 03 19 04 0F"
    assert errors(" PACK KA,KX,KA\n PACK KD,KB\n PACK KA,5\n PACK KA,here,KX\n PACK #1,KA,KX\n PACK\n PACK RX\n") == [
        (1, 13, 2, "list_twice"),
        (2, 10, 2, "list_twice"),
        (3, 10, 1, "not_in_list"),
        (4, 10, 4, "not_in_list"),
        (5, 13, 2, "not_in_list"),
        (6, 2, 4, "no_form"),
        (7, 7, 2, "not_in_list"),
    ]
    assert errors(" PACK #1,16\n PACK 5\n") == [(1, 10, 2, "out_of_range"), (2, 7, 1, "not_in_list")]
    assert errors("KD: NAP\n") == [(1, 1, 2, "reserved_word")]


def test_lists_are_decoded_in_the_order_of_the_table() -> None:
    assert [text(f"18 {bits:02X}") for bits in range(9)] == [
        None, "PACK KA", "PACK KB", "PACK KA,KB", "PACK KX", "PACK KA,KX", "PACK KB,KX", "PACK KA,KB,KX", None,
    ]  # fmt: skip
    assert [text(f"19 07 {bits:02X}") for bits in (0, 1, 3, 4, 15)] == [
        "PACK #0x07,0", "PACK #0x07,KA", "PACK #0x07,KA,KB", "PACK #0x07,4", "PACK #0x07,15",
    ]  # fmt: skip


def test_names_of_a_list_add_to_the_time() -> None:
    form = encoded(RICH, "PACK KA", 0).form
    assert form.cycles_text() == "5+n"
    assert [form.cycles_text((0x18, bits)) for bits in (1, 3, 4, 7)] == ["6", "7", "7", "9"]
    assert encoded(RICH, "PACK #1,KA", 0).form.cycles_text() == "6/8"


# names, bits


def test_names_of_the_chip_are_values() -> None:
    assert code(" KEEP LAMP\n KEEP lamp\n DB LAMP-KEYS, Busy\n SHINE busy\nmine EQU LAMP+1\n DB mine\n") == "14 98 14 98 07 87 15 87 99"
    assert errors("Lamp: NAP\nBUSY EQU 5\nlit := 5\n") == [(1, 1, 4, "chip_name"), (2, 1, 4, "chip_name"), (3, 1, 3, "chip_name")]
    assert errors(" DB LAMB\n") == [(1, 5, 4, "undefined")]
    assert errors(" DB LAMP.x\n") == [(1, 5, 6, "undefined")]
    assert code("main: NAP\n.lamp: DB .lamp, LAMP\n") == "00 01 98", "a local name is another"
    assert code(" IF DEFINED lamp\n NAP\n ENDIF\n IF DEFINED lump\n NAP\n ENDIF\n") == "00"


def test_names_and_bits_wait_for_a_chip_that_is_named_later() -> None:
    chip_with_names = next(name for name in table_paths() if load_target(name).names.areas)
    target = load_target(chip_with_names)
    name = next(iter(target.names.groups["data"]))
    source = f"first EQU {name} + 1\nsecond EQU {target.names.areas[0].first}.3\n TARGET {chip_with_names}\n DB first, second\n"
    assert xasm.assemble(source).spans == [(0, bytes([target.symbols[name] + 1, target.names.areas[0].bit + 3]))]
    with pytest.raises(SourceErrors) as caught:
        xasm.assemble(f"{name} EQU 5\n TARGET {chip_with_names}\n")
    assert [(one.line, one.column, one.code) for one in caught.value.diagnostics] == [(1, 1, "chip_name")]


def test_bits_have_addresses() -> None:
    assert code(" SHINE LAMP.0\n SHINE /lamp.7\n SHINE 0x20.4\n SHINE 0x2F.7\n SHINE 0xA0.0\n") == "15 88 16 8F 15 04 15 7F 15 90"
    assert code("spot EQU 0x90\nred EQU spot.1\n DB red, spot.2, (0x90+8).7, later\nlater EQU spot.3\n") == "81 82 8F 83"
    assert code("v := 0x20\n DB v.1\nv := v+1\n DB v.1\n") == "01 09"
    assert errors(" SHINE LAMP.8\n DB 0x91.1\n SHINE KEYS.0\nx EQU 0x20.10\n DB 5.1x\n") == [
        (1, 8, 6, "bad_bit"),
        (2, 5, 6, "byte_without_bits"),
        (3, 8, 6, "byte_without_bits"),
        (4, 7, 7, "bad_bit"),
        (5, 5, 4, "bad_bit"),
    ]
    assert errors(" DB later.9\nlater: NAP\n") == [(1, 5, 7, "bad_bit")]
    assert errors(" DB nobody.3\n NAP 5\n") == [(1, 5, 6, "undefined"), (2, 6, 1, "no_operands_wanted")]
    plain = chip('kinds: {}\nforms: [{asm: "REST", code: "00", cycles: 1}]\n')
    assert errors(" DB 5.1\n", plain) == [(1, 5, 3, "no_bits")]
    assert errors(" DB later.1\nlater: REST\n", plain) == [(1, 5, 7, "no_bits")]


def test_names_and_bits_are_decoded_by_name() -> None:
    assert [text(words) for words in ("14 98", "14 91", "14 92")] == ["KEEP LAMP", "KEEP KEYS", "KEEP 0x92"]
    assert [text(f"15 {bit:02X}") for bit in (0x88, 0x8F, 0x87, 0x80, 0x04, 0x05, 0x7F, 0x91, 0x98, 0xFF)] == [
        "SHINE LAMP.0", "SHINE LAMP.7", "SHINE BUSY", "SHINE 0x90.0", "SHINE ODD", "SHINE 0x20.5", "SHINE 0x2F.7", "SHINE 0xA0.1",
        "SHINE 0x98", "SHINE 0xFF",
    ]  # fmt: skip
    for bit in range(256):
        again = text(f"15 {bit:02X}")
        assert again is not None and encoded(RICH, again, 0).words == (0x15, bit)


# assumptions


def test_what_is_assumed_chooses_the_form_from_there_on() -> None:
    source = " FETCH 0x0012\n FETCH 0x2012\n FETCH later\n ASSUME base, 0x20\n FETCH 0x0012\n FETCH 0x2012\n FETCH later\n"
    source += "later EQU 0x2034\n assume BASE, 0\n FETCH 0x0012\n"
    assert code(source) == "12 12 13 20 12 13 20 34 13 00 12 12 12 12 34 12 12"
    assert code(" FETCH near\n ASSUME base, 0x40\n FETCH near\n ORG 0x4010\nnear:\n") == "13 40 10 12 10"
    assert code(" FETCH @0x4001\n ASSUME bank, 3\n FETCH @0x6001\n", undocumented=True) == "80 01 80 01"
    assert errors(" ASSUME base\n ASSUME x, 1\n ASSUME 5, 1\n ASSUME base, 256\n ASSUME bank, 8\n ASSUME base, later\nlater: NAP\n") == [
        (1, 2, 6, "operand_count"),
        (2, 9, 1, "no_assumption"),
        (3, 9, 1, "no_assumption"),
        (4, 15, 3, "out_of_range"),
        (5, 15, 1, "out_of_range"),
        (6, 15, 5, "not_yet_known"),
    ]


def test_an_assumption_is_decoded_as_the_table_has_it() -> None:
    assert text("12 34") == "FETCH 0x0034"
    assert text("80 01", target=RICH.with_undocumented()) == "FETCH @0x4001"
    kind = RICH.kinds["low"]
    assert not kind.placed and kind.address
    assert "low    a target: the page of 256 words whose number 'base' is assumed to be" in card(RICH)


# a first operand behind a comma


def test_what_stands_behind_the_comma_is_the_first_operand() -> None:
    assert code(" TURN,RX 5\n turn,ry   6\nTURN,RX\t7\na: TURN,9\n TURN RX\n TURN RY ; x\n") == "20 05 21 06 20 07 28 09 30 31"
    assert code("nine EQU 9\n TURN,nine\n TURN,0x10\n") == "28 09 28 10"
    assert errors(" TURN,RX 256\n TURN,RX\n TURN,RX 5,6\n TURN,none 5\n NAP,5\n PAKC,5 1\n DB,5\n TURN,RX  )\n") == [
        (1, 10, 3, "out_of_range"),
        (2, 7, 2, "no_form"),
        (3, 7, 6, "no_form"),
        (4, 7, 6, "no_form"),
        (5, 2, 3, "no_form"),
        (6, 2, 4, "unknown_operation"),
        (7, 2, 2, "no_form"),
        (8, 11, 1, "not_understood"),
    ]
    with pytest.raises(SourceErrors, match=r"'PAKC' is no instruction of the rich and no directive\n.*\n.*\n +did you mean PACK\?"):
        xasm.assemble(" PAKC,5 1\n", RICH)
    lonely = chip('kinds: {}\nforms: [{asm: "REST,KX", code: "01", cycles: 1}]\n')
    with pytest.raises(SourceErrors, match=r"REST cannot be written like this\n.*\n.*\n +its forms: REST,KX"):
        xasm.assemble(" REST KX\n", lonely)
    assert text("20 05") == "TURN,RX 0x05"
    assert text("25 12 34") == "TURN,KX 0x1234,RY"


# relative kinds

SPRINGS = """
kinds:
  near: {relative: 7, from: next, within: 13}
  zero: {relative: 7, from: zero, within: 13}
  all: {relative: 7, from: zero}
  first: {page: 8, of: zero}
forms:
  - {asm: "SPRING t", code: "01 0ttttttt", t: near, cycles: 1, flow: jump}
  - {asm: "ROOT t", code: "02 0ttttttt", t: zero, cycles: 1, flow: jump}
  - {asm: "ROUND t", code: "03 0ttttttt", t: all, cycles: 1, flow: jump}
  - {asm: "FIRST t", code: "04 <t>", t: first, cycles: 1, flow: jump}
"""


def test_distances_wrap_in_their_page() -> None:
    target = chip(SPRINGS, address=15, mnemonics=4, opcodes=3 * 128 + 1)
    report = Report()
    check_target(target, report)
    assert report.diagnostics == []
    tried = list(trials(target))
    assert len(tried) > 10
    assert wrong_returns(target, tried, Decoder(target)) == []
    assert wrong_refusals(bad_trials(target)) == []
    reach = {(0x0100, 0x0141): 0x3F, (0x0100, 0x00C2): 0x40, (0x1FF0, 0x0005): 0x13, (0x0000, 0x1FFF): 0x7D, (0x3FFE, 0x2001): 0x01}
    for (address, goal), distance in reach.items():
        assert encoded(target, f"SPRING {goal}", address).words == (1, distance)
        assert text(f"01 {distance:02X}", address, target) == f"SPRING 0x{goal:04X}"
    for goal, distance in {0: 0, 63: 0x3F, 0x1FFF: 0x7F, 0x1FC0: 0x40}.items():
        assert encoded(target, f"ROOT {goal}", 0x4321).words == (2, distance)
    assert encoded(target, "ROUND 0x7FFF", 0x4321).words == (3, 0x7F)
    assert encoded(target, "FIRST 0xFF", 0x4321).words == (4, 0xFF)
    assert not target.kinds["zero"].placed
    refused = {"SPRING 0x2000": "is in page 1; the instruction reaches page 0", "ROOT 0x4000": "is in page 2", "ROOT 0x40": "-64..+63"}
    for statement, why in refused.items():
        with pytest.raises(Fault) as caught:
            encoded(target, statement, 0x0100)
        assert why in caught.value.text


# undocumented forms


def test_undocumented_forms_are_there_when_they_are_asked_for() -> None:
    assert errors(" HIDE\n FETCH RX++\n") == [(1, 2, 4, "unknown_operation"), (2, 8, 4, "no_form")]
    assert code("HIDE: DB HIDE\n") == "00"
    assert code(" HIDE\n FETCH RX++\n FETCH RY++\n", undocumented=True) == "60 11 84 11 C4"
    every = RICH.with_undocumented()
    assert (text("60"), text("11 84")) == (None, None)
    assert (text("60", target=every), text("11 84", target=every)) == ("HIDE", "FETCH RX++")
    assert "undocumented" in card(RICH)
    assert (len(opcodes(every)), len(mnemonics(every))) == (89, 8), "counts are of what the book has"
    assert len(every.forms) > len(RICH.forms)


@pytest.mark.parametrize("chosen", [["-t", "rich"], []])
def test_the_command_takes_undocumented_forms_when_told_to(chosen: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "rich.yaml").write_text(RICH_TABLE)
    (tmp_path / "prog.asm").write_text(" HIDE\n" if chosen else " TARGET rich\n HIDE\n")
    monkeypatch.setattr(finding, "FOLDERS", (tmp_path,))
    monkeypatch.chdir(tmp_path)
    for options, made in ((["--undocumented"], b"\x60"), ([], None)):
        (tmp_path / "prog.bin").unlink(missing_ok=True)
        monkeypatch.setattr(sys, "argv", ["xasm", "build", "prog.asm", "-o", "prog.bin", "-q", *chosen, *options])
        with pytest.raises(SystemExit) if made is None else nullcontext():
            main()
        assert (tmp_path / "prog.bin").exists() == (made is not None)
        assert made is None or (tmp_path / "prog.bin").read_bytes() == made
    assert xasm.assemble(" HIDE\n", "rich", undocumented=True).spans == [(0, b"\x60")]


# bits that are ignored


def test_ignored_bits_are_made_as_0_and_read_as_either() -> None:
    canonical = {"NAP": (0x00,), "FETCH -1,RX": (0x11, 0x1F), "TURN,KX 0x0102,RY": (0x25, 1, 2)}
    written = {"00": "NAP", "01": "NAP", "50": "NAP", "53": "NAP", "11 1F": "FETCH -1,RX", "11 3F": "FETCH -1,RX"}
    written |= {"25 01 02": "TURN,KX 0x0102,RY", "27 01 02": "TURN,KX 0x0102,RY"}
    for words, statement in written.items():
        assert text(words) == statement
        assert encoded(RICH, statement, 0).words == canonical[statement]
    assert text("02") is None
