"""A chip whose maker writes octal digits: what people read is octal, what programs read stays hexadecimal."""

from __future__ import annotations

import pytest

import xasm
from tests.invented import chip
from xasm.building import Choices, build_sources
from xasm.reports.card import card
from xasm.reports.listing import listing
from xasm.source.files import Source
from xasm.target.decode import Decoder

BODY = """
kinds:
  near: {page: 7, of: self}
  any: {address: 12}
  data: {number: 12}
  small: {unsigned: 3}
  step: {signed: 6}
forms:
  - {asm: "GO t",   code: "00001ttttttt", t: near,  cycles: 1, flow: jump}
  - {asm: "FAR a",  code: "200 <a>",      a: any,   cycles: 2, flow: jump}
  - {asm: "ADD #d", code: "300 <d>",      d: data,  cycles: 2}
  - {asm: "TIE n",  code: "010000000nnn", n: small, cycles: 1}
  - {asm: "MOVE s", code: "010001ssssss", s: step,  cycles: 1}
"""
SOURCE = """
size    EQU 9
        ORG 0o7600
here:   GO here
        FAR 5
        ADD #size
        TIE 7
        MOVE -8
"""


def test_addresses_and_words_are_printed_in_the_makers_digits() -> None:
    octal, plain = (chip(f"digits: {digits}\n{BODY}", word=12, address=12) for digits in ("octal", "hexadecimal"))
    assert (octal.octal, plain.octal, chip(BODY, word=12, address=12).octal) == (True, False, False)
    assert (octal.address_text(0xFFF), octal.word_text(9)) == ("0o7777", "0011")
    assert (octal.hex_address(0xFFF), octal.hex_word(9)) == ("0xFFF", "009")
    assert (plain.address_text(0xFFF), plain.word_text(9)) == ("0xFFF", "009")
    words = list(dict(xasm.assemble(SOURCE, target=octal).cells()).values())
    texts = {}
    for target in (octal, plain):
        at, texts[target.octal] = 0, []
        while at < len(words):
            found = Decoder(target).decode(words[at:], 0xF80 + at)
            assert found is not None
            texts[target.octal].append(found.text)
            at += found.form.size
    assert texts[True] == ["GO 0o7600", "FAR 0o0005", "ADD #0o0011", "TIE 7", "MOVE -8"]
    assert texts[False] == ["GO 0xF80", "FAR 0x005", "ADD #0x009", "TIE 7", "MOVE -8"]
    for text in texts[True]:
        assert xasm.assemble(f" ORG 0o7600\n {text}\n", target=octal).spans


def test_messages_name_addresses_in_the_makers_digits() -> None:
    octal = chip(f"digits: octal\n{BODY}", word=12, address=12)
    with pytest.raises(xasm.SourceErrors) as caught:
        xasm.assemble(" ORG 0o7777\n FAR 0\n", target=octal)
    assert "0o7777" in caught.value.diagnostics[0].message
    assert "0xFFF" not in caught.value.diagnostics[0].message


def test_listing_and_card_are_in_the_makers_digits() -> None:
    octal = chip(f"digits: octal\n{BODY}", word=12, address=12)
    text = listing(build_sources([Source("<source>", SOURCE)], Choices(octal)))
    rows = [" ".join(line.split()) for line in text.splitlines()]
    for row in ("2 = 0o11 size EQU 9", "4 7600 0200 1 here: GO here", "5 7601 1000 0005 2 FAR 5", "6 7603 1400 0011 2 ADD #size"):
        assert row in rows
    assert "here    0o7600        label     <source>:4" in text
    assert "addresses 0o0000..0o7777" in card(octal)
    assert "digits        octal" in card(octal)
    assert "digits" not in card(chip(BODY, word=12, address=12))
