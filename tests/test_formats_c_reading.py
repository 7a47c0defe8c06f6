"""C texts read: what a compiler makes of the same text, where arrays belong, and what is passed over."""

from __future__ import annotations

import re

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as some

from tests.formats import image, mistake, read_text, written
from tests.test_formats_c import output, printing, shown
from xasm.formats.c_text import arrays
from xasm.formats.options import Options
from xasm.formats.reading import Text

GAP = {0x10: b"\x01\x02\x03", 0x20: bytes(range(256)), 0xFFFF: b"\xff"}


def arrays_of(text: str, word: int | None = None) -> dict[str, list[int]]:
    return {one.name: list(one.words) for one in arrays(Text(text.encode("utf-8"), "file"), word)}


# ---- against a compiler

# Arrays as people write them; each is read by us and printed by a compiler.
TEXT = r"""
/* a comment with "quotes', a #define and { braces; */
#include <stdint.h>
#define MACRO { 1, 2, 3 } /* of several
lines */
#define LONG static const int x[] = \
    { 4, 5 }
static const uint8_t plain[] = {1, 2, 3};
const uint8_t sized[4] = { 0x01, 0X0a, 0xFF, 0 };
const uint8_t filled[6] = {1, 2};
const unsigned char kinds[] = { 255, 0377, 0xfF, 0, 00, 10u, 0x1UL, 2ull, 017L };
const char characters[] = {'a', '0', ' ', '"', '\'', '\\', '\n', '\t', '\0', '\x41', '\101', '\a', '\b', '\f', '\r', '\v', '\?'};
const uint8_t comments[] = { /* one */ 1, // two, 3,
    2 /* { } */, /* 4, */ 3,
};
const uint16_t wide[] = { 0x1234, 65535, 0, 0177777 };
const uint32_t wider[] = { 0xFFFFFFFF, 4294967295u, 1 };
const uint64_t widest[2] = { 0xFFFFFFFFFFFFFFFF, 1 };
static const int8_t negative[] = { -1, -128, 127, - 2, +3 };
const int16_t negatives[] = { -1, -32768 };
const int other[] = { 1, 0x10000 };
const uint8_t stored[3] __attribute__((aligned(4), section(".rodata.rom"))) = { 7, 8, 9 };
const uint8_t first[] = {1}, second[2] = {2, 3};
extern const uint8_t declared[];
const uint8_t declared[] = {0x01, 0x02, 0x03, 0x04, 0x05, 0x06, 0x07, 0x08,
                            0x09, 0x0A, 0x0B, 0x0C,};
int function(int argument[], int more[2]);
int function(int argument[], int more[2])
{
    argument[0] = 1;
    more[1] = argument[0] == 2;
    return argument[0];
}
"""
NAMES = ("plain sized filled kinds characters comments wide wider widest negative negatives other stored first second declared").split()
WIDTHS = {"wide": 16, "wider": 32, "widest": 64, "negatives": 16, "other": 32}


def test_a_compiler_reads_the_same(tmp_path):
    found = arrays_of(TEXT)
    assert list(found) == NAMES
    for language, text in (("C", TEXT), ("C++", TEXT)):
        printed = output(language, tmp_path, printing(text, NAMES))
        masks = [(1 << WIDTHS.get(name, 8)) - 1 for name in NAMES]
        compiled = [[int(word, 16) & mask for word in row.split()] for row, mask in zip(printed, masks, strict=True)]
        assert compiled == list(found.values())


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    some.lists(some.tuples(some.integers(0, (1 << 32) - 1), some.sampled_from(["{}", "0x{:x}", "0X{:08X}", "0{:o}", "{}u"])), min_size=1)
)
def test_any_numbers_are_read_as_a_compiler_reads_them(tmp_path, elements):
    row = ", ".join(form.format(value) for value, form in elements)
    text = f"#include <stdint.h>\nconst uint32_t row[] = {{{row}}};\n"
    assert [shown(arrays_of(text)["row"])] == output("C", tmp_path, printing(text, ["row"]))


def test_what_only_newer_compilers_take():
    assert arrays_of("uint8_t a[] = {0b101, 0B1111'0000, 1'0, 0xF'F};") == {"a": [5, 0xF0, 10, 255]}
    assert arrays_of("uint8_t a[2] [[gnu::used]] = {1}; int b[3] = {};") == {"a": [1, 0], "b": [0, 0, 0]}
    assert arrays_of("alignas(4) constexpr std::uint8_t a[] PROGMEM = {1};") == {"a": [1]}
    assert arrays_of("// \\\nint a[] = {1};\nint b[] = {2}; // no end") == {"b": [2]}


def test_words_of_storage_may_be_anything():
    for storage in ("", "PROGMEM", "ROM_1 ROM_2", ' IN("a", 2) ', '__attribute__((section(".a"), used))', "F(())", "/* PROGMEM */"):
        assert arrays_of(f"static const uint8_t a[2] {storage} = {{ 1, 2 }};") == {"a": [1, 2]}


def test_elements_wider_than_any_type():
    assert arrays_of("cell_t a[] = {0xFFFFFFFFFFFFFFFF, 18446744073709551615};") == {"a": [(1 << 64) - 1] * 2}
    assert mistake(".c", "cell_t a[] = {18446744073709551616};", address=0)[0] == "read_word"
    assert mistake(".c", f"cell_t a[] = {{{'9' * 5000}}};", address=0)[0] == "read_element"
    assert arrays_of("cell_t a[] = {-1};", 12) == {"a": [0xFFF]}


@pytest.mark.parametrize("count", [1, 2, 4095, 4096, 4097, 9000])
def test_long_arrays(count):
    words = [index % 256 for index in range(count)]
    for comma in ("", ","):
        for form in ("0x{:02X}", "{}", "0x{:x}u"):
            text = ", ".join(form.format(word) for word in words)
            assert arrays_of(f"unsigned char a[{count}] = {{{text}{comma}}};") == {"a": words}


# ---- where arrays belong


def test_constants_say_where():
    text = "#define A_ADDRESS 0x0200U /* of the first element */\n#define B_ADDRESS 32\nbyte a[] = {1}, b[] = { /* 0x7 */ 2 };"
    assert read_text(".c", text).spans == [(32, b"\x02"), (0x200, b"\x01")]
    assert read_text(".c", text.replace("a[]", "a_b[]").replace("A_A", "A_B_A")).spans == [(32, b"\x02"), (0x200, b"\x01")]
    assert read_text(".c", "byte a[] = { /* 0x0200 */ 1, 2, /* 0x0300 */ 3 };").spans == [(0x200, b"\x01\x02\x03")]
    assert read_text(".c", "byte a[] = { /* 2 of */ 1, 2, /* 0x0300 */ 3 };", address=7).spans == [(7, b"\x01\x02\x03")]
    assert mistake(".c", "byte a[] = { 1, /* 0x0300 */ 3 };")[0] == "read_address"
    assert mistake(".c", "#define A_ADDRESS BASE\nbyte a[] = { 1 };")[0] == "read_address"


def test_arrays_without_an_address_follow_each_other():
    text = "byte a[] = {1, 2};\n#define B_ADDRESS 5\nbyte b[] = {3}; byte c[] = {4};"
    assert read_text(".c", text, address=0x10).spans == [(5, b"\x03"), (0x10, b"\x01\x02\x04")]


@pytest.mark.parametrize("suffix", [".h", ".c"])
@pytest.mark.parametrize("name", ["rom", "rom_0010", "ROM", "a_b_c"])
def test_our_own_arrays_come_back_with_address_and_entry(suffix, name):
    symbols = {"ADDRESS": 1, "x_ENTRY": 2, "CRC32": 3, "loop": -5}
    for parts in (GAP, {0x20: b"abc"}):
        made = image(parts, {"entry": 0x21, "public": tuple(symbols), "symbols": symbols})
        options = Options(name=name, storage="PROGMEM", headers=("avr/pgmspace.h", '"board.h"'))
        read = read_text(suffix, written(suffix, made, options))
        assert (read.spans, read.entry) == (made.spans, 0x21)
        assert read_text(suffix, written(suffix, image(parts), options)).entry is None


@pytest.mark.parametrize("order", ["little", "big"])
def test_sums_of_wide_words_are_held_against_them(order):
    text = written(".h", image({0x10: [0xABC, 0x123]}, word=12, order=order))
    assert read_text(".h", text).spans == [(0x10, (0xABC, 0x123))]
    assert mistake(".h", text.replace("0x123", "0x124"))[0] == "read_sum"
    assert mistake(".h", text.replace("0xABC", "0x1ABC"))[0] == "read_sum"
    wide = written(".h", image({0x10: [0xABCDEF]}, word=24, order=order))
    assert read_text(".h", wide).spans == [(0x10, (0xABCDEF,))]
    assert mistake(".h", wide.replace("0xABCDEF", "0x1ABCDEF"))[0] == "read_word"


@pytest.mark.parametrize("suffix", [".h", ".c"])
def test_a_wrong_digit_among_the_elements_is_noticed(suffix):
    text = written(suffix, image(GAP))
    changed = 0
    for match in re.finditer(r"(?<!\* )0x([0-9A-F]{2}),", text):
        for place in (match.start(1), match.start(1) + 1):
            broken = text[:place] + ("0" if text[place] != "0" else "8") + text[place + 1 :]
            assert mistake(suffix, broken)[0] == "read_sum"
            changed += 1
    assert changed == 2 * 260


def test_a_text_cut_off_anywhere_is_noticed():
    text = written(".h", image({0x10: bytes(30), 0x80: b"ab"})).rstrip()
    kept = text.index("#ifndef")
    assert read_text(".h", text).spans == [(0x10, bytes(30)), (0x80, b"ab")]
    for length in range(kept + 20, text.rindex("#endif") + 6):
        mistake(".h", text[:length])


def test_what_is_no_array_of_numbers_is_passed_over():
    text = """int x = 5; extern const byte rom[5]; void f(byte a[], int b) { a[b] = 5; if (a[1] == b) { b = a[2]; } }
    struct s { byte a[3]; }; enum e { A = 1, B }; const char *text = "a[] = {1}"; byte only[] = {9};
    #define TABLE byte no[] = {1};
    // byte no[] = {1};
    """
    assert arrays_of(text) == {"only": [9]}
    assert arrays_of("") == {}
