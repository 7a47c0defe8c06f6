"""Things that stand side by side without a comma: a word and a value, a value and a pointer, and lists of words that are a
whole statement. With them, distances that reach less than their bits hold, and targets behind the place that is named."""

from __future__ import annotations

import pytest

import xasm
from tests.invented import BRANCHES, chip
from tests.test_tables import bad_trials, trials, wrong_first_words, wrong_refusals, wrong_returns, wrong_rows
from xasm.source.diagnostics import Report
from xasm.target.check import check_target, mnemonics, opcodes
from xasm.target.decode import Decoder
from xasm.target.kinds import NameList

BODY = """
kinds:
  pointer: {choice: {PA: 1, PB: 2}, or: {unsigned: 2, min: 1, max: 2}}
  offset: {choice: {EX: 0x80}, or: {signed: 8, min: -127}}
  small: {unsigned: 4}
  far: {address: 16}
  hop: {relative: 8, from: next, min: -127}
  step: {relative: 4, from: self, max: 5}
  gear:
    list: {WIND: "1---", RISE: "-10-", FALL: "-11-", RING: "---1", DAWN: "110-"}
    apart: blank
  tune:
    list: {RING: 0x4, HUM: 0x1, SING: "-1-"}
    apart: blank
    cycles: {HUM: 3}
    never_alone: [RING]
forms:
  - {asm: "REST",      code: "00",           cycles: 1, flow: next}
  - {asm: "TAKE n(p)", code: "000100pp <n>", n: offset, p: pointer, cycles: 2, flow: next}
  - {asm: "TAKE @n(p)", code: "000101pp <n>", n: offset, p: pointer, cycles: 3, flow: next}
  - {asm: "TAKE t",    code: "18 <t>",       t: hop, cycles: 2, flow: next}
  - {asm: "GO a",      code: "20 <a>",       a: far, cycles: 3, flow: jump}
  - {asm: "GO VIA a",  code: "21 <a>",       a: far, cycles: 5, flow: jump, to: none}
  - {asm: "GO t",      code: "0011tttt",     t: step, cycles: 1, flow: jump}
  - {asm: "CALL a",    code: "22 <a>",       a: far, cycles: 4, flow: call, to: a+2}
  - {asm: "SET n,d",   code: "0100nnnn <d>", n: small, d: offset, cycles: 1, flow: next}
  - {asm: "m",         code: "0101mmmm",     m: gear, cycles: 1, flow: next}
  - {asm: "m",         code: "01100mmm",     m: tune, cycles: 2, flow: next}
"""
OPCODES = 1 + 2 + 2 + 1 + 3 + 14 + 16 + 11 + 6
PAIRS = chip(BODY, mnemonics=12, opcodes=OPCODES, name="pairs")


def code(source: str) -> str:
    """The words of a program that begins at 0."""
    ((_, words),) = xasm.assemble(source, target=PAIRS).spans
    return bytes(words).hex(" ").upper()


def messages(source: str) -> list[str]:
    with pytest.raises(xasm.SourceErrors) as caught:
        xasm.assemble(source, target=PAIRS)
    return [f"{one.line}:{one.column}: {one.message}" for one in caught.value.diagnostics]


def test_the_invented_chip_keeps_the_rules_of_tables() -> None:
    report = Report()
    check_target(PAIRS, report)
    assert report.diagnostics == []
    assert (len(mnemonics(PAIRS)), len(opcodes(PAIRS))) == (12, OPCODES)
    tried = list(trials(PAIRS))
    assert {trial.form for trial in tried} == set(PAIRS.forms)
    assert wrong_rows(PAIRS) == []
    assert wrong_returns(PAIRS, tried, Decoder(PAIRS)) == []
    refused = list(bad_trials(PAIRS))
    assert len(refused) > 10
    assert wrong_refusals(refused) == []
    assert wrong_first_words(PAIRS, opcodes(PAIRS), Decoder(PAIRS)) == []


STATEMENTS = {
    "TAKE 5(PA)": "11 05",
    "TAKE -5 (2)": "12 FB",
    "take 2*(3+1)-1(pb)": "12 07",
    "TAKE (2+3)(PA)": "11 05",
    "TAKE here+1(PB)": "12 01",
    "TAKE @5(PA)": "15 05",
    "TAKE @-1-2(1)": "15 FD",
    "TAKE EX(PA)": "11 80",
    "TAKE @ex(2)": "16 80",
    "TAKE (here + 1)": "18 FF",
    "GO VIA here": "21 00 00",
    "GO via here+0x1234": "21 34 12",
    "GO VIA $1234": "21 34 12",
    "GO VIA $": "21 00 00",
    "GO VIA 0x12 + 3": "21 15 00",
    "GO VIA .near": "21 03 00",
    "GO VIA here.near": "21 03 00",
    "GO 0x1234": "20 34 12",
    "GO VIA here == 0 ? 5 : 6": "21 05 00",
}


@pytest.mark.parametrize("statement", STATEMENTS)
def test_side_by_side(statement: str) -> None:
    near = ".near" in statement
    source = f"here: {statement}\n" + (".near: REST\n" if near else "")
    assert code(source) == STATEMENTS[statement] + (" 00" if near else "")


LISTS = {
    "WIND": "58",
    "RING WIND": "59",
    "wind rise": "5C",
    "FALL": "56",
    "DAWN": "5C",
    "RING": "51",
    "RING HUM": "65",
    "HUM SING": "63",
    "SING HUM RING": "67",
}


@pytest.mark.parametrize("statement", LISTS)
def test_a_list_is_a_whole_statement(statement: str) -> None:
    assert code(f" {statement}\n") == LISTS[statement]
    assert code(f"label: {statement} ; a remark\n") == LISTS[statement]
    words = bytes.fromhex(LISTS[statement])
    found = Decoder(PAIRS).decode(words, 0)
    assert found is not None
    assert code(f" {found.text}\n") == LISTS[statement]
    kind = found.form.fields["m"]
    assert isinstance(kind, NameList)
    assert set(found.text.split()) == {"WIND", "RISE"} if statement == "DAWN" else set(statement.upper().split())


def test_time_of_the_words_of_a_list_is_added() -> None:
    listing = {text: Decoder(PAIRS).decode(bytes.fromhex(words), 0) for text, words in LISTS.items()}
    times = {text: found.form.cycles_text(bytes.fromhex(LISTS[text])) for text, found in listing.items() if found is not None}
    assert {text: times[text] for text in ("WIND", "RING HUM", "HUM SING")} == {"WIND": "1", "RING HUM": "5", "HUM SING": "5"}


WRONG = {
    "RISE FALL": "1:7: 'FALL' and 'RISE' exclude each other",
    "WIND DAWN WIND": "1:12: 'WIND' is in the list already",
    "FALL DAWN": "1:7: 'DAWN' and 'FALL' exclude each other",
    "DAWN WIND": "1:7: 'WIND' is in the list already",
    "WIND HUM": "1:7: this cannot stand in the list; it is made of WIND, RISE, FALL, RING, DAWN",
    "RING HUM RISE": "1:11: this cannot stand in the list; it is made of RING, HUM, SING",
    "WIND 5": "1:7: this cannot stand in the list; it is made of WIND, RISE, FALL, RING, DAWN",
    "WIND RING,RISE": "1:7: WIND cannot be written like this",
    "WIND,RING": "1:2: WIND cannot be written like this",
    "TAKE 5 PA": "1:9: 'PA' cannot stand here",
    "TAKE 5(3)": "1:9: 3 does not fit; the range is 1..2",
    "TAKE -128(PA)": "1:7: -128 (-0x80) does not fit; the range is -127..127",
    "TAKE 5(PA": "1:11: the line ends where ')' is expected",
    "GO VIA": "1:5: GO cannot be written like this",
    "GO VIA,5": "1:5: GO cannot be written like this",
    "GO VIA VIA 5": "1:5: GO cannot be written like this",
    "DB 5(3)": "1:6: '(' cannot stand here",
    "DB 1, x y": "1:10: 'y' cannot stand here",
    "DB x (y z)": "1:7: '(' cannot stand here",
}


@pytest.mark.parametrize("statement", WRONG)
def test_what_cannot_stand_side_by_side(statement: str) -> None:
    assert messages(f" {statement}\n") == [WRONG[statement]]


def test_a_chip_without_such_notation_misses_a_comma() -> None:
    plain = chip(BRANCHES)
    for statement, column, word in (("LD a b", 7, "b"), ("LD a 0x10", 7, "0x10"), ("LD a .b", 7, ".b"), ("LD 5(a)", 6, "(")):
        with pytest.raises(xasm.SourceErrors) as caught:
            xasm.assemble(f" {statement}\n", target=plain)
        (found,) = caught.value.diagnostics
        assert (found.message, found.column) == (f"'{word}' cannot stand here", column)
        assert found.hint == (None if word == "(" else "is a comma missing in front of it?")


def test_a_distance_may_be_narrower_than_its_bits() -> None:
    assert code(" DS 125,0\nhere: TAKE here-125\n")[-5:] == "18 81"
    assert messages(" DS 126,0\nhere: TAKE here-126\n") == ["2:12: 0x0 is -128 away; the branch reaches -127..+127, so it is 1 too far"]
    assert code("here: GO here+5\n") == "35"
    assert code("here: GO here+6\n") == "20 06 00"
    assert Decoder(PAIRS).decode(b"\x18\x80", 0x1000) is None
    assert Decoder(PAIRS).decode(b"\x36", 0x1000) is None


def test_control_goes_behind_the_place_that_is_named() -> None:
    call = Decoder(PAIRS).decode(b"\x22\x00\x10", 0)
    jump = Decoder(PAIRS).decode(b"\x20\x00\x10", 0)
    through = Decoder(PAIRS).decode(b"\x21\x00\x10", 0)
    assert call is not None and jump is not None and through is not None
    assert (call.target, jump.target, through.target) == (0x1002, 0x1000, None)
    assert call.fields == {"a": 0x1000}


def test_a_word_in_a_list_may_change_the_flow() -> None:
    body = BODY.replace("m: gear, cycles: 1, flow: next}", "m: gear, cycles: 1, flow: skip, flow_with: {RING: halt}}")
    assert body != BODY
    decoder = Decoder(chip(body, name="bells"))
    flows = {words: found.flow for words in (b"\x58", b"\x59", b"\x51", b"\x5d") if (found := decoder.decode(words, 0)) is not None}
    assert flows == {b"\x58": "skip", b"\x59": "halt", b"\x51": "halt", b"\x5d": "halt"}
