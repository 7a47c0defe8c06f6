"""One image split into several: no word is lost, none is twice, and put together again they are the image."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from tests.formats import image, read_text, refused, spans, written
from tests.formats.invented import sparse
from xasm.formats import FORMATS
from xasm.formats.options import Options
from xasm.formats.splitting import MOST, MOST_LANES, Piece, Window, by_lane, by_size, by_windows
from xasm.linking.image import Image
from xasm.source.messages import CATALOGUE

PARTS = {0x0FFE: b"\x01\x02\x03\x04", 0x1800: b"\x05", 0x3FFF: b"\x06"}


def found(pieces: Sequence[Piece]) -> dict[str, list[tuple[int, bytes | tuple[int, ...]]]]:
    names = [piece.name for piece in pieces]
    assert len(set(names)) == len(names)
    return {piece.name: piece.image.spans for piece in pieces}


# ---- by size


def test_chunks_are_counted_from_the_lowest_address_or_from_an_origin():
    made = image(PARTS)
    low = {"_0": [(0x0FFE, b"\1\2\3\4"), (0x1800, b"\5")], "_3": [(0x3FFF, b"\6")]}
    assert found(by_size(made, 0x1000)) == low
    assert found(by_size(made, 0x1000, 0)) == {
        "_0": [(0x0FFE, b"\1\2")],
        "_1": [(0x1000, b"\3\4"), (0x1800, b"\5")],
        "_3": [(0x3FFF, b"\6")],
    }
    assert found(by_size(made, 0x1000, 0x0FFE)) == low
    assert found(by_size(made, 1, 0x0FFE))["_00003"] == [(0x1001, b"\4")]
    assert found(by_size(image({}), 1)) == {}


def test_with_a_filler_every_chunk_is_whole():
    pieces = by_size(image(PARTS), 0x1000, 0, fill=-1)
    files = [FORMATS[".bin"].write(piece.image, Options()) for piece in pieces]
    assert [(piece.name, len(data)) for piece, data in zip(pieces, files, strict=True)] == [(f"_{index}", 0x1000) for index in range(4)]
    assert files[2] == b"\xff" * 0x1000
    assert b"".join(files) == FORMATS[".bin"].write(image({0: b"\xff", **PARTS}), Options())
    (wide,) = by_size(image({1: [0xABC]}, word=12), 3, 0, fill=0)
    assert wide.image.spans == [(0, (0, 0xABC, 0))]


def test_the_entry_goes_where_its_address_is():
    made = image(PARTS, {"entry": 0x1000, "symbols": {"a": 1}, "public": ("a",)})
    first, second, third = by_size(made, 0x1000, 0)
    assert [piece.image.entry for piece in (first, second, third)] == [None, 0x1000, None]
    assert first.image.symbols == {"a": 1}
    assert made.entry == 0x1000 and made.spans == image(PARTS).spans, "the image itself was changed"


# ---- by windows


def test_windows_have_names_and_may_cover_each_other():
    windows = [Window("_low", 0, 0x1000), Window("_high", 0x1000, 0x3000), Window("_all", 0, 0x4000), Window("_none", 0x4000, 9)]
    assert found(by_windows(image(PARTS), windows)) == {
        "_low": [(0x0FFE, b"\1\2")],
        "_high": [(0x1000, b"\3\4"), (0x1800, b"\5"), (0x3FFF, b"\6")],
        "_all": image(PARTS).spans,
    }
    assert found(by_windows(image(PARTS), windows[3:], fill=7, partly=True)) == {"_none": [(0x4000, b"\7" * 9)]}


def test_a_word_outside_all_windows_is_refused_unless_one_says_so():
    windows = [Window("a", 0x1000, 0x10), Window("b", 0x0FF0, 0x10), Window("c", 0x1800, 1)]
    made = image(PARTS)
    assert refused("split_outside", by_windows, made, windows) == "the word at 0x3FFF lies in no window"
    assert refused("split_outside", by_windows, made, windows[1:]) == "the word at 0x1000 lies in no window"
    assert refused("split_outside", by_windows, made, []) == "the word at 0x0FFE lies in no window"
    assert list(found(by_windows(made, windows, partly=True))) == ["a", "b", "c"]
    assert by_windows(made, [*windows, Window("d", 0x3000, 0x1000)])


# ---- by lane


def test_lanes_of_a_bus_of_two_bytes():
    made = image({0x100: bytes(range(0x10, 0x17)), 0x201: b"\x21"}, {"entry": 0x100, "symbols": {"a": 1}}, start=0x100)
    even, odd = by_lane(made, 2)
    assert found([even, odd]) == {"_0": [(0x80, bytes.fromhex("10121416"))], "_1": [(0x80, bytes.fromhex("111315")), (0x100, b"\x21")]}
    assert (even.image.start, even.image.entry, even.image.symbols) == (0x80, None, {})
    assert written(".txt", odd.image) == "0080: 11 13 15\n0100: 21\n"


@pytest.mark.parametrize(("order", "low"), [("little", "_0"), ("big", "_1")])
def test_lanes_of_wide_words_are_their_bytes(order, low):
    made = image({0x10: [0x123, 0xABC]}, word=12, order=order)
    lanes = found(by_lane(made, 2))
    assert lanes[low] == [(0x10, b"\x23\xbc")]
    assert lanes["_1" if low == "_0" else "_0"] == [(0x10, b"\x01\x0a")]
    assert found(by_lane(made, 1)) == {"_0": [(0x20, bytes.fromhex("2301bc0a" if order == "little" else "01230abc"))]}
    assert list(by_lane(image({0: [1]}, word=64, address=32), 8)[0].image.spans) == [(0, b"\x01")]


def test_a_gap_between_lanes_is_none_within_one():
    assert found(by_lane(image({0: b"\1", 2: b"\2", 6: b"\3"}), 2)) == {"_0": [(0, b"\1\2"), (3, b"\3")]}
    assert list(found(by_lane(image({0: bytes(16)}), 16))) == [f"_{index:02}" for index in range(16)]


# ---- all of them


def together(pieces: Sequence[Piece], address: int = 1, offset: bool = False) -> dict[int, int]:
    """The words of all pieces; with an offset, those of lanes where they were before."""
    cells: dict[int, int] = {}
    for piece in pieces:
        lane = int(piece.name[1:]) if offset else 0
        for at, word in piece.image.cells():
            where = at * address + lane
            assert where not in cells, "a word is twice"
            cells[where] = word
    return cells


def sound(image: Image) -> bool:
    """Whether the spans are disjoint, sorted and never touch."""
    ends = [-1, *(part.end for part in image.parts)]
    return all(part.start > end for part, end in zip(image.parts, ends, strict=False)) and all(len(part.words) for part in image.parts)


@settings(max_examples=200, deadline=None)
@given(sparse(highest=0xFFFF), some.integers(1, 0x5000), some.integers(0, 0xFFFF), some.integers(1, 9))
def test_no_word_is_lost_and_none_is_twice(cells, size, origin, lanes):
    made = image(spans(cells))
    origin = min(origin, made.lowest)
    size = max(size, (made.end - origin) // 1000 + 1)
    pieces = by_size(made, size, origin)
    assert together(pieces) == cells
    for piece in pieces:
        assert sound(piece.image)
        number = int(piece.name[1:])
        assert origin + number * size <= piece.image.lowest and piece.image.end <= origin + (number + 1) * size
        assert read_text(".srec", written(".srec", piece.image)).spans == piece.image.spans
    apart = by_lane(made, lanes)
    assert together(apart, lanes, True) == cells
    assert all(sound(piece.image) for piece in apart)
    middle = made.lowest + size
    halves = [Window("low", 0, middle), Window("high", middle, 0x20000)]
    assert together(by_windows(made, halves)) == cells


def test_a_lost_word_would_be_noticed():
    pieces = by_size(image(PARTS), 0x1000)
    assert together(pieces) == dict(image(PARTS).cells())
    assert together(pieces[1:]) != dict(image(PARTS).cells())
    with pytest.raises(AssertionError, match="twice"):
        together([*pieces, pieces[0]])


# ---- what cannot be


def test_what_cannot_be_is_refused():
    made = image(PARTS)
    wide = image({0xFFFF_FFFF: [1]}, word=64, address=32)
    messages = {
        refused("split_size", by_size, made, 0): "the size of a piece must be 1 or more, not 0",
        refused("split_size", by_lane, made, -1): "the number of lanes must be 1 or more, not -1",
        refused("split_size", by_windows, made, [Window("a", 0, 0)]): "the size of window 'a' must be 1 or more, not 0",
        refused("split_below", by_size, made, 8, 0x1000): "the word at 0x0FFE lies below the origin 0x1000",
        refused("split_many", by_lane, made, MOST_LANES + 1): "this would make more than 256 pieces",
        refused("split_many", by_size, image({0: bytes(MOST + 1)}, address=32), 1): "this would make more than 65,536 pieces",
        refused("split_many", by_size, image({0: b"a", MOST: b"b"}, address=32), 1, 0, 0): "this would make more than 65,536 pieces",
        refused("bad_fill", by_size, made, 8, 0, 256): "the filler 256 (0x100) does not fit a word of 8 bits",
        refused(
            "too_large", by_windows, made, [Window("a", 0, 1 << 27)], 0
        ): "the output would have 134,217,728 bytes; the limit is 67,108,864",
        refused("read_beyond", by_lane, wide, 1): "the words go beyond the highest address 0xFFFFFFFF",
    }
    for shown, wanted in messages.items():
        assert shown == wanted
    assert len(by_size(image({0: bytes(MOST)}, address=32), 1)) == MOST
    assert {code for code in CATALOGUE if code.startswith("split_")} == {"split_size", "split_below", "split_many", "split_outside"}
