"""A chip whose maker writes octal digits: what people read is octal, what programs read stays hexadecimal."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import xasm
from tests.invented import chip
from tests.test_cli import run
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


ROWS = ["7300 CLA CLL", "1205 TAD 205", "7001 IAC", "3205 DCA 205", "5201 JMP 201", "0017"]


@pytest.mark.parametrize("sign", [" ", "/ ", "/", ": ", ":"])
def test_recovered_source_is_in_the_makers_digits(tmp_path: Path, sign: str) -> None:
    """A listing of an octal chip, whose addresses have as many digits as its words."""
    (tmp_path / "typed.txt").write_text("".join(f"{0o200 + index:04o}{sign}{row}\n" for index, row in enumerate(ROWS)))
    ran = run(tmp_path, "recover", "typed.txt", "-t", "im6100", "-o", "back.asm", "--names", "names.yaml")
    assert ran.code == 0, ran.said
    source = (tmp_path / "back.asm").read_text()
    assert "ORG 0o0200" in source and "from 0o0204" in source and "0o0017" in source
    assert "0x" not in source
    assert '{at: 0o0201, name: "go_0201"}' in (tmp_path / "names.yaml").read_text()
    (tmp_path / "names.yaml").write_text((tmp_path / "names.yaml").read_text().replace("go_0201", "again"))
    assert run(tmp_path, "recover", "typed.txt", "-t", "im6100", "-o", "back.asm", "--names", "names.yaml").code == 0
    assert "JMP again" in (tmp_path / "back.asm").read_text()
    image = xasm.assemble((tmp_path / "back.asm").read_text(), "im6100")
    assert dict(image.cells()) == {0o200 + index: int(row[:4], 8) for index, row in enumerate(ROWS)}


def test_words_alone_are_no_addresses(tmp_path: Path) -> None:
    (tmp_path / "words.txt").write_text("7300 7001\n7001 5202\n5202\n")
    ran = run(tmp_path, "recover", "words.txt", "-t", "im6100", "-o", "back.asm")
    assert "does not say where its words belong" in ran.said


def test_what_the_bus_shows_is_in_the_makers_digits(tmp_path: Path) -> None:
    assert run(tmp_path, "starter", "ram", "-t", "im6100", "-o", "ram.asm").code == 0
    assert "RAM_FIRST   EQU 0o0400" in (tmp_path / "ram.asm").read_text()
    ran = run(tmp_path, "expect", "ram.asm")
    assert "     1  7777     5025" in ran.shown
    assert "say how it goes: --take 0o0" in ran.said
    answer = re.search(r"--take (0o\d+)=yes", ran.said)
    assert answer is not None
    assert answer[1] not in run(tmp_path, "expect", "ram.asm", "--take", f"{answer[1]}=yes").said
