"""What `xasm recover` reads and writes: files of every kind, names files and the loop that they are for."""

from __future__ import annotations

import random
import re
from pathlib import Path

import pytest

import xasm
from tests.messages import Case, Shown
from tests.typing_errors import DUMPS, LISTINGS, definitions, dumped, image, program
from xasm.building import Choices, build
from xasm.formats import FORMATS
from xasm.formats.options import Options
from xasm.linking.image import Image
from xasm.recovery.memory import Memory
from xasm.recovery.names_file import read_names, tell, written
from xasm.recovery.reading import Wanted, kind_of, read_program
from xasm.recovery.recovering import Recovered, recover
from xasm.recovery.told import Told
from xasm.source.diagnostics import Fault, Report, SourceErrors
from xasm.source.files import Source
from xasm.target.finding import load_target, table_paths

SAMPLES = Path(__file__).resolve().parent.parent / "samples"
CHIP = "6502"
TARGET = load_target(CHIP)
TABLES = list(table_paths())


def beacon() -> Image:
    return build([str(SAMPLES / CHIP / "beacon.asm")], Choices(TARGET)).image


def run(folder: Path, *words: str, **files: bytes) -> Shown:
    named = {name.replace("_", "."): data for name, data in files.items()}
    return Shown(Case("here", [], "run", ["recover", *words], named), folder)


@pytest.mark.parametrize("suffix", list(FORMATS))
def test_every_format_is_found_by_its_content(suffix: str, tmp_path: Path) -> None:
    """The file has no suffix; a raw binary needs its address."""
    data = FORMATS[suffix].write(beacon(), Options(name="rom"))
    shown = run(tmp_path, "program", "-t", CHIP, "-o", "prog.asm", "--at", "0xF000", program=data)
    assert shown.exit == 0, shown.says
    made = xasm.assemble((tmp_path / "prog.asm").read_text("ascii"), CHIP)
    whole = dict(beacon().cells())
    cells = dict(made.cells())
    assert {address: cells[address] for address in whole} == whole
    assert suffix == ".bin" or len(cells) == len(whole)


@pytest.mark.parametrize("layout", [*LISTINGS, *DUMPS])
def test_typed_text_is_no_other_format(layout: str) -> None:
    lines = program(CHIP, "beacon")
    rows = [*definitions(CHIP, "beacon"), *map(LISTINGS[layout], lines)] if layout in LISTINGS else dumped(image(lines), DUMPS[layout])
    assert kind_of("\n".join(rows).encode()) == "listing"


ARRAYS = b"""\
#define ROM_SIZE 8      /* left alone */
// the firmware of a board
PROGMEM const unsigned char rom[ROM_SIZE] = {   /* 0x0200 */
    0xA2, 3, 0b11001010, 0xD0, 0xFD, /* 0x00, */ 0x4C,
    5, 2,
};
static const uint8_t text[] FLASH = { 'H', 'I', '\\n', 041, };
"""


def test_arrays_of_firmware(tmp_path: Path) -> None:
    shown = run(tmp_path, "board", "-t", CHIP, "-o", "prog.asm", "--at", "0x300", board=ARRAYS)
    assert shown.exit == 0, shown.says
    made = xasm.assemble((tmp_path / "prog.asm").read_text("ascii"), CHIP)
    assert made.spans == [(0x200, bytes.fromhex("A203CAD0FD4C0502")), (0x300, b"HI\n!")]
    assert "C arrays" in shown.says and "behind the one" not in shown.says
    two = ARRAYS + b"const char more[] = { 1 };\n"
    shown = run(tmp_path, "board", "-t", CHIP, "-o", "more.asm", "--at", "0x300", board=two)
    assert "note: array 'more' names no address: it was put behind the one in front of it\n" in shown.says


@pytest.mark.parametrize(
    ("data", "kind"),
    [
        (b":1O020000A203\n", ".hex"),
        (b"S1O70200A203CAD0\n", ".srec"),
        (b"\x00\x01\x02", ".bin"),
        (bytes(range(256)), ".bin"),
        (bytes(0x200), ".bin"),
        (bytes(10) + b"0200 A2 03\n" * 20, "listing"),
        (b"byte rom[] = {1, 2};", ".c"),
        (b"@200 A2 03\n", ".mem"),
        (b"0200 A2 03\n", "listing"),
    ],
)
def test_kinds(data: bytes, kind: str) -> None:
    assert kind_of(data) == kind


def test_a_kind_that_is_named_is_taken(tmp_path: Path) -> None:
    path = tmp_path / "x"
    path.write_bytes(b"0200")
    read = read_program(str(path), TARGET, Wanted("binary", 0x200), Report())
    assert read.image.spans == [(0x200, b"0200")]
    with pytest.raises(Fault) as raised:
        read_program(str(path), TARGET, Wanted("binary"), Report())
    assert raised.value.hint == "--at 0x0200, for one, says where the first word belongs"


@pytest.mark.parametrize("seed", range(20))
def test_junk_is_refused_and_nothing_written(seed: int, tmp_path: Path) -> None:
    choice = random.Random(seed)
    top = choice.choice((128, 256))
    data = bytes(choice.randrange(top) for _ in range(3000)) + b"\n" * 5
    shown = run(tmp_path, "junk", "-t", CHIP, "-o", "prog.asm", "--names", "names.yaml", junk=data)
    assert shown.exit == 1 and "error: " in shown.says
    assert shown.untouched


def test_what_is_taken_stands_in_the_output(tmp_path: Path) -> None:
    typed = b"0200: A2 O3 CA D0\n0204: FD 4C 05 02\n"
    shown = run(tmp_path, "typed.txt", "-t", CHIP, "-o", "prog.asm", "--lenient", typed_txt=typed)
    assert shown.exit == 0
    assert "typed.txt:1:10: warning: 'O3' has a letter where a digit belongs" in shown.says
    source = (tmp_path / "prog.asm").read_text("ascii")
    assert ";   line 1: 'O3' has a letter where a digit belongs: taken as 03\n" in source
    assert xasm.assemble(source, CHIP).spans == [(0x200, bytes.fromhex("A203CAD0FD4C0502"))]


def test_the_screen_and_what_is_said(tmp_path: Path) -> None:
    typed = b"0200: A2 03 CA D0\n0204: FD 4C 05 02\n0208: 6C 00 03 EE\n"
    shown = run(tmp_path, "typed.txt", "-t", CHIP, "-o", "-", typed_txt=typed)
    assert "LDX #0x03" in shown.prints and shown.untouched
    assert "note: nothing says where the program begins; its lowest address 0x0200 was taken" in shown.says
    quiet = run(tmp_path, "typed.txt", "-t", CHIP, "-q", typed_txt=typed)
    assert (quiet.prints, quiet.says, quiet.exit) == ("", "", 0)
    entry = run(tmp_path, "typed.txt", "-t", CHIP, "--entry", "0x208", typed_txt=typed)
    assert "note: 0x0208 JMP (0x0300): where it goes is known only when it runs" in entry.says
    assert "a typed listing, 12 bytes for the 6502: 3 code, 0 data, 9 unknown; name a file for the source with -o" in entry.says


def test_the_typed_sample(tmp_path: Path) -> None:
    """The page with its slips, the page mended, the names; and the source and the words that are kept."""
    typed = (SAMPLES / "typed" / "foghorn.txt").read_bytes()
    names = (SAMPLES / "typed" / "foghorn.yaml").read_bytes()
    refused = run(tmp_path, "typed.txt", "-t", CHIP, "-o", "prog.asm", typed_txt=typed)
    assert refused.exit == 1 and refused.says.count(": error: ") == 3 and refused.untouched
    mended = typed.replace(b"A9 OO", b"A9 00").replace(b"A2 0 ", b"A2 00").replace(b"1C 30", b"1C 03")
    done = run(tmp_path, "mended.txt", "-t", CHIP, "-o", "prog.asm", "--names", "names.yaml", mended_txt=mended, names_yaml=names)
    assert done.exit == 0, done.says
    assert (tmp_path / "names.yaml").read_bytes() == names
    source = (tmp_path / "prog.asm").read_text("ascii")
    assert source == (SAMPLES / "typed" / "foghorn.asm").read_text("ascii")
    rows = (SAMPLES / "typed" / "foghorn.hexdump").read_text("ascii").split("\n")
    assert xasm.assemble(source, CHIP).spans == [(0x300, bytes.fromhex("".join(row[6:] for row in rows)))]


# ---- names


def named(text: str | None, words: bytes = bytes.fromhex("A203CAD0FD4C050248490D00EAEA60")) -> tuple[Recovered, str]:
    """A small program with a names file: what is recovered, and the file that is written then."""
    from xasm.linking.image import Span

    memory = Memory(Image(TARGET, (Span(0x200, words),)), "words")
    told = Told(starts=[0x200])
    file = None
    if text is not None:
        report = Report()
        file = read_names(Source("names.yaml", text), TARGET, report)
        tell(file, memory, told, report)
    found = recover(memory, told)
    return found, written(found.names, file, "words.bin", memory)


def test_a_names_file_is_written_and_read_back() -> None:
    first, text = named(None)
    assert '  - {at: 0x0202, name: "go_0202"}\n' in text
    again, same = named(text)
    assert same == text
    assert again.source == first.source
    assert text.startswith("# Names for the program in words.bin (6502).")


def test_the_loop_of_a_person() -> None:
    _, text = named(None)
    text = text.replace('name: "go_0202"}', 'name: "down", comment: "count"}').replace(
        "names:\n",
        'names:\n  # what it says\n  - {at: 0x0208, kind: text, length: 4, name: "greeting"}\n  - at: 0x020C\n    kind: code\n',
    )
    found, kept = named(text)
    assert re.search(r"^down: +DEX +; count; from 0x0203$", found.source, re.MULTILINE)
    assert "BNE down" in found.source
    assert 'greeting:   DB "HI", 0x0D' in found.source
    assert found.trace.code.keys() >= {0x20C, 0x20D, 0x20E}
    assert "  # what it says\n  - {at: 0x0208, kind: text, length: 4," in kept
    assert "  - at: 0x020C\n    kind: code\n" in kept
    assert kept.index("0x0202") < kept.index("0x0205") < kept.index("# what it says") < kept.index("0x020C")
    again, same = named(kept)
    assert (again.source, same) == (found.source, kept)


def test_what_xasm_found_is_found_anew() -> None:
    """A name of ours that nothing leads to any more goes; the remarks of a person stay."""
    _, text = named('names:\n  # mine\n  - {at: 0x0204, name: "go_0204"}\n  - {at: 0x0202, name: "go_0202"}\n')
    assert "go_0204" not in text and "go_0202" in text
    assert "# mine" in text


def test_names_of_places_outside_and_of_ports() -> None:
    found, _ = named('names:\n  - {at: 0x80, name: "lamp"}\n', bytes.fromhex("A580604C0003"))
    assert re.search(r"^lamp +EQU 0x0080", found.source, re.MULTILINE)
    assert "LDA lamp" in found.source
    target = load_target("8051")
    report = Report()
    file = read_names(
        Source("n", "names:\n  - {at: 0x30, space: data, name: level}\n  - {at: 0x05, space: bit, name: wet}\n"), target, report
    )
    assert [(entry.space, entry.at, entry.name) for entry in file.kept] == [("data", 0x30, "level"), ("bit", 5, "wet")]
    from xasm.linking.image import Span

    memory = Memory(Image(target, (Span(0, bytes.fromhex("E530D20522")),)), "w")
    told = Told()
    tell(file, memory, told, report)
    source = recover(memory, told).source
    assert "MOV A,level" in source and "SETB wet" in source and re.search(r"^level +EQU 0x30", source, re.MULTILINE)


def test_regions_that_a_person_names_hold_no_code() -> None:
    found, _ = named("names:\n  - {at: 0x0202, kind: bytes, length: 3}\n")
    assert 0x202 not in found.trace.code
    assert re.search(r"DB 0xCA, 0xD0, 0xFD +; control arrives here, where data is said to be", found.source)


def test_a_names_file_that_is_empty_or_strange() -> None:
    for text in ("", "names:\n", "# nothing\nnames: []\n", "names: 5\n", "- 1\n", "x: {\n", "\x00", "names:\n  - 5\n"):
        try:
            _, kept = named(text)
        except SourceErrors as errors:
            assert errors.diagnostics[0].path == "names.yaml"
        else:
            assert "go_0202" in kept


def test_names_are_written_with_the_source_or_not_at_all(tmp_path: Path) -> None:
    typed = b"0200: A2 03 CA D0\n0204: FD 4C 05 02\n"
    shown = run(tmp_path, "typed.txt", "-t", CHIP, "-o", "prog.asm", "--names", "names.yaml", typed_txt=typed)
    assert shown.exit == 0 and (tmp_path / "names.yaml").exists()
    assert "names.yaml: 3 names, 3 found by xasm" in shown.says
    before = (tmp_path / "names.yaml").read_bytes()
    refused = run(tmp_path, "typed.txt", "-t", CHIP, "-o", "no/where.asm", "--names", "names.yaml", typed_txt=typed)
    assert refused.exit == 2 and refused.untouched
    assert (tmp_path / "names.yaml").read_bytes() == before


@pytest.mark.parametrize("chip", TABLES)
def test_every_chip_keeps_its_names(chip: str) -> None:
    target = load_target(chip)
    parts = build([str(SAMPLES / chip / "beacon.asm")], Choices(target)).image.parts
    memory = Memory(Image(target, parts), "beacon")
    first = recover(memory, Told())
    text = written(first.names, None, "beacon", memory)
    told, report = Told(), Report()
    file = read_names(Source("names.yaml", text), target, report)
    tell(file, memory, told, report)
    again = recover(memory, told)
    assert again.source == first.source
    assert written(again.names, file, "beacon", memory) == text
