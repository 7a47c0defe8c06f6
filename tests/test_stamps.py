"""STAMP: checksums, lengths and texts. The check values are those of the published catalogue of parametrised CRC algorithms,
each over the nine characters "123456789": CRC-16/IBM-3740 0x29B1, CRC-16/XMODEM 0x31C3, CRC-16/KERMIT 0x2189, CRC-32/ISO-HDLC
0xCBF43926; the sum of the nine codes is 0x1DD."""

from __future__ import annotations

import zlib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.asking import CHIP
from tests.invented import BRANCHES, chip
from tests.test_boards import on_board, windows
from xasm.building import Choices, build_sources, link_modules
from xasm.formats.module_reading import read_module
from xasm.formats.modules import write_module
from xasm.linking.stamps import CRCS
from xasm.reports.listing import listing
from xasm.source.diagnostics import Report, SourceErrors
from xasm.source.files import Source
from xasm.target.model import Target

DIGITS = b"123456789"
CHECKS = {"CRC16": 0x29B1, "CRC16_XMODEM": 0x31C3, "CRC16_KERMIT": 0x2189, "CRC32": 0xCBF43926}
BIG = chip(BRANCHES, order="big")
WIDE = chip('kinds: {}\nforms:\n  - {asm: "NOP", code: "000", cycles: 1}\n', word=12, address=12)


def built(source: str, target: Target = CHIP, **more: Any) -> bytes:
    """All words of a program, which has one span."""
    ((_, words),) = build_sources([Source("a.asm", source)], Choices(target, **more)).image.spans
    return bytes(words)


def wrong(source: str, **more: Any) -> list[tuple[int, str]]:
    with pytest.raises(SourceErrors) as caught:
        build_sources([Source("a.asm", source)], Choices(CHIP, **more))
    return [(one.line, one.code) for one in caught.value.diagnostics]


def test_every_kind_has_a_check_value() -> None:
    assert CHECKS.keys() == CRCS.keys()


@pytest.mark.parametrize("kind", CHECKS)
@pytest.mark.parametrize("target", [CHIP, BIG], ids=["little", "big"])
def test_check_values(kind: str, target: Target) -> None:
    made = built(f'a: DB "123456789"\nb: STAMP {kind}, a, b\n', target)
    assert made[:9] == DIGITS
    assert int.from_bytes(made[9:], "little" if target is CHIP else "big") == CHECKS[kind]
    assert len(made) == 9 + (4 if kind == "CRC32" else 2)


def test_the_sum_of_the_digits() -> None:
    made = built('a: DB "123456789"\nb: STAMP CHECKSUM, a, b + 1\nc:\n')
    assert sum(made) % 256 == 0
    assert made[9] == -0x1DD % 256
    assert sum(built('a: DB "123456789"\n STAMP CHECKSUM, a, b, 0x5A\nb:\n')) % 256 == 0x5A


@given(st.binary(max_size=20), st.binary(max_size=20), st.integers(0, 255))
def test_a_stamp_in_the_middle(before: bytes, after: bytes, total: int) -> None:
    """A sum counts its own word, a CRC leaves its own out."""

    def data(content: bytes) -> str:
        return "".join(f" DB {byte}\n" for byte in content)

    made = built(f"a:\n{data(before)} STAMP CHECKSUM, a, z, {total}\n{data(after)}z:\n")
    assert sum(made) % 256 == total
    made = built(f"a:\n{data(before)} STAMP CRC32, a, z\n{data(after)}z:\n")
    assert made[len(before) : len(before) + 4] == zlib.crc32(before + after).to_bytes(4, "little")


def test_stamps_that_cover_others_are_filled_in_behind_them() -> None:
    made = built("a: STAMP CRC32, a, z\n DB 1,2\nb: STAMP CRC16, b - 2, b\n STAMP CHECKSUM, b - 2, z, 7\nz:\n")
    assert int.from_bytes(made[6:8], "little") == CRCS["CRC16"](b"\1\2")
    assert sum(made[4:9]) % 256 == 7
    assert int.from_bytes(made[:4], "little") == zlib.crc32(made[4:])


def test_length_and_text() -> None:
    made = built("a: DS 700, 1\nb: STAMP LENGTH, a, b\n STAMP TEXT, 8\n", text="rev 3")
    assert made[700:] == (700).to_bytes(2, "little") + b"rev 3\0\0\0"
    assert wrong(" STAMP TEXT, 4\n", text="rev 3") == [(1, "stamp_text_long")]
    assert wrong(" STAMP TEXT, 4\n", text="\u00e4") == [(1, "not_ascii")]
    assert wrong(" STAMP TEXT, 4\n") == [(1, "stamp_no_text")]


def test_gaps_need_a_filler() -> None:
    text = "a: DB 1\n DS 2\n DB 2\nb: STAMP CRC16, a, b\n"
    assert wrong(text) == [(4, "stamp_gap")]
    image = build_sources([Source("a.asm", text)], Choices(CHIP, fill=0xEE)).image
    assert image.spans == [(0, b"\1"), (3, b"\2" + CRCS["CRC16"](b"\1\xee\xee\2").to_bytes(2, "little"))]
    rom = windows("{name: rom, start: 0, size: 9, kind: rom}") + "fill: 0x55\n"
    found = on_board(rom, "a: STAMP CRC32, a, 9\n DB 1\n").image
    assert found.spans == [(0, zlib.crc32(b"\1UUUU").to_bytes(4, "little") + b"\1UUUU")]


def test_a_stamp_in_a_bank_covers_that_bank() -> None:
    banks = [f"{{name: b{bank}, start: 0x40, size: 16, kind: rom, bank: {bank}, image: {bank}000}}" for bank in (1, 2)]
    board = windows(*banks) + "sections: {one: b1, two: b2}\n"
    found = on_board(
        board, "".join(f" SECTION {name}\n DB {value}\ne{value}: STAMP CRC16, 0x40, e{value}\n" for name, value in (("one", 7), ("two", 9)))
    )
    assert found.image.spans == [
        (base, bytes([value]) + CRCS["CRC16"](bytes([value])).to_bytes(2, "little")) for base, value in ((1000, 7), (2000, 9))
    ]


def test_words_wider_than_bytes() -> None:
    """A sum fills a word; a CRC goes over the bytes of a raw binary, and into as many words as it needs."""
    image = build_sources(
        [Source("a.asm", "a: DB 0xFFF, 2\n STAMP CHECKSUM, a, z\nz: STAMP CRC16, a, a + 2\n STAMP CRC32, a, a + 2\n")], Choices(WIDE)
    ).image
    ((_, words),) = image.spans
    data = b"\xff\x0f\x02\x00"
    assert words[2] == -(0xFFF + 2) & 0xFFF
    assert words[3] | words[4] << 12 == CRCS["CRC16"](data)
    assert words[5] | words[6] << 12 | words[7] << 24 == zlib.crc32(data)


def test_stamps_go_through_modules_and_are_listed() -> None:
    text = 'a: DB "123456789"\nb: STAMP CRC16, a, b\n'
    first = build_sources([Source("a.asm", text)], Choices(CHIP))
    back = read_module(write_module(first.program.modules[0]), "a.xo", lambda name, undocumented: CHIP)
    second = link_modules([back], Choices(), Report())
    assert second.image.spans == first.image.spans
    assert listing(first) == listing(second)
    assert "B1 29" in listing(first)


def test_mistakes_are_shown_at_their_operands() -> None:
    assert wrong("a: DB 1\n STAMP CRC16, a + 2, a\n STAMP CHECKSUM, a, 1\n STAMP CRC16, a, gone\n STAMP CHECKSUM, a, z, 300\nz:\n") == [
        (2, "stamp_range"),
        (3, "stamp_outside"),
        (4, "undefined"),
        (5, "out_of_range"),
    ]
    assert wrong("a: STAMP CRC16, a, z\n STAMP CHECKSUM, a, z\nz:\n") == [(2, "stamps_meet")]
