"""C arrays: what compilers make of them, byte by byte. A compiler that is missing fails the test."""

from __future__ import annotations

import re
import subprocess
import zlib
from collections.abc import Sequence
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as some

from tests.formats import image
from xasm.formats import FORMATS
from xasm.formats.options import KEYWORDS, Options
from xasm.linking.image import Image

FOLDER = Path(__file__).parent / "formats"
STRICT = ("-Wall", "-Wextra", "-Wpedantic", "-Wconversion", "-Werror")
COMPILERS = {"C": ("gcc", "-std=c99", "-xc"), "C++": ("g++", "-std=c++11", "-xc++")}
INCLUDE = '#include "program.h"\n'
PLAIN = Options()
ALL_BYTES = bytes(range(256))


def text_of(suffix: str, made: Image, options: Options = PLAIN) -> str:
    return FORMATS[suffix].write(made, options).decode("ascii")


def compiled(language: str, folder: Path, sources: Sequence[str]) -> subprocess.CompletedProcess[str]:
    """Compiles and links sources, given as texts, to the program `run` of a folder, with all the warnings as errors."""
    names = []
    for number, source in enumerate(sources):
        (folder / f"source{number}.txt").write_text(source)
        names.append(f"source{number}.txt")
    command = [*COMPILERS[language], *STRICT, "-o", "run", *names]
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)


def output(language: str, folder: Path, *sources: str) -> list[str]:
    """The lines that a program prints, compiled without a warning."""
    result = compiled(language, folder, sources)
    assert (result.returncode, result.stderr) == (0, "")
    return subprocess.run([folder / "run"], capture_output=True, text=True, check=True).stdout.splitlines()


def printing(opening: str, arrays: Sequence[str] = (), constants: Sequence[str] = ()) -> str:
    """A main that prints the words of each array in one line, then each constant in one."""
    rows = ["#include <stdio.h>", opening, "int main(void)", "{"]
    for array in arrays:
        rows.append(f"    for (unsigned long i = 0; i < sizeof {array} / sizeof {array}[0]; i++)")
        rows.append(f'        printf("%llx ", (unsigned long long){array}[i]);')
        rows.append('    printf("\\n");')
    rows += [f'    printf("%lld\\n", (long long){constant});' for constant in constants]
    return "\n".join([*rows, "    return 0;", "}", ""])


def shown(words: Sequence[int]) -> str:
    return "".join(f"{word:x} " for word in words)


# ---- every word arrives

GAP = {0x10: b"\x01\x02\x03", 0x20: ALL_BYTES, 0xFFFF: b"\xff"}
CASES = {
    "one word": (image({0: b"\x80"}), PLAIN, "uint8_t", {"program": b"\x80"}),
    "all bytes": (image({0x123: ALL_BYTES}), PLAIN, "uint8_t", {"program": ALL_BYTES}),
    "twelve words": (image({0: bytes(12)}), PLAIN, "uint8_t", {"program": bytes(12)}),
    "thirteen words": (image({0: bytes(13)}), PLAIN, "uint8_t", {"program": bytes(13)}),
    "gaps": (image(GAP), Options(name="rom"), "uint8_t", {"rom_0010": GAP[0x10], "rom_0020": ALL_BYTES, "rom_FFFF": b"\xff"}),
    "gaps filled": (
        image({0x10: b"\x01", 0x20: b"\x02"}), Options(fill=0x76), "uint8_t", {"program": b"\x01" + b"\x76" * 15 + b"\x02"}
    ),
    "4 bits": (image({0: list(range(16))}, word=4), PLAIN, "uint8_t", {"program": range(16)}),
    "10 bits": (image({0: [0, 0x3FF]}, word=10), PLAIN, "uint16_t", {"program": [0, 0x3FF]}),
    "12 bits, filled": (image({0: [1], 3: [0xABC]}, word=12), Options(fill=-1), "uint16_t", {"program": [1, 0xFFF, 0xFFF, 0xABC]}),
    "16 bits": (image({0: range(0, 0x10000, 77)}, word=16), PLAIN, "uint16_t", {"program": range(0, 0x10000, 77)}),
    "24 bits": (image({0: [0xABCDEF, 1]}, word=24, order="big"), PLAIN, "uint32_t", {"program": [0xABCDEF, 1]}),
    "32 bits": (image({0: [0xFFFFFFFF, 0x80000000]}, word=32), PLAIN, "uint32_t", {"program": [0xFFFFFFFF, 0x80000000]}),
    "40 bits": (image({0: [0xFFFFFFFFFF, 1]}, word=40), PLAIN, "uint64_t", {"program": [0xFFFFFFFFFF, 1]}),
    "32 address bits": (image({0xFFFFFFFE: b"ab"}, address=32), PLAIN, "uint8_t", {"program": b"ab"}),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("language", COMPILERS)
def test_every_word_arrives(tmp_path, language, case):
    made, options, element, arrays = CASES[case]
    wanted = [shown(words) for words in arrays.values()]
    header = text_of(".h", made, options)
    assert output(language, tmp_path, printing(header, list(arrays))) == wanted
    source = text_of(".c", made, options)
    declared = "\n".join(f"extern const {element} {name}[{len(words)}];" for name, words in arrays.items())
    assert output(language, tmp_path, source, printing(f"#include <stdint.h>\n{declared}", list(arrays))) == wanted


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    some.sampled_from([3, 8, 9, 16, 18, 32]).flatmap(
        lambda bits: some.tuples(some.just(bits), some.lists(some.integers(0, (1 << bits) - 1), min_size=1, max_size=99))
    ),
    some.integers(0, 0xFF00),
)
def test_any_words_arrive(tmp_path, program, start):
    bits, words = program
    header = text_of(".h", image({start: words}, word=bits))
    for language in COMPILERS:
        constants = ["PROGRAM_ADDRESS", "PROGRAM_LENGTH"]
        assert output(language, tmp_path, printing(header, ["program"], constants)) == [shown(words), str(start), str(len(words))]


# ---- how it is written


@pytest.mark.parametrize("suffix", [".h", ".c"])
def test_the_text_word_for_word(suffix):
    made = image(
        {0x0200: bytes(range(15)), 0xFFFC: b"\x00\x02"},
        {"entry": 0x0200, "public": ("loop", "LIMIT"), "symbols": {"loop": 0x0200, "LIMIT": -5, "hidden": 1}},
        start=0xFFFC,
        start_vector=True,
    )
    options = Options(name="boot_rom", storage="STORED", headers=("avr/pgmspace.h", '"board.h"'))
    assert text_of(suffix, made, options) == (FOLDER / f"expected{suffix}").read_text()


def test_a_header_may_be_used_as_one_likes(tmp_path):
    """Unused, included twice, in several source files."""
    (tmp_path / "program.h").write_text(text_of(".h", image(GAP)))
    for language in COMPILERS:
        unused = f"{INCLUDE}int other(void);\nint other(void) {{ return 0; }}\n"
        assert output(language, tmp_path, unused, printing(INCLUDE * 2, ["program_0010"])) == [shown(GAP[0x10])]


def test_the_compilers_would_complain(tmp_path):
    """The same checks on broken text: each compiler sees a word too large, an array too short and a missing declaration."""
    good = text_of(".h", image({0: b"\x80\x81"}))
    source = text_of(".c", image({0: b"\x80\x81"}))
    extern = "#include <stdint.h>\nextern const uint8_t program[2];"
    for language in COMPILERS:
        assert compiled(language, tmp_path, [printing(good, ["program"])]).returncode == 0
        for broken in (good.replace("0x81", "0x181"), good.replace("program[2]", "program[1]"), good.replace("0x81", "-1")):
            assert broken != good
            assert compiled(language, tmp_path, [printing(broken, ["program"])]).returncode != 0
    assert compiled("C++", tmp_path, [source, printing(extern, ["program"])]).returncode == 0
    undeclared = source.replace("extern const uint8_t program[2];\n", "")
    assert compiled("C++", tmp_path, [undeclared, printing(extern, ["program"])]).returncode != 0


@pytest.mark.parametrize("suffix", [".h", ".c"])
@pytest.mark.parametrize(
    "title",
    ["a */ b", "*/*/", "/*/ a /* b", "a // b", "what??/", "???/", "back\\", "two\nlines */", "caf\u00e9 \u00e9\u00e9/", "100% {} %s", '"'],
)
def test_any_title_stays_in_its_comment(tmp_path, suffix, title):
    text = text_of(suffix, image({0: b"a"}, title=title))
    for language in COMPILERS:
        assert output(language, tmp_path, printing(text, ["program"])) == ["61 "]


def test_keywords_are_no_names():
    """A word that we refuse is refused by a compiler, but for two that need newer compilers than are common."""
    words = sorted(KEYWORDS - {"typeof", "typeof_unqual"})
    assert len(words) > 90
    for word in words:
        text = f"static const unsigned char {word}[1] = {{0}};\nint one(void);\nint one(void) {{ return {word}[0]; }}\n"
        assert not (is_good("gcc", "-std=c11", text) and is_good("g++", "-std=c++20", text)), word


def is_good(compiler: str, standard: str, text: str) -> bool:
    """Whether a compiler takes a text without a warning."""
    language = "-xc++" if compiler.endswith("+") else "-xc"
    command = [compiler, standard, language, "-Wpedantic", "-Werror", "-fsyntax-only", "-"]
    return subprocess.run(command, input=text.encode(), capture_output=True, check=False).returncode == 0


# ---- constants


@pytest.mark.parametrize("language", COMPILERS)
def test_constants(tmp_path, language):
    symbols = {"loop": 0x200, "LOOP": 7, "_a": 0, "low": -1, "lowest": -(1 << 63), "highest": (1 << 63) - 1, "main.x": 3, "vast": 1 << 64}
    made = image(GAP, {"entry": 0x20, "public": tuple(symbols), "symbols": symbols | {"secret": 1}})
    header = text_of(".h", made)
    wanted = {
        "PROGRAM_RESET_ADDRESS": 0x10,
        "PROGRAM_ENTRY": 0x20,
        "PROGRAM_0010_ADDRESS": 0x10,
        "PROGRAM_0010_LENGTH": 3,
        "PROGRAM_0010_CRC32": zlib.crc32(GAP[0x10]),
        "PROGRAM_0020_ADDRESS": 0x20,
        "PROGRAM_0020_LENGTH": 256,
        "PROGRAM_0020_CRC32": zlib.crc32(ALL_BYTES),
        "PROGRAM_FFFF_ADDRESS": 0xFFFF,
        "PROGRAM_FFFF_LENGTH": 1,
        "PROGRAM_FFFF_CRC32": 0xFF000000,
        **{f"PROGRAM_SYMBOL_{name}": value for name, value in symbols.items() if name not in ("main.x", "vast")},
        "PROGRAM_SYMBOL_main_x": 3,
    }
    (tmp_path / "program.h").write_text(header)
    assert output(language, tmp_path, printing(INCLUDE, (), list(wanted))) == [str(value) for value in wanted.values()]
    assert set(re.findall(r"#define (\w+)", header)) == {*wanted, "PROGRAM_H"}
    assert "/* PROGRAM_SYMBOL_vast has more than 64 bits */" in header
    assert "secret" not in header


def test_where_the_chip_starts_may_be_a_vector():
    assert "#define PROGRAM_RESET_ADDRESS 0x0010U /* the chip starts here */" in text_of(".h", image({0: b"a"}))
    text = text_of(".h", image({0: b"a"}, start=0xFFFC, start_vector=True))
    assert "#define PROGRAM_RESET_VECTOR 0xFFFCU /* the chip reads here where to start */" in text
    assert "RESET_ADDRESS" not in text
    assert "ENTRY" not in text


def test_crc32_is_the_published_one(tmp_path):
    """The check value of catalogues of CRC algorithms for CRC-32 (ISO-HDLC) of "123456789": CBF43926."""
    header = text_of(".h", image({0: b"123456789"}))
    assert "_CRC32 0xCBF43926U" in header
    (tmp_path / "program.h").write_text(header)
    for language in COMPILERS:
        assert output(language, tmp_path, printing(INCLUDE, (), ["PROGRAM_CRC32"])) == [str(0xCBF43926)]
    assert "0xCBF43926" not in text_of(".h", image({0: b"123456798"}))
    wide = {0: [0x3231, 0x3433]}
    assert f"0x{zlib.crc32(b'1234'):08X}U /* of the elements as 2 bytes each, low byte first */" in text_of(".h", image(wide, word=16))
    text = text_of(".h", image(wide, word=16), Options(order="big"))
    assert f"0x{zlib.crc32(b'2143'):08X}U /* of the elements as 2 bytes each, high byte first */" in text


# ---- storage words and headers


@pytest.mark.parametrize("suffix", [".h", ".c"])
@pytest.mark.parametrize("language", COMPILERS)
def test_a_storage_word_of_ones_own(tmp_path, language, suffix):
    """The array lands in the section that a header of ours says."""
    (tmp_path / "board.h").write_text('#define IN_FLASH __attribute__((section("own_flash"), used))\n')
    for storage, headers in (("IN_FLASH", ('"board.h"',)), ('__attribute__((section("own_flash")))', ()), ("", ())):
        text = text_of(suffix, image({0: ALL_BYTES}), Options(storage=storage, headers=headers))
        assert output(language, tmp_path, printing(text, ["program"])) == [shown(ALL_BYTES)]
        sections = subprocess.run(["objdump", "-h", tmp_path / "run"], capture_output=True, text=True, check=True).stdout
        found = re.search(r"\bown_flash +([0-9a-f]{8})", sections)
        assert (found is not None) == bool(storage)
        assert found is None or int(found[1], 16) >= 256


MAIN_AVR = """#include <avr/io.h>
#include <avr/pgmspace.h>
#include "program.h"
int main(void)
{
    for (;;) {
        uint16_t index = (uint16_t)(PINB | (PIND << 8)) & 0x0FFF;
        PORTB = READ(program[index]);
    }
}
"""


class Avr:
    """A program for an AVR that reads a `program` of so many words: its ELF, its sections, its flash."""

    def __init__(self, folder: Path, compiler: str, words: bytes, storage: str, *more: str) -> None:
        header = text_of(".h", image({0: words}), Options(storage=storage, headers=("avr/pgmspace.h",)))
        (folder / "program.h").write_text(header)
        source = "main.cc" if compiler.endswith("+") else "main.c"
        (folder / source).write_text(MAIN_AVR)
        self.folder = folder
        read = "-DREAD(x)=pgm_read_byte(&(x))" if storage else "-DREAD(x)=(x)"
        self.tool(compiler, "-mmcu=atmega328p", "-Os", "-Wall", "-Wextra", "-Werror", read, *more, "-o", "run.elf", source)
        rows = re.findall(r"^(\.\w+) +(\d+)", self.tool("avr-size", "-A", "run.elf"), re.MULTILINE)
        self.sections = {name: int(size) for name, size in rows}
        assert self.sections[".text"] > 0
        # address and size of the array, and the section's letter
        (self.place,) = re.findall(r"^(\w+) (\w+) (\w) \w*program\w*$", self.tool("avr-nm", "-S", "run.elf"), re.MULTILINE)

    def tool(self, *command: str) -> str:
        return subprocess.run(command, cwd=self.folder, capture_output=True, text=True, check=True).stdout

    @property
    def ram(self) -> int:
        return self.sections.get(".data", 0) + self.sections.get(".bss", 0)

    def flash(self) -> bytes:
        self.tool("avr-objcopy", "-O", "binary", "-j", ".text", "run.elf", "flash.bin")
        return (self.folder / "flash.bin").read_bytes()


@pytest.mark.parametrize("compiler", ["avr-gcc", "avr-g++"])
def test_a_rom_of_8_kb_stays_in_the_flash_of_an_avr(tmp_path, compiler):
    """With the storage word it takes flash alone; without, RAM: four times as much as that controller has."""
    words = bytes((37 * index + index // 256) % 256 for index in range(8192))
    stored = Avr(tmp_path, compiler, words, "PROGMEM")
    address, size, letter = stored.place
    assert (int(size, 16), letter.lower()) == (8192, "t")
    assert stored.flash()[int(address, 16) :][:8192] == words
    assert stored.ram == 0

    half = Avr(tmp_path, compiler, words[:4096], "PROGMEM")
    assert stored.sections[".text"] - half.sections[".text"] == 4096, "the array lies in .text, byte for byte"
    assert stored.sections[".text"] - 8192 < 400, "what remains is the start-up code and the main program"

    with pytest.raises(subprocess.CalledProcessError) as failed:
        Avr(tmp_path, compiler, words, "")
    assert "region `data'" in failed.value.stderr
    loose = Avr(tmp_path, compiler, words, "", "-Wl,--defsym=__DATA_REGION_LENGTH__=0x4000")
    assert loose.ram >= 8192
    assert loose.sections[".text"] < 1000
    assert loose.place[2].lower() in "dr"
