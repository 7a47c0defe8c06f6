"""Files read back: the same image from every format, every message, how a format is found, and junk."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import bincopy
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from tests.formats import image, mistake, read_text, refused, spans, written
from tests.formats.invented import sparse
from xasm.formats import FORMATS, READERS, read_file
from xasm.formats.options import Options
from xasm.formats.reading import MOST_PIECES, Clash, Pieces, ReadImage, Reading
from xasm.source.diagnostics import Fault
from xasm.source.files import LONGEST_FILE
from xasm.source.messages import CATALOGUE

FOLDER = Path(__file__).parent / "formats"
SPARSE = [suffix for suffix in FORMATS if suffix != ".bin"]
WHOLE_WORDS = (".mem", ".txt", ".h", ".c")
NARROW = {".s19": 0xFFFF, ".s28": 0xFF_FFFF}


def cells_of(read: ReadImage) -> dict[int, int]:
    return {start + index: word for start, words in read.spans for index, word in enumerate(words)}


# ---- the same image


def test_every_format_that_is_written_is_read():
    assert list(READERS) == list(FORMATS)
    for suffix, reader in READERS.items():
        assert reader.suffix == suffix
        assert reader.title


@pytest.mark.parametrize("suffix", SPARSE)
@settings(max_examples=60, deadline=None)
@given(data=some.data(), entry=some.none() | some.integers(0, 0xFFFF))
def test_bytes_come_back(suffix, data, entry):
    cells = data.draw(sparse(highest=NARROW.get(suffix, 0xFFFF_FFFF)))
    made = image(spans(cells), {"entry": entry}, address=32)
    read = read_text(suffix, written(suffix, made))
    assert cells_of(read) == cells
    assert [start for start, _ in read.spans] == [part.start for part in made.parts]
    if suffix in (".hex", ".h", ".c"):
        assert read.entry == entry
    again = read.image(made.target)
    assert (again.spans, again.entry) == (made.spans, read.entry)
    assert written(suffix, again) == written(suffix, again)


@pytest.mark.parametrize("suffix", WHOLE_WORDS)
@settings(max_examples=60, deadline=None)
@given(data=some.data(), word=some.sampled_from([1, 3, 4, 5, 7, 9, 10, 12, 16, 18, 24, 31, 32, 40, 64]))
def test_words_of_any_width_come_back(suffix, data, word):
    cells = data.draw(sparse(word))
    made = image(spans(cells), word=word, address=32)
    for told in ({}, {"word": word}):
        read = read_text(suffix, written(suffix, made), **told)
        assert cells_of(read) == cells
        assert read.image(made.target).spans == made.spans


@settings(max_examples=100, deadline=None)
@given(some.data(), some.sampled_from([4, 8, 12, 16, 20, 32, 64]), some.sampled_from(["little", "big"]), some.integers(0, 0x1000))
def test_raw_binaries_come_back(data, word, order, first):
    words = data.draw(some.lists(some.integers(0, (1 << word) - 1), min_size=1, max_size=50))
    made = image({first: words}, word=word)
    read = read_text(".bin", FORMATS[".bin"].write(made, Options(order=order)), address=first, word=word, order=order)
    assert read.image(made.target).spans == made.spans
    assert read.entry is None


def test_what_filled_gaps_comes_back_as_words():
    made = image({0x10: b"\x01\x02", 0x14: b"\x03"})
    for suffix in SPARSE:
        assert read_text(suffix, written(suffix, made, Options(fill=0x76))).spans == [(0x10, b"\x01\x02\x76\x76\x03")]
    assert read_text(".bin", FORMATS[".bin"].write(made, Options()), address=0x10).spans == [(0x10, b"\x01\x02\xff\xff\x03")]


@settings(max_examples=60, deadline=None)
@given(sparse(highest=0xFFFF))
def test_a_library_reads_the_memory_file(cells):
    """Its words are bytes here, so that its addresses and ours count the same."""
    found = bincopy.BinFile()
    found.add_verilog_vmem(written(".mem", image(spans(cells))))
    assert {segment.address + index: byte for segment in found.segments for index, byte in enumerate(segment.data)} == cells


def test_an_image_is_made_for_a_chip_that_can_hold_it():
    read = read_text(".mem", "@FFE 7 FFF")
    assert read.image(image({}, word=12, address=12).target).spans == [(0xFFE, (7, 0xFFF))]
    assert refused("read_wide", read.image, image({}, word=11).target) == "the file has the word 0xFFF; a word of the chip has 11 bits"
    assert refused("read_beyond", read.image, image({}, word=12, address=11).target) == "the words go beyond the highest address 0x7FF"


# ---- words as they gather


@settings(max_examples=300, deadline=None)
@given(
    some.lists(
        some.tuples(some.integers(0, 60), some.lists(some.integers(0, 3) | some.integers(0, 1 << 63), min_size=0, max_size=12)), max_size=14
    )
)
def test_words_gather_as_in_a_dictionary(given_words):
    known: dict[int, int] = {}
    pieces = Pieces()
    for address, words in given_words:
        as_bytes = bytes(words) if max(words, default=0) < 256 else words
        clash = next((index for index, word in enumerate(words) if known.get(address + index, word) != word), None)
        if clash is None:
            pieces.add(address, as_bytes)
            known.update(enumerate(words, address))
        else:
            with pytest.raises(Clash) as caught:
                pieces.add(address, as_bytes)
            assert (caught.value.code, caught.value.index) == ("read_overlap", clash)
            known.update(enumerate(words[:clash], address))
    assert [(start, list(words)) for start, words in pieces.parts()] == list(spans(known).items())


def test_words_may_come_in_any_order_and_twice():
    assert read_text(".txt", "12: 03 04\n10: 01 02\n11: 02 03\n").spans == [(0x10, b"\x01\x02\x03\x04")]
    assert read_text(".mem", "@3 4 @0 1 2 3 4 @5 FFF").spans == [(0, (1, 2, 3, 4)), (5, (0xFFF,))]


def test_too_many_pieces_are_refused():
    text = "".join(f"{2 * index:X}: 1\n" for index in range(MOST_PIECES))
    assert len(read_text(".txt", text).parts) == MOST_PIECES
    code, shown = mistake(".txt", f"{text}FFFFF: 1\n")
    assert code == "read_pieces"
    assert shown.startswith("file:100001:8: error: the words lie in more than 100,000 pieces with gaps between them\n")


# ---- every mistake


class Mistake(NamedTuple):
    code: str
    suffix: str
    title: str
    told: dict[str, int]
    text: str
    says: str


def mistakes(text: str) -> Iterator[Mistake]:
    """The cases of a data file, as its first lines describe them."""
    for block in re.split(r"^== ", text, flags=re.MULTILINE)[1:]:
        head, _, rest = block.partition("\n")
        found = re.fullmatch(r"(\w+) (\.\w+): ([^()]+?)(?: \(([^()]+)\))?", head)
        assert found, head
        content, _, says = rest.partition("-- says\n")
        told = {key: int(value) for key, value in re.findall(r"(\w+)=(\d+)", found[4] or "")}
        yield Mistake(found[1], found[2], found[3], told, content.removesuffix("\n"), says.rstrip("\n"))


MISTAKES = list(mistakes((FOLDER / "mistakes.txt").read_text("ascii")))


@pytest.mark.parametrize("case", MISTAKES, ids=[f"{case.suffix}-{case.title}" for case in MISTAKES])
def test_mistake(case: Mistake):
    found = mistake(case.suffix, case.text, **case.told)
    assert found == (case.code, case.says)


def test_every_message_about_reading_is_met():
    assert len(MISTAKES) > 80
    elsewhere = {"read_unknown", "read_wide", "read_pieces"}
    assert {case.code for case in MISTAKES} | elsewhere == {code for code in CATALOGUE if code.startswith("read_")}
    assert {case.suffix for case in MISTAKES} >= {".bin", ".hex", ".srec", ".mem", ".txt", ".h", ".c"}


def test_the_data_file_is_read_as_it_says():
    (case,) = mistakes("words\n\n== a_b .c: some (word=3, address=10)\nx\ny\n-- says\nfile: z\n  z\n\n")
    assert case == Mistake("a_b", ".c", "some", {"word": 3, "address": 10}, "x\ny", "file: z\n  z")


# ---- lines


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r", "\n\n", " \t\r\n"])
@pytest.mark.parametrize("suffix", [".hex", ".srec", ".mem", ".txt", ".h"])
def test_lines_end_as_they_like(suffix, end):
    made = image({0x10: bytes(range(40)), 0x80: b"a"}, {"entry": 0x10})
    text = written(suffix, made).replace("\n", end)
    assert cells_of(read_text(suffix, f"\ufeff{text}")) == dict(made.cells())
    assert cells_of(read_text(suffix, text.rstrip())) == dict(made.cells())


def test_places_count_lines_of_any_kind_and_characters():
    for end in ("\n", "\r\n", "\r"):
        assert mistake(".hex", f"\ufeff:0100000007F8{end}{end}:0100000107F8{end}:00000001FF")[1].startswith("file:3:12: ")
    assert mistake(".mem", "/* \u00e9\u00e9 \u00e9 */ 1g")[1] == (
        "file:1:13: error: 'g' is no hexadecimal digit\n    /* \u00e9\u00e9 \u00e9 */ 1g\n                ^"
    )
    assert mistake(".mem", "\ufeff1\u00e9")[1] == "file:1:2: error: '\u00e9' cannot stand here; there are " + (
        "hexadecimal words, @ and an address, or comments\n    1\u00e9\n     ^"
    )


def test_fillers_of_tapes_and_old_disks_are_passed_over():
    for suffix in (".hex", ".srec", ".txt"):
        text = written(suffix, image({0: b"abc"}))
        assert read_text(suffix, f"\0\0\0\0{text}\0\0\0\r\n\x1a\x1a\x1a").spans == [(0, b"abc")]


# ---- the memory file of IEEE 1364 (from memory)


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("1 2 3", {0: 1, 1: 2, 2: 3}),
        ("@a\n12 34", {10: 0x12, 11: 0x34}),
        ("@A 1 @0c 2", {10: 1, 12: 2}),
        ("@1_0 1", {16: 1}),
        ("1_2 f_F_ 0__0", {0: 0x12, 1: 0xFF, 2: 0}),
        ("12//34\n56", {0: 0x12, 1: 0x56}),
        ("12/*34*/56/* * / */78", {0: 0x12, 1: 0x56, 2: 0x78}),
        ("/* @5\n1 2 */ 3 // @6", {0: 3}),
        ("// /* no\n1 /* // */ 2", {0: 1, 1: 2}),
        ("1\t2\f3\v4\n\r5", {0: 1, 1: 2, 2: 3, 3: 4, 4: 5}),
        ("000012 0000000000000000000000000012", {0: 0x12, 1: 0x12}),
        ("@20 1\n@10 2 // backwards\n@30", {0x20: 1, 0x10: 2}),
        ("FFFFFFFFFFFFFFFF 1", {0: (1 << 64) - 1, 1: 1}),
    ],
)
def test_what_a_memory_file_may_hold(text, wanted):
    assert cells_of(read_text(".mem", text)) == wanted
    assert cells_of(read_text(".mem", f"{text} \n")) == wanted


def test_words_without_an_address_begin_where_one_says():
    assert read_text(".mem", "1 2", address=0x100).spans == [(0x100, b"\x01\x02")]


@pytest.mark.parametrize("suffix", [".mem", ".txt"])
@settings(max_examples=100, deadline=None)
@given(some.lists(some.integers(0, 0xFFFF), min_size=1, max_size=40), some.data())
def test_words_are_numbers_however_many_digits_they_have(suffix, words, data):
    digits = [f"{word:0{data.draw(some.integers(1, 6))}{data.draw(some.sampled_from('xX'))}}" for word in words]
    row = "".join(f"{digit}{data.draw(some.sampled_from([' ', '  ', chr(9)]))}" for digit in digits)
    assert cells_of(read_text(suffix, row if suffix == ".mem" else f"0:{row}")) == dict(enumerate(words))


# ---- which format it is


@pytest.mark.parametrize("suffix", SPARSE)
def test_the_content_shows_the_format(suffix, tmp_path):
    made = image({0x10: bytes(range(40)), 0x80: b"a"}, {"entry": 0x10})
    wanted = {".s19": ".srec", ".s28": ".srec", ".s37": ".srec", ".h": ".c"}.get(suffix, suffix)
    for name in (f"rom{suffix}", "rom.hex", "rom.bin", "rom.unknown", "rom"):
        (tmp_path / name).write_bytes(FORMATS[suffix].write(made, Options()))
        read = read_file(tmp_path / name)
        assert (cells_of(read), read.suffix, read.path) == (dict(made.cells()), wanted, str(tmp_path / name))


@pytest.mark.parametrize(
    ("name", "text", "wanted"),
    [
        ("rom.MEM", "12 34", ".mem"),
        ("rom.txt", "// words\n@0 12", ".mem"),
        ("rom.mem", "0000: 12", ".txt"),
        ("rom.txt", "/* ours */ // too\n#define A_ADDRESS 3\nint a[] = {1};", ".c"),
        ("rom.hex", "\ufeff\r\n  \nuint8_t a[] = {\n/* 0x1 */ 2};", ".c"),
        ("rom.h", "byte a[] = { /* 0x1 */ 2};", ".c"),
    ],
)
def test_content_first_then_suffix(name, text, wanted, tmp_path):
    (tmp_path / name).write_text(text, "utf-8")
    assert read_file(tmp_path / name).suffix == wanted


def test_a_raw_binary_is_what_shows_nothing(tmp_path):
    path = tmp_path / "rom.bin"
    for data in (b"\x00\x01\x02", b":\x00\x01", b"S1", b"\xff" * 100, b"12 34"):
        path.write_bytes(data)
        assert read_file(path, Reading(address=0x200)).spans == [(0x200, data)]
    path.write_bytes(b":0100000007F8\n:00000001FF\n")
    assert read_file(path).spans == [(0, b"\x07")]
    assert read_file(path, Reading(address=0x200), ".bin").spans == [(0x200, path.read_bytes())]


def test_a_file_of_no_format_is_refused(tmp_path):
    path = tmp_path / "notes"
    for data in (b"Dear reader\n", b"\x7fELF\x00\x01", b"12 34", bytes(100)):
        path.write_bytes(data)
        message = refused("read_unknown", read_file, path)
        assert message == (
            "the content shows no format, and neither does the suffix; those that can be read are raw binary, Intel HEX, "
            "Motorola S-records, hex memory file, hex text, C arrays"
        )
    path.write_bytes(b"")
    assert refused("read_empty", read_file, path) == "there are no words in this file"
    assert refused("cannot_read", read_file, tmp_path / "none.hex").endswith("none.hex': no such file or directory")
    with path.open("wb") as file:
        file.truncate(LONGEST_FILE + 1)
    assert refused("file_too_long", read_file, path) == "the file is longer than 67,108,864 bytes"


# ---- junk


def outcome(suffix: str, data: bytes) -> str | None:
    """The code of the Fault that some bytes give, None when they are read; anything else than that fails the test."""
    try:
        READERS[suffix].read(data, "file", Reading(address=0))
    except Fault as fault:
        assert fault.place is not None
        assert fault.text.isascii() or not data.isascii()
        return fault.code
    return None


@pytest.mark.parametrize("suffix", READERS)
@settings(max_examples=80, deadline=None)
@given(some.binary(max_size=200) | some.text(max_size=200).map(str.encode) | some.text(":S@/*#[]{}='\"\\\n 0123xA,;-").map(str.encode))
def test_junk_gives_a_fault_or_words(suffix, data):
    code = outcome(suffix, data)
    assert code is None or code.startswith("read_")
    for mark in (b":", b"S1", b"@", b"0: ", b"int a[]={", b'char a[]={"'):
        outcome(suffix, mark + data)


@pytest.mark.parametrize("suffix", SPARSE)
@settings(max_examples=60, deadline=None)
@given(some.integers(0, 10_000), some.integers(0, 10_000), some.binary(max_size=3))
def test_a_broken_file_gives_a_fault_or_words(suffix, start, length, instead):
    data = FORMATS[suffix].write(image({0x10: bytes(range(40)), 0x80: b"a"}, {"entry": 0x10}), Options())
    start %= len(data)
    outcome(suffix, data[:start] + instead + data[start + length % 20 :])
