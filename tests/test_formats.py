"""Output formats: the registry, the options, raw binary, Intel HEX and hex texts. The others have tests of their own."""

from __future__ import annotations

import re
import subprocess
import sys
from io import StringIO
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some
from intelhex import HexReaderError, IntelHex

from tests.formats import image, refused, spans, written
from tests.formats.invented import sparse
from xasm.formats import FORMATS
from xasm.formats.blocks import LARGEST
from xasm.formats.options import KEYWORDS, Options, check, name_for
from xasm.linking.image import Image

ROOT = Path(__file__).resolve().parent.parent
PLAIN = Options()
APART = {0x10: b"\x01\x02", 0x14: b"\x03"}  # a gap of two words

# ---- the registry


def test_formats_are_found_by_suffix():
    assert list(FORMATS) == [".bin", ".hex", ".srec", ".s19", ".s28", ".s37", ".mem", ".txt", ".h", ".c"]
    assert [suffix for suffix, form in FORMATS.items() if not form.text] == [".bin"]
    for suffix, form in FORMATS.items():
        assert suffix == form.suffix
        assert form.title
        assert form.write(image(APART), PLAIN) == form.write(image(APART), PLAIN), "an output depends on more than the image"


def test_the_library_is_loaded_only_for_its_format():
    program = """
import sys
from tests.formats import image
from xasm.formats import FORMATS
from xasm.formats.options import Options
for suffix in (".bin", ".srec", ".s19", ".mem", ".txt", ".h", ".c", ".hex"):
    FORMATS[suffix].write(image({0: b"1"}), Options())
    print(suffix, "intelhex" in sys.modules)
"""
    run = subprocess.run([sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=True)
    assert run.stdout.split() == ".bin False .srec False .s19 False .mem False .txt False .h False .c False .hex True".split()


@pytest.mark.parametrize("suffix", FORMATS)
def test_a_program_without_bytes_is_refused(suffix):
    assert refused("no_words", FORMATS[suffix].write, image({}), PLAIN) == "there is nothing to write: the program has no bytes"


@pytest.mark.parametrize("suffix", FORMATS)
def test_too_large_an_output_is_refused_before_it_is_made(suffix):
    far = image({0: b"\0", LARGEST: b"\0"}, address=32)
    message = refused("too_large", FORMATS[suffix].write, far, Options(fill=0))
    assert message == "the output would have 67,108,865 bytes; the limit is 67,108,864"
    if suffix not in (".bin", ".s19", ".s28"):
        assert len(FORMATS[suffix].write(far, PLAIN)) < 1500, "a gap that stays a gap costs nothing"


def test_the_limit_counts_bytes_and_not_words():
    wide = image({0: [0], LARGEST // 2: [0]}, word=12, address=32)
    assert "67,108,866 bytes" in refused("too_large", FORMATS[".bin"].write, wide, PLAIN)
    assert len(FORMATS[".bin"].write(image({0: b"\0", LARGEST - 1: b"\0"}, address=32), PLAIN)) == LARGEST


# ---- the options

GOOD_NAMES = ("rom", "_rom", "R2", "a__b", "PROGRAM", "Int", "uint8", "boot_rom_2")
BAD_NAMES = ("", "2a", "a-b", "a b", "a\n", "rom;", "r\u00f6m", "int", "class", "uint8_t", "INT8_MAX", "main", "and", "a" + chr(0))
GOOD_STORAGE = (
    "", "PROGMEM", "ROM_1 ROM_2", " PROGMEM ", "__attribute__((aligned(4)))", '__attribute__((section(".rodata.rom"), used))',
    'IN("a", 2)', "F()",
)  # fmt: skip
BAD_STORAGE = (
    "= {1}; //", "[2]", "PROGMEM;", "a\nb", "a\tb", "(a)", "2", "a, b", "f(", "f)", "f(a))", 'f("a)', 'f("\\"")', '"a"', "f(a)(b)", "#a",
    "a/*", "f(a = 1)", "a\\", "r\u00f6m", "f('a')",
)  # fmt: skip
GOOD_HEADERS = ("avr/pgmspace.h", '"board.h"', '"../board.h"', "a-b+c.hpp", "stdint")
BAD_HEADERS = ("", '""', '"', "<a.h>", '"a.h', 'a.h"', "a b.h", "a.h>\n#error", "/a.h", "a//b.h", "a\\b.h", "a*.h", "\u00f6.h")


def test_good_options_pass():
    for options in (
        *(Options(name=name) for name in GOOD_NAMES),
        *(Options(storage=storage) for storage in GOOD_STORAGE),
        *(Options(headers=(header,)) for header in GOOD_HEADERS),
        *(Options(fill=fill) for fill in (0, 255, -1, -128)),
    ):
        check(options, image(APART))
        for form in FORMATS.values():
            assert form.write(image(APART), options)


@pytest.mark.parametrize(
    ("code", "options"),
    [
        *(("bad_c_name", Options(name=name)) for name in BAD_NAMES),
        *(("bad_storage", Options(storage=storage)) for storage in BAD_STORAGE),
        *(("bad_header", Options(headers=("stdio.h", header))) for header in BAD_HEADERS),
        *(("bad_fill", Options(fill=fill)) for fill in (256, -129, 1 << 20_000)),
    ],
)
def test_bad_options_are_refused(code, options):
    message = refused(code, check, options, image(APART))
    assert message.isprintable()
    assert message.isascii()
    for suffix in (".h", ".c") if code != "bad_fill" else FORMATS:
        assert refused(code, FORMATS[suffix].write, image(APART), options) == message


def test_what_only_c_minds_does_not_stop_the_others():
    options = Options(name="2-b", storage=";", headers=("<",))
    assert FORMATS[".bin"].write(image({0: b"a"}), options) == b"a"
    assert FORMATS[".hex"].write(image({0: b"a"}), options) == FORMATS[".hex"].write(image({0: b"a"}), PLAIN)


def test_messages_say_what_is_wrong():
    assert refused("bad_fill", check, Options(fill=256), image(APART)) == "the filler 256 (0x100) does not fit a word of 8 bits"
    assert refused("bad_fill", check, Options(fill=16), image(APART, word=4)) == "the filler 16 (0x10) does not fit a word of 4 bits"
    assert refused("bad_c_name", check, Options(name="a b"), image(APART)) == "'a b' is not a C name"
    assert refused("bad_header", check, Options(headers=("a b",)), image(APART)) == "'a b' is not the name of a C header"
    assert refused("bad_storage", check, Options(storage="[2]"), image(APART)).startswith("'[2]' is not a storage word: letters")


@given(some.text(max_size=20) | some.sampled_from(sorted(KEYWORDS)))
def test_any_file_name_gives_a_good_name(text):
    check(Options(name=name_for(text)), image(APART))


def test_names_from_files_keep_what_they_can():
    names = {"blink": "blink", "first-light": "first_light", "_x_": "x", "42": "program_42", "main": "program_main", "-": "program"}
    assert {text: name_for(text) for text in names} == names


# ---- raw binary


@pytest.mark.parametrize(
    ("parts", "head", "options", "wanted"),
    [
        (APART, {}, PLAIN, "01 02 ff ff 03"),
        (APART, {}, Options(fill=0), "01 02 00 00 03"),
        (APART, {}, Options(fill=-2), "01 02 fe fe 03"),
        (APART, {"order": "big"}, Options(order="little"), "01 02 ff ff 03"),
        ({0xFFFF: b"\x7f"}, {}, PLAIN, "7f"),
        (APART, {"word": 4}, PLAIN, "01 02 0f 0f 03"),
        ({0: [0x123], 2: [0xABC]}, {"word": 12}, PLAIN, "23 01 ff 0f bc 0a"),
        ({0: [0x123], 2: [0xABC]}, {"word": 12, "order": "big"}, PLAIN, "01 23 0f ff 0a bc"),
        ({0: [0x123], 2: [0xABC]}, {"word": 12}, Options(order="big", fill=0x456), "01 23 04 56 0a bc"),
        ({0: [0x3FF, 0]}, {"word": 10}, PLAIN, "ff 03 00 00"),
        ({0: [0x123456]}, {"word": 24}, PLAIN, "56 34 12"),
        ({0: [0x1_2345_6789]}, {"word": 33}, Options(order="big"), "01 23 45 67 89"),
    ],
)
def test_raw_binary(parts, head, options, wanted):
    assert FORMATS[".bin"].write(image(parts, **head), options) == bytes.fromhex(wanted)


# ---- Intel HEX


def hex_text(made: Image, options: Options = PLAIN) -> str:
    return written(".hex", made, options)


def read_back(text: str) -> dict[int, int]:
    found = IntelHex(StringIO(text)).todict()
    found.pop("start_addr", None)
    return found


def test_published_records():
    """Records that descriptions of the format print as examples (from memory)."""
    text = hex_text(image({0x2462: b"FLUID PROFILE\0FL"}, {"entry": 0xCD}))
    assert text == ":04000005000000CD2A\n:10246200464C5549442050524F46494C4500464C33\n:00000001FF\n"
    assert hex_text(image({0xFFFC_0000: b"\x55"}, address=32)).startswith(":02000004FFFCFF\n")
    assert hex_text(image({0xFFFF_0000: b"\x55"}, address=32)).startswith(":02000004FFFFFC\n")


def test_words_over_a_byte_are_refused():
    message = refused("bad_record", FORMATS[".hex"].write, image({0: [1]}, word=12), PLAIN)
    assert message == "Intel HEX carries bytes; a word of this chip has 12 bits: write .bin, .mem or .h"
    for suffix in (".srec", ".s19", ".s28", ".s37"):
        message = refused("bad_record", FORMATS[suffix].write, image({0: [1]}, word=12), PLAIN)
        assert message == "an S-record carries bytes; a word of this chip has 12 bits: write .bin, .mem or .h"
    assert read_back(hex_text(image({0: [1]}, word=4))) == {0: 1}


def test_banks_are_opened_once_and_only_where_needed():
    parts = {0xFFF0: bytes(40), 0x1_0100: b"a", 0x1_0200: b"b", 0x3_0000: b"c"}
    text = hex_text(image(parts, address=20))
    assert re.findall(r":02000004....", text) == [":020000040001", ":020000040003"]
    assert ":02000004" not in hex_text(image({0xFFF0: bytes(16)}))


def test_a_start_address_is_written_only_where_there_is_one():
    with_entry = hex_text(image(APART, {"entry": 0}))
    assert IntelHex(StringIO(with_entry)).start_addr == {"EIP": 0}
    assert IntelHex(StringIO(hex_text(image(APART)))).start_addr is None
    assert IntelHex(StringIO(hex_text(image(APART, {"entry": 0xFFFF_FFFF}, address=32)))).start_addr == {"EIP": 0xFFFF_FFFF}


def test_a_filler_closes_gaps():
    assert read_back(hex_text(image(APART))) == {0x10: 1, 0x11: 2, 0x14: 3}
    assert read_back(hex_text(image(APART), Options(fill=0x76))) == {0x10: 1, 0x11: 2, 0x12: 0x76, 0x13: 0x76, 0x14: 3}


@settings(max_examples=300, deadline=None)
@given(sparse(), some.none() | some.integers(0, 0xFFFF_FFFF))
def test_intel_hex_is_read_back(cells, entry):
    text = hex_text(image(spans(cells), {"entry": entry}, address=32))
    assert read_back(text) == cells
    assert text.endswith("\n:00000001FF\n")
    for line in text.splitlines():
        assert re.fullmatch(r":([0-9A-F]{2}){5,21}", line)
        assert sum(bytes.fromhex(line[1:])) % 256 == 0
    starts = [int(line[3:7], 16) for line in text.splitlines() if line[7:9] == "00"]
    banks = [line for line in text.splitlines() if line[7:9] == "04"]
    assert len(banks) <= len({address >> 16 for address in cells}), "a bank is opened more than once"
    assert sum(later <= earlier for earlier, later in pairwise(starts)) <= len(banks), "the records are not sorted"


def test_reading_back_notices_damage():
    text = hex_text(image({0: bytes(range(32))}))
    assert read_back(text) == dict(enumerate(range(32)))
    with pytest.raises(HexReaderError):
        read_back(text.replace("0405", "0406"))
    assert read_back(text.replace("0405", "0504")) != dict(enumerate(range(32))), "two bytes changed places, the sum stays"


# ---- hex texts


@pytest.mark.parametrize(
    ("parts", "head", "options", "memory", "rows"),
    [
        (APART, {}, PLAIN, "@0010 01 02 @0014 03", "0010: 01 02|0014: 03"),
        (APART, {}, Options(fill=-1), "@0010 01 02 FF FF 03", "0010: 01 02 FF FF 03"),
        ({0xFFFF: b"\x7f"}, {}, PLAIN, "@FFFF 7F", "FFFF: 7F"),
        (
            {0: list(range(16))},
            {"word": 4, "address": 12},
            PLAIN,
            "@000 0 1 2 3 4 5 6 7 8 9 A B C D E F",
            "000: 0 1 2 3 4 5 6 7 8 9 A B C D E F",
        ),
        ({0x20: [1, 31]}, {"word": 5, "address": 9}, PLAIN, "@020 01 1F", "020: 01 1F"),
        ({0x12: [0xABC, 1]}, {"word": 12, "address": 12}, PLAIN, "@012 ABC 001", "012: ABC 001"),
        ({0x12: [0x1ABC, 1]}, {"word": 13, "address": 21}, PLAIN, "@000012 1ABC 0001", "000012: 1ABC 0001"),
        ({0xFFFF_FFFF: [1 << 63]}, {"word": 64, "address": 32}, PLAIN, "@FFFFFFFF 8" + "0" * 15, "FFFFFFFF: 8" + "0" * 15),
    ],
)
def test_hex_texts(parts, head, options, memory, rows):
    made = image(parts, **head)
    assert written(".mem", made, options).split() == memory.split()
    assert written(".txt", made, options) == rows.replace("|", "\n") + "\n"


def test_hex_texts_have_sixteen_words_a_row():
    made = image({0x1FE: bytes(range(33)), 0x300: b"a"})
    assert written(".mem", made) == (
        "@01FE\n00 01 02 03 04 05 06 07 08 09 0A 0B 0C 0D 0E 0F\n10 11 12 13 14 15 16 17 18 19 1A 1B 1C 1D 1E 1F\n20\n@0300\n61\n"
    )
    assert written(".txt", made) == (
        "01FE: 00 01 02 03 04 05 06 07 08 09 0A 0B 0C 0D 0E 0F\n020E: 10 11 12 13 14 15 16 17 18 19 1A 1B 1C 1D 1E 1F\n021E: 20\n0300: 61\n"
    )
