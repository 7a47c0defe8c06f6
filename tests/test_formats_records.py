"""Records: S-records as they are written, S-records and Intel HEX read, against published examples and a library."""

from __future__ import annotations

import string

import bincopy
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from tests.formats import image, mistake, read_text, refused, spans, written
from tests.formats.invented import sparse
from xasm.formats import FORMATS
from xasm.formats.options import Options
from xasm.source.diagnostics import Fault

S_RECORDS = (".srec", ".s19", ".s28", ".s37")

# The example that Motorola's manuals of the 68000 family take apart record by record (from memory).
MANUAL = """S00600004844521B
S1130000285F245F2212226A000424290008237C2A
S11300100002000800082629001853812341001813
S113002041E900084E42234300182342000824A952
S107003000144ED492
S9030000FC
"""
MANUAL_BYTES = bytes.fromhex("285F245F2212226A000424290008237C 00020008000826290018538123410018 41E900084E42234300182342000824A9 00144ED4")
# An example that encyclopedias print (from memory): a short program and its text.
ENCYCLOPEDIA = """S00F000068656C6C6F202020202000003C
S11F00007C0802A6900100049421FFF07C6C1B787C8C23783C6000003863000026
S11F001C4BFFFFE5398000007D83637880010014382100107C0803A64E800020E9
S111003848656C6C6F20776F726C642E0A0042
S5030003F9
S9030000FC
"""
# The same for Intel HEX (from memory).
INTEL = """:10010000214601360121470136007EFE09D2190140
:100110002146017E17C20001FF5F16002148011928
:10012000194E79234623965778239EDA3F01B2CAA7
:100130003F0156702B5E712B722B732146013421C7
:00000001FF
"""
INTEL_BYTES = bytes.fromhex(
    "214601360121470136007EFE09D21901 2146017E17C20001FF5F160021480119 194E79234623965778239EDA3F01B2CA 3F0156702B5E712B722B732146013421"
)


def bytes_of(suffix: str, text: str) -> dict[int, int]:
    """Bytes at addresses, as the library reads a text."""
    found = bincopy.BinFile()
    if suffix == ".hex":
        found.add_ihex(text)
    else:
        found.add_srec(text)
    return {segment.address + index: byte for segment in found.segments for index, byte in enumerate(segment.data)}


def cells_of(read) -> dict[int, int]:
    return {start + index: word for start, words in read.spans for index, word in enumerate(words)}


# ---- published examples


def test_published_s_records_are_read():
    manual = read_text(".srec", MANUAL)
    assert (manual.spans, manual.entry, manual.title) == ([(0, MANUAL_BYTES)], 0, "HDR")
    other = read_text(".srec", ENCYCLOPEDIA)
    ((start, words),) = other.spans
    assert (start, len(words), words[0x38:], other.title) == (0, 70, b"Hello world.\n\0", "hello     \0\0")


def test_published_s_records_are_written():
    made = image({0: MANUAL_BYTES}, {"entry": 0})
    assert written(".srec", made, Options(name="HDR")) == MANUAL.replace("S9", "S5030004F8\nS9")
    assert "S5030003F9\nS9030000FC\n" in written(".s19", image({0: bytes(48)}, {"entry": 0}))


def test_published_intel_hex_is_read():
    assert read_text(".hex", INTEL).spans == [(0x100, INTEL_BYTES)]
    for addresses, first in (
        (":020000021200EA", 0x12000),
        (":020000040800F2", 0x0800_0000),
        (":02000004FFFFFC", 0xFFFF_0000),
        (":020000040000FA", 0),
    ):
        assert read_text(".hex", f"{addresses}\n{INTEL}").spans == [(first + 0x100, INTEL_BYTES)]
    assert read_text(".hex", f":0400000300003800C1\n{INTEL}").entry == 0x3800
    assert read_text(".hex", f":04000005000000CD2A\n{INTEL}").entry == 0xCD


# ---- S-records as they are written


@pytest.mark.parametrize(
    ("start", "entry", "data", "end"),
    [
        (0, 0, "S1", "S9030000FC"),
        (0xFFF0, 0xFFFF, "S1", "S903FFFFFE"),
        (0xFFF1, 0, "S2", "S804000000FB"),
        (0x10, 0x10000, "S2", "S804010000FA"),
        (0xFF_FFF0, 0xFF_FFFF, "S2", "S804FFFFFFFE"),
        (0xFF_FFF1, 0, "S3", "S70500000000FA"),
        (0x10, 0x0100_0000, "S3", "S70501000000F9"),
        (0xFFFF_FFF0, 0xFFFF_FFFF, "S3", "S705FFFFFFFFFE"),
    ],
)
def test_addresses_are_as_short_as_they_can_be(start, entry, data, end):
    made = image({start: bytes(16)}, {"entry": entry}, address=32)
    _, first, _, last = written(".srec", made).splitlines()
    assert (first[:2], last) == (data, end)
    for suffix in S_RECORDS[1:]:
        kind = f"S{S_RECORDS.index(suffix)}"
        if kind < data:
            message = refused("narrow_record", FORMATS[suffix].write, made, Options())
            highest = max(start + 15, entry)
            assert message == f"address 0x{highest:08X} does not fit {suffix}, where an address has {8 * int(kind[1]) + 8} bits"
        else:
            rows = written(suffix, made).splitlines()
            assert (rows[1][:2], rows[-1][:2]) == (kind, f"S{10 - int(kind[1])}")
            assert read_text(suffix, "\n".join(rows)).spans == [(start, bytes(16))]


def test_the_end_record_says_where_to_start():
    ends = {
        "S9031234B6": image({0: b"a"}, {"entry": 0x1234}, start=0x100),
        "S9030100FB": image({0: b"a"}, start=0x100),
        "S9030000FC": image({0: b"a"}, start=0xFFFC, start_vector=True),
    }
    for end, made in ends.items():
        assert written(".s19", made).splitlines()[-1] == end


def test_the_header_is_the_name():
    def header(name: str) -> str:
        return written(".s19", image({0: b"a"}), Options(name=name)).splitlines()[0]

    assert header("HDR") == "S00600004844521B"
    assert header("boot_rom") == f"S00B0000{b'boot_rom'.hex().upper()}{0xFF - (11 + sum(b'boot_rom')) % 256:02X}"
    assert bytes.fromhex(header("caf\u00e9 \n")[8:-2]) == b"caf? \n"
    assert len(header("n" * 300)) < 80
    assert read_text(".s19", written(".s19", image({0: b"a"}), Options(name="n" * 300))).title == "n" * 32


def test_many_records_are_counted_in_s6():
    few, many = image({0: bytes(0xFFFF * 16)}, address=24), image({0: bytes(0xFFFF * 16 + 1)}, address=24)
    assert written(".srec", few).splitlines()[-2] == "S503FFFFFE"
    text = written(".srec", many)
    assert text.splitlines()[-2] == "S604010000FA"
    assert read_text(".srec", text).spans == [(0, bytes(0xFFFF * 16 + 1))]
    assert mistake(".srec", text.replace("S604010000FA", "S6040100 01F9".replace(" ", "")))[0] == "read_count"


# ---- against the library


@settings(max_examples=150, deadline=None)
@given(sparse(), some.integers(0, 0xFFFF_FFFF), some.sampled_from([1, 7, 16, 32, 250]))
def test_a_library_reads_what_we_write_and_we_read_what_it_writes(cells, entry, row):
    made = image(spans(cells), {"entry": entry}, address=32)
    for suffix in (".srec", ".s37", ".hex"):
        assert bytes_of(suffix, written(suffix, made)) == cells
    theirs = bincopy.BinFile()
    for start, words in spans(cells).items():
        theirs.add_binary(bytes(words), start)
    theirs.execution_start_address = entry
    theirs.header = "title"
    read = read_text(".srec", theirs.as_srec(row))
    assert (cells_of(read), read.entry, read.title) == (cells, entry, "title")
    read = read_text(".hex", theirs.as_ihex(row))
    assert (cells_of(read), read.entry) == (cells, entry)


@settings(max_examples=100, deadline=None)
@given(sparse(highest=0xF_FFFF), some.integers(0, 0xF_FFFF), some.sampled_from([1, 16, 32]))
def test_shorter_addresses_of_the_library(cells, entry, row):
    theirs = bincopy.BinFile()
    for start, words in spans(cells).items():
        theirs.add_binary(bytes(words), start)
    theirs.execution_start_address = entry
    assert cells_of(read_text(".srec", theirs.as_srec(row, 24))) == cells
    # Its records of segments may reach beyond the end of one, where the standard goes on at the segment's beginning.
    read = read_text(".hex", theirs.as_ihex(1, 24))
    assert cells_of(read) == cells
    assert read.entry == ((entry >> 16) << 4) + (entry & 0xFFFF), "a segment and an offset in it"


def test_the_library_sees_damage():
    good = written(".s19", image({0: b"abc"}))
    assert bytes_of(".s19", good) == {0: 97, 1: 98, 2: 99}
    with pytest.raises(bincopy.Error):
        bytes_of(".s19", good.replace("616263", "616264"))


# ---- what Intel HEX says of addresses


def intel(*records: str) -> str:
    """Records, given without checksum, as a file."""
    return "".join(f":{record}{-sum(bytes.fromhex(record)) & 0xFF:02X}\n" for record in records) + ":00000001FF\n"


def test_a_record_goes_on_at_the_beginning_of_its_segment():
    assert read_text(".hex", intel("020000021000", "04FFFE0001020304")).spans == [(0x10000, b"\x03\x04"), (0x1FFFE, b"\x01\x02")]
    assert read_text(".hex", intel("020000040001", "04FFFE0001020304")).spans == [(0x1FFFE, b"\x01\x02\x03\x04")]
    assert read_text(".hex", intel("04FFFE0001020304")).spans == [(0xFFFE, b"\x01\x02\x03\x04")]
    assert read_text(".hex", intel("02000002F000", "020000040001", "0100000007")).spans == [(0x10000, b"\x07")]
    assert mistake(".hex", intel("02000004FFFF", "02FFFF000102"))[0] == "read_beyond"


def test_where_a_program_starts():
    assert read_text(".hex", intel("0100000007")).entry is None
    assert read_text(".hex", intel("0100000007", "0400000312340010")).entry == 0x12350
    assert read_text(".hex", intel("0100000007", "0400000500000010", "0400000500000010")).entry == 0x10
    assert read_text(".hex", intel("0100000007").replace(":00000001FF", ":00123401B9")).entry == 0x1234, "as before 1988"
    assert mistake(".hex", intel("0100000007", "0400000500000010", "0400000300000011"))[0] == "read_twice"


# ---- one wrong character

HEX = image({0x12: bytes(range(0x90, 0xA3)), 0x1_0040: b"\x00\xff"}, {"entry": 0x12}, address=32)
SHORT = image({0x12: bytes(range(0x90, 0xA3)), 0x40: b"\x00\xff"}, {"entry": 0x12})
CHARACTERS = string.digits + string.ascii_letters + string.punctuation + " \t\v\f\0\r\n\x1a\x7f\u00e9"


@pytest.mark.parametrize(("suffix", "made"), [(".hex", HEX), (".hex", SHORT), (".s19", SHORT), (".s28", HEX), (".s37", HEX)])
def test_every_wrong_character_is_noticed(suffix, made):
    """Each character of each record is changed into each other one: nothing but the size of a letter may pass."""
    text = written(suffix, made)
    good = read_text(suffix, text)
    assert cells_of(good) == dict(made.cells())
    changed = passed = 0
    for place, right in enumerate(text):
        for wrong in CHARACTERS if right != "\n" else ():
            if wrong == right:
                continue
            changed += 1
            broken = f"{text[:place]}{wrong}{text[place + 1 :]}"
            try:
                read = read_text(suffix, broken)
            except Fault as fault:
                assert fault.place is not None
                assert fault.code.startswith("read_")
                continue
            passed += 1
            assert wrong.upper() == right and right in "ABCDEF", (place, right, wrong)
            assert read == good
    assert changed > 10_000
    assert passed == sum(text.count(letter) for letter in "ABCDEF")


@pytest.mark.parametrize(("suffix", "made"), [(".hex", HEX), (".s19", SHORT), (".s28", HEX)])
def test_a_lost_or_doubled_character_and_a_lost_line_are_noticed(suffix, made):
    text = written(suffix, made)
    for place, right in enumerate(text):
        if right != "\n":
            for broken in (text[:place] + text[place + 1 :], text[:place] + right + text[place:]):
                mistake(suffix, broken)
    lines = text.splitlines(keepends=True)
    assert len(lines) > 4
    for index in range(len(lines)):
        if suffix != ".hex" and index not in (0, len(lines) - 2):  # title and number of records may be missing
            mistake(suffix, "".join(lines[:index] + lines[index + 1 :]))
        mistake(suffix, "".join(lines[:index]))
    mistake(suffix, text + lines[1])
