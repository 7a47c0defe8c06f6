"""Chips whose words are wider than a byte, from source to files: 12 and 10 bits, both invented."""

from __future__ import annotations

import pytest

import xasm
from tests.invented import chip
from tests.test_tables import bad_trials, trials, wrong_refusals, wrong_returns
from xasm.building import Choices, build_sources
from xasm.formats import FORMATS
from xasm.formats.options import Options
from xasm.reports.listing import listing
from xasm.source.diagnostics import Report, SourceErrors
from xasm.source.files import Source
from xasm.target.check import check_target
from xasm.target.decode import Decoder
from xasm.target.model import Target

TWELVE = chip(
    """
kinds:
  ring: {choice: {RX: 0, RY: 1, RZ: 2}}
  small: {unsigned: 7}
  full: {number: 12}
  double: {number: 24}
  here: {page: 7, of: self}
  far: {address: 15}
  way:
    modes:
      - {asm: "a", code: "", a: here, cycles: 0}
forms:
  - {asm: "NAP", code: "111100------", cycles: 1, flow: halt}
  - {asm: "TAKE w", code: "00100aaaaaaa <w>", w: way, cycles: 2}
  - {asm: "TAKE r,w", code: "00101aaaaaaa <w> 0000000000rr", r: ring, w: way, cycles: 3}
  - {asm: "TAKE #n", code: "400 <n>", n: full, cycles: 2}
  - {asm: "TAKE @n", code: "401 <n>", n: double, cycles: 3}
  - {asm: "LEAP a", code: "500 <a>", a: far, cycles: 3, flow: jump}
  - {asm: "SPIN r,n", code: "011rrnnnnnnn", r: ring, n: small, cycles: 1}
""",
    name="twelve",
    word=12,
    address=15,
    order="big",
    mnemonics=4,
    opcodes=64 + 128 + 3 * 128 + 3 + 3 * 128,
)
TEN = chip(
    """
kinds:
  far: {address: 13}
  full: {number: 10}
  odd: {unsigned: 9}
forms:
  - {asm: "NAP", code: "3FF", cycles: 1, flow: halt}
  - {asm: "TAKE #n", code: "200 <n>", n: full, cycles: 2}
  - {asm: "TAKE n", code: "0nnnnnnnnn", n: odd, cycles: 2}
  - {asm: "LEAP a", code: "201 <a>", a: far, cycles: 3, flow: jump}
""",
    name="ten",
    word=10,
    address=13,
    order="little",
    mnemonics=3,
    opcodes=515,
)

SOURCE = """\
        ORG 0x0100
begin:  TAKE 0x0105
        TAKE RZ,begin
        TAKE #-1
        TAKE @0x123456
        LEAP later
        SPIN RY,0x7F
later:  NAP
        DB 0xFFF, -2048, "A"
        DW 0x123456
"""
WORDS = [0x205, 0x280, 2, 0x400, 0xFFF, 0x401, 0x123, 0x456, 0x500, 0, 0x10C, 0x6FF, 0xF00, 0xFFF, 0x800, 0x41, 0x123, 0x456]


@pytest.mark.parametrize("target", [TWELVE, TEN], ids=["12", "10"])
def test_the_tables_are_right_and_all_words_come_back(target: Target) -> None:
    report = Report()
    check_target(target, report)
    assert report.diagnostics == []
    tried = list(trials(target))
    assert len(tried) > 500
    assert wrong_returns(target, tried, Decoder(target)) == []
    refused = list(bad_trials(target))
    assert len(refused) > 5
    assert wrong_refusals(refused) == []


def test_words_of_a_program() -> None:
    image = xasm.assemble(SOURCE, TWELVE)
    assert image.spans == [(0x100, tuple(WORDS))]
    assert image.symbols == {"begin": 0x100, "later": 0x10C}
    assert xasm.assemble(" TAKE #-1\n TAKE 0x155\n LEAP 0x1FFF\n DB 0x3FF\n DW 0xFFFFF\n", TEN).spans == [
        (0, (0x200, 0x3FF, 0x155, 0x201, 0x3FF, 0x007, 0x3FF, 0x3FF, 0x3FF))
    ]


def test_what_does_not_fit_a_word_is_refused() -> None:
    with pytest.raises(SourceErrors) as caught:
        xasm.assemble(" DB 0x1000\n DB -2049\n TAKE #4096\n DW 0x1000000\n ORG 0x8000\n", TWELVE)
    assert [(one.line, one.code) for one in caught.value.diagnostics] == [
        *((line, "out_of_range") for line in range(1, 5)),
        (5, "beyond_space"),
    ]


def test_a_listing_shows_whole_words() -> None:
    linked = build_sources([Source("wide.asm", SOURCE)], Choices(TWELVE))
    rows = listing(linked).splitlines()
    shown = [row[8:56].split("  ") for row in rows if row[:6].strip().isdigit()]
    assert [(address.strip(), next(text for text in rest if text.strip()).strip()) for address, *rest in shown[1:5]] == [
        ("0100", "205"),
        ("0101", "280 002"),
        ("0103", "400 FFF"),
        ("0105", "401 123 456"),
    ]


def test_files_take_whole_bytes_for_a_word() -> None:
    image = xasm.assemble(SOURCE, TWELVE)
    high_first = b"".join(word.to_bytes(2, "big") for word in WORDS)
    low_first = b"".join(word.to_bytes(2, "little") for word in WORDS)
    raw = FORMATS[".bin"].write
    assert [raw(image, Options(order=order)) for order in ("big", "little", None)] == [high_first, low_first, high_first]
    assert raw(xasm.assemble(" DB 0x3FF\n", TEN), Options()) == b"\xff\x03"
    header = FORMATS[".h"].write(image, Options(name="wide")).decode()
    assert "static const uint16_t wide[" in header
    assert "0x205" in header
    assert "0x10C" in header
    with pytest.raises(Exception, match="a word of this chip has 12 bits"):
        FORMATS[".hex"].write(image, Options())
