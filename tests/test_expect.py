"""What the bus must show: the way, the loop, the time; as text, data, waves and picture."""

from __future__ import annotations

import csv
import json
import re
import subprocess
from pathlib import Path
from xml.etree import ElementTree

import pytest
from vcdvcd import VCDVCD

import xasm
from tests.test_cli import run
from xasm.building import Choices, build, build_sources
from xasm.bus.memory import Memory, memory_of
from xasm.bus.takes import read_takes
from xasm.bus.timing import hertz, timing_of
from xasm.bus.trace import Trace, trace
from xasm.bus.waves import moments
from xasm.reports.listing import listing
from xasm.source.diagnostics import Fault
from xasm.source.files import Source
from xasm.target.finding import load_target

ROOT = Path(__file__).resolve().parent.parent

# What each halt sample shows, typed from the comments in its source, and cycles counted by hand: addresses before the loop,
# those of the loop, cycles before it, cycles of a turn.
HALTS = {
    "1802": ("0000 0001", "0002 0003", 4, 2),
    "2650": ("0000 0001", "0002 0003", 3, 3),
    "4004": ("000 001", "002 003", 2, 2),
    "4040": ("000 001", "002 003", 2, 2),
    "6502": ("FFFC FFFD FFF0 FFF1 FFF2 FFF3", "FFF4 FFF5 FFF6", 6, 3),
    "65c02": ("FFFC FFFD FFF0 FFF1 FFF2 FFF3 FFF4", "FFF5 FFF6 FFF7", 7, 3),
    "6809": ("FFFE FFFF FFE0 FFE1 FFE2 FFE3 FFE4 FFE5", "FFE6 FFE7", 7, 3),
    "8008": ("0000 0001 0002", "0003 0004 0005", 13, 11),
    "8008-new": ("0000 0001 0002", "0003 0004 0005", 13, 11),
    "8051": ("0000 0001 0002", "0003 0004", 2, 2),
    "8080": ("0000 0001 0002", "0003 0004 0005", 11, 10),
    "8085": ("0000 0001 0002", "0003 0004 0005", 11, 10),
    "z80": ("0000 0001 0002", "0003 0004", 11, 12),
}


def follow(source: str, *takes: str, chip: str = "6502", most: int = 1000) -> Trace:
    linked = build_sources([Source("p.asm", source)], Choices(chip))
    memory = memory_of(linked)
    return trace(memory, read_takes(takes, linked.image.symbols, memory.target), most)


def ends(found: Trace) -> tuple[str | None, list[str]]:
    return (found.end.code if found.end else None), [remark.code for remark in found.remarks]


@pytest.mark.parametrize("chip", HALTS)
def test_the_halt_samples(chip: str) -> None:
    found = trace(memory_of(build([str(ROOT / f"samples/{chip}/halt.asm")])))
    before, loop, cycles, turn = HALTS[chip]
    shown = [found.target.hex_address(fetch.address)[2:] for fetch in found.fetches()]
    assert found.loop_fetch == len(before.split())
    assert " ".join(shown) == f"{before} {loop}"
    assert (found.reached, found.period) == ((cycles, cycles), (turn, turn))
    assert ends(found) == (None, [])


VECTOR = "\n        ORG 0xFFFC\n        DW start\n"


def test_decisions_stop_the_way_or_go_as_named() -> None:
    source = " ORG 0x200\nstart: LDX #3\ndown: DEX\nagain: BNE down\nhalt: JMP halt\n" + VECTOR
    assert ends(follow(source)) == ("bus_data_decides", [])
    twice = follow(source, "again=2 times")
    # 2 + 3 * DEX 2 + 2 * taken 3 + once not taken 2, as the first page counts
    assert (twice.reached.low, twice.period.low) == (16, 3)
    assert [step.taken for step in twice.steps if step.taken is not None] == [True, True, False]
    assert follow(source, "0x203=no").reached.low == 6
    always = follow(source, "again=yes")
    assert [step.address for step in always.again] == [0x202, 0x203]
    assert [step.begin.low for step in twice.steps][:4] == [0, 2, 4, 7]


def test_counts_begin_anew_so_that_nested_loops_close() -> None:
    source = " ORG 0x200\nstart: LDX #2\nin: DEX\n BNE in\n DEY\nout: BNE start\nhalt: JMP halt\n" + VECTOR
    found = follow(source, "0x203=1 times", "out=2 times")
    texts = [step.text for step in found.before]
    assert texts.count("DEX") == 6 and texts.count("LDX #0x02") == 3


def test_a_page_border_costs_a_cycle_where_it_is_known() -> None:
    source = " ORG 0x2F0\nstart: BEQ far\n ORG 0x30F\nfar: JMP far\n" + VECTOR
    assert follow(source, "start=yes").reached == (4, 4)
    near = " ORG 0x200\nstart: BEQ near\nnear: JMP near\n" + VECTOR
    assert follow(near, "start=yes").reached == (3, 3)
    indexed = " ORG 0x200\nstart: LDA 0x12F0,X\nhalt: JMP halt\n" + VECTOR
    assert follow(indexed).reached == (4, 5)


def test_calls_return_and_skips_skip() -> None:
    source = " ORG 0x200\nstart: JSR sub\nhalt: JMP halt\nsub: JSR deep\n RTS\ndeep: RTS\n" + VECTOR
    assert [step.text.split()[0] for step in follow(source).steps] == ["JSR", "JSR", "RTS", "RTS", "JMP"]
    assert ends(follow(" ORG 0x200\nstart: RTS\n" + VECTOR)) == ("bus_no_caller", [])
    skips = " SKP\n DB 0x55\n LSKP\n DB 1, 2\nhalt: BR halt\n"
    assert [step.address for step in follow(skips, chip="1802").steps] == [0, 2, 5]
    perhaps = " LSZ\n NOP\n NOP\nhalt: BR halt\n"
    assert ends(follow(perhaps, chip="1802"))[0] == "bus_data_decides"
    assert [step.address for step in follow(perhaps, "0=yes", chip="1802").steps] == [0, 3]


def test_restarts_call_where_the_table_says() -> None:
    for chip, names in (("8080", ("RST 1", "RET", "JMP")), ("8008", ("RST 1", "RET", "JMP"))):
        source = f" {names[0]}\nhalt: {names[2]} halt\n ORG 8\n {names[1]}\n"
        assert [step.address for step in follow(source, chip=chip).steps] == [0, 8, 1]


def test_operands_can_change_the_flow() -> None:
    start = "\n ORG 0xFFFE\n DW start\n"
    source = " ORG 0x200\nstart: BSR sub\nhalt: BRA halt\nsub: PULS A,PC\n" + start
    assert [step.address for step in follow(source, chip="6809").steps] == [0x200, 0x204, 0x202]
    for text, code in (("TFR X,PC", "bus_computed"), ("TFR PC,X", "bus_off_end"), ("EXG X,PC", "bus_computed"), ("PULS A", "bus_off_end")):
        assert ends(follow(f" ORG 0x200\nstart: {text}\n{start}", chip="6809"))[0] == code, text


def test_warnings_of_the_way() -> None:
    def way(body: str) -> tuple[str | None, list[str]]:
        return ends(follow(f" ORG 0x200\nstart: {body}\n{VECTOR}"))

    assert way("NOP\n DB 0xEA\nhalt: JMP halt") == (None, ["bus_into_data"])
    assert way("NOP\n DS 2, 0xEA\nhalt: JMP halt") == (None, ["bus_into_filler"])
    assert way("NOP") == ("bus_off_end", [])
    assert way("JMP 0x3000") == ("bus_hole", [])
    assert way("LDA #1\n JMP start + 1") == ("bus_no_instruction", []) or way("JMP start + 1")[1] == ["bus_inside"]
    assert way("BRK") == ("bus_pointer", [])
    assert way("JMP (0x300)") == ("bus_pointer", [])
    assert way("DB 0xFF") == ("bus_no_instruction", [])
    assert way("DB 0x4C") == ("bus_cut", [])
    assert ends(follow(" ORG 0x200\nstart: NOP\n"))[0] == "bus_no_vector"
    assert ends(follow(" HLT\n", chip="8080"))[0] == "bus_halts"
    wraps = " JMP last\n ORG 0xFFFF\nlast: NOP\n"
    assert ends(follow(wraps, chip="8080")) == (None, ["bus_wraps"])
    endless = " ORG 0x200\nstart: JSR start\n" + VECTOR
    assert ends(follow(endless, most=50))[0] == "bus_steps"


def test_a_computed_way_can_be_named() -> None:
    source = " ORG 0x200\nstart: JMP (0x300)\n ORG 0x240\nhalt: JMP halt\n" + VECTOR
    found = follow(source, "start=to halt")
    assert [step.address for step in found.steps] == [0x200, 0x240] and found.loop == 1


# Programs whose way leads through addresses in memory: chip, source, the addresses of the instructions, and where pointers lie.
# What returns where is from memory of the makers' manuals: behind SWI, and one byte further behind BRK.
THROUGH = [
    ("6502", " ORG 0x200\nstart: BRK\n DB 0xFF\nhalt: JMP halt\nirq: NOP\n RTI\n ORG 0xFFFC\n DW start, irq\n", "200 205 206 202", "FFFE"),
    ("6502", " ORG 0x200\nstart: JMP (where)\nhalt: JMP halt\nwhere: DW halt\n ORG 0xFFFC\n DW start\n", "200 203", "206"),
    ("65c02", " ORG 0x200\nstart: BRK\n DB 0xFF\nhalt: JMP halt\nirq: RTI\n ORG 0xFFFC\n DW start, irq\n", "200 205 202", "FFFE"),
    ("6800", " ORG 0x200\nstart: SWI\nhalt: BRA halt\nswi: RTI\n ORG 0xFFFA\n DW swi, 0, start\n", "200 203 201", "FFFA"),
    ("6809", " ORG 0x200\nstart: SWI\nhalt: BRA halt\nswi: RTI\n ORG 0xFFFA\n DW swi, 0, start\n", "200 203 201", "FFFA"),
    ("6809", " ORG 0x200\nstart: SWI2\nhalt: BRA halt\nswi: RTI\n ORG 0xFFF4\n DW swi\n ORG 0xFFFE\n DW start\n", "200 204 202", "FFF4"),
    ("6809", " ORG 0x200\nstart: SWI3\nhalt: BRA halt\nswi: RTI\n ORG 0xFFF2\n DW swi\n ORG 0xFFFE\n DW start\n", "200 204 202", "FFF2"),
    ("6809", " ORG 0x200\nstart: JSR [at]\nhalt: BRA halt\nsub: RTS\nat: DW sub\n ORG 0xFFFE\n DW start\n", "200 206 204", "207"),
    ("2650", " BSTA,UN *at\nhalt: BCTR,UN halt\nsub: RETC,UN\nat: DW sub\n", "0 5 3", "6"),
    ("2650", " BCTR,UN *at\n NOP\nhalt: BCTR,UN halt\nat: DW halt\n", "0 3", "5"),
]


@pytest.mark.parametrize(("chip", "source", "way", "pointers"), THROUGH)
def test_addresses_in_memory_are_followed(chip: str, source: str, way: str, pointers: str) -> None:
    found = follow(source, chip=chip)
    assert [step.address for step in found.steps] == [int(address, 16) for address in way.split()]
    assert found.loop == len(found.steps) - 1 and ends(found) == (None, [])
    assert found.pointers == {int(address, 16) for address in pointers.split()}


BOARD = "windows:\n  - {name: low, start: 0, size: 0x400, kind: ram}\n  - {name: high, start: 0xF000, size: 0x1000, kind: rom}\n"


def test_a_board_says_which_addresses_stay(tmp_path: Path) -> None:
    """What lies in ROM is sure; what lies in RAM is not followed, and the answer that goes on is named."""
    (tmp_path / "board.yaml").write_text(BOARD)
    source = "        TARGET 6502\n        ORG 0xF000\nstart:  JMP ({at})\nhalt:   JMP halt\n        ORG {at}\n        DW halt\n"
    (tmp_path / "rom.asm").write_text(source.format(at="0xF010") + VECTOR)
    ran = run(tmp_path, "expect", "rom.asm", "--board", "board.yaml")
    assert ran.code == 0 and "halt loop: F003 F004 F005" in ran.shown and "as long as" not in ran.shown
    assert "as long as the program leaves the address at 0xF010 as it is" in run(tmp_path, "expect", "rom.asm").shown
    assert run(tmp_path, "build", "rom.asm", "-q", "-o", "rom.hex").code == 0
    (tmp_path / "ram.asm").write_text(source.format(at="0x0010") + VECTOR)
    assert run(tmp_path, "build", "ram.asm", "-q", "-o", "ram.hex").code == 0
    ran = run(tmp_path, "expect", "ram.hex", "-t", "6502", "--board", "board.yaml")
    assert "no further: JMP (0x0010) at 0xF000 goes to the address that 0x0010 holds then" in ran.shown
    assert "if 0x0010 still holds what the program puts there: --take '0xF000=to 0xF003'" in ran.said
    assert (
        "halt loop: F003" in run(tmp_path, "expect", "ram.hex", "-t", "6502", "--board", "board.yaml", "--take", "0xF000=to 0xF003").shown
    )


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("x", "take_form"),
        ("0x200=maybe", "take_form"),
        ("strat=yes", "undefined"),
        ("0x20000=no", "take_outside"),
        ("0x2=9999999 times", "take_times"),
    ],
)
def test_answers_that_cannot_be(text: str, code: str) -> None:
    with pytest.raises(Fault) as caught:
        read_takes([text], {"start": 0x200}, load_target("6502"))
    assert caught.value.code == code


def test_clocks() -> None:
    assert [hertz(text) for text in ("740kHz", "1.5 MHz", "32768Hz", "0.5mhz")] == [740_000, 1_500_000, 32_768, 500_000]
    for wrong in ("", "5", "0Hz", "1GHz", "2000MHz", "-1kHz", "1e6Hz"):
        with pytest.raises(Fault):
            hertz(wrong)
    timing = timing_of(load_target("4004"), None, "740kHz")
    assert timing.picoseconds(1) == 10_810_811  # 8 periods of 1.351351 us
    assert timing.picoseconds(740_000 // 8) == 10**12


@pytest.mark.parametrize("chip", HALTS)
def test_listing_and_trace_have_the_same_cycles(chip: str) -> None:
    """For every instruction met, the listing's column holds the cycles of the trace."""
    linked = build([str(ROOT / f"samples/{chip}/beacon.asm")])
    memory = memory_of(linked)
    conditional = {}
    for index, entry in enumerate(linked.program.entries):
        if hasattr(entry.piece, "words") or hasattr(entry.piece, "variants"):
            conditional[linked.layout.addresses[index]] = "0"
    answers = read_takes([f"{address}=no" for address in conditional], {}, memory.target)
    found = trace(memory, answers, 400)
    text = listing(linked)
    seen = 0
    for step in found.steps:
        address = found.target.hex_address(step.address)[2:]
        first = found.target.hex_word(step.words[0])
        row = re.search(rf"^.{{6}}  {address} +{first} .*?  ([0-9][0-9/+]*) ", text, re.MULTILINE)
        if row is None:  # lines of an included file are wider
            continue
        low = int(re.split(r"[/+]", row[1])[0])
        cross = int(row[1].rpartition("+")[2]) if "+" in row[1] else 0
        assert low <= step.cycles.low <= step.cycles.high <= low + cross, (row[0], step)
        seen += 1
    assert seen >= 10, found.end


# ---- files


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    source = (
        "; first light\n        TARGET 6502\n        ORG 0x0200\nstart:  LDX #3\ndown:   DEX\n        BNE down\nhalt:   JMP halt\n" + VECTOR
    )
    (tmp_path / "first.asm").write_text(source)
    return tmp_path


OUTPUTS = ["first.txt", "first.csv", "first.json", "first.h", "first.vcd", "first.svg"]


def made(folder: Path) -> None:
    words = [word for name in OUTPUTS for word in ("-o", name)]
    ran = run(folder, "expect", "first.asm", "--take", "0x203=2 times", *words)
    assert (ran.code, ran.shown) == (0, ""), ran.said


# The first page tells it: 0200 0201, then 0202 0203 0204 three times over, then 0205 0206 0207 for ever.
ADDRESSES = [0xFFFC, 0xFFFD, 0x200, 0x201, *[0x202, 0x203, 0x204] * 3, 0x205, 0x206, 0x207]
WORDS = [0x00, 0x02, 0xA2, 0x03, *[0xCA, 0xD0, 0xFD] * 3, 0x4C, 0x05, 0x02]


def test_tables_hold_every_fetch(folder: Path) -> None:
    made(folder)
    with (folder / "first.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert [int(row["address"], 16) for row in rows] == ADDRESSES
    assert [int(row["word"], 16) for row in rows] == WORDS
    assert [row["part"] for row in rows] == ["vector"] * 2 + ["before"] * 11 + ["loop"] * 3
    assert rows[-3]["begin_us"] == "16.000000" and rows[4]["taken"] == ""
    whole = json.loads((folder / "first.json").read_text())
    assert [step["address"] for step in whole["steps"]] == [0x200, *[0x202, 0x203] * 3, 0x205]
    assert whole["loop"] == {
        "first_step": 7,
        "first_fetch": 13,
        "fetches": 3,
        "cycles": [3, 3],
        "reached": [16, 16],
        "reached_ps": [16_000_000] * 2,
    }
    assert whole["end"] is None and whole["clock_hz"] == 1_000_000


def test_the_c_arrays_compile_and_hold_every_fetch(folder: Path) -> None:
    made(folder)
    (folder / "main.c").write_text(
        '#include <stdio.h>\n#include "first.h"\nint main(void) { unsigned i; for (i = 0; i < FIRST_BUS_FETCHES; i++)'
        ' printf("%u %u\\n", first_bus_addresses[i], first_bus_words[i]);'
        ' printf("%d %d\\n", FIRST_BUS_LOOP, FIRST_BUS_CLOSED); return 0; }\n'
    )
    for compiler, standard in (("gcc", "c99"), ("g++", "c++11")):
        source = ["-x", "c" if compiler == "gcc" else "c++", "main.c"]
        subprocess.run(
            [compiler, f"-std={standard}", "-Wall", "-Wextra", "-Werror", "-pedantic", *source, "-o", "show"], cwd=folder, check=True
        )
        shown = subprocess.run(["./show"], cwd=folder, capture_output=True, text=True, check=True).stdout.split("\n")
        assert shown[:-2] == [f"{address} {word}" for address, word in zip(ADDRESSES, WORDS, strict=True)]
        assert shown[-2] == "13 1"


def test_another_reader_reads_the_waves(folder: Path) -> None:
    made(folder)
    read = VCDVCD(str(folder / "first.vcd"))
    assert float(read.timescale["timescale"]) == pytest.approx(1e-12)
    names = {name.split(".")[-1].split("[")[0]: name for name in read.signals}
    assert set(names) == {"address", "word", "opcode", "vector", "in_loop"}
    found = trace(memory_of(build([str(folder / "first.asm")])), read_takes(["0x203=2 times"], {}, load_target("6502")))
    times, end = moments(found, timing_of(load_target("6502"), None, None))
    assert len(times) == len(ADDRESSES) + 6  # the loop three times
    for moment, address, word in zip(times, [*ADDRESSES, *ADDRESSES[-3:] * 2], [*WORDS, *WORDS[-3:] * 2], strict=True):
        assert int(read[names["address"]][moment.begin], 2) == address
        assert int(read[names["word"]][moment.begin], 2) == word
        assert int(read[names["in_loop"]][moment.begin]) == moment.looping
    assert read.endtime == end == (2 + 16 + 9) * 1_000_000


def test_the_picture_is_whole_xml_and_shows_the_fetches(folder: Path) -> None:
    made(folder)
    root = ElementTree.fromstring((folder / "first.svg").read_text())
    texts = [element.text for element in root.iter("{http://www.w3.org/2000/svg}text")]
    assert [text for text in texts if re.fullmatch("[0-9A-F]{4}", text or "")] == [f"{address:04X}" for address in ADDRESSES]
    assert "href" not in (folder / "first.svg").read_text()


def test_images_are_followed_like_their_source(folder: Path) -> None:
    assert run(folder, "build", "first.asm", "-q", "-o", "first.hex", "-o", "first.bin", "-o", "first.h").code == 0
    (folder / "part.asm").write_text("        ORG 0x0200\nhalt: JMP halt\n")
    take = ("--take", "0x203=2 times")
    from_source = run(folder, "expect", "first.asm", *take).shown
    for words in (("first.hex",), ("first.bin", "--at", "0x200"), ("first.h",)):
        ran = run(folder, "expect", *words, "-t", "6502", *take)
        assert ran.code == 0, ran.said
        assert [line.split()[:4] for line in ran.shown.splitlines()[4:]] == [line.split()[:4] for line in from_source.splitlines()[4:]]
    assert run(folder, "expect", "first.hex").code == 2
    assert run(folder, "expect", "first.hex", "first.bin", "-t", "6502").code == 2


def test_a_board_has_a_clock_and_a_filler(folder: Path) -> None:
    (folder / "board.yaml").write_text(
        "clock: 2MHz\nfill: 0xEA\nwindows:\n  - {name: low, start: 0x200, size: 0x100, kind: rom}\n"
        "  - {name: top, start: 0xFF00, size: 0x100, kind: rom}\n"
        "  - {name: lower, start: 0x0, size: 0x200, kind: ram}\n"
    )
    (folder / "wild.asm").write_text("        TARGET 6502\n        ORG 0x02FE\nstart:  NOP\n" + VECTOR)
    ran = run(folder, "expect", "first.asm", "--board", "board.yaml", "--take", "0x203=2")
    assert "one turn:  3 fetches, 3 cycles, 1.5 us" in ran.shown and "the board's clock" in ran.shown
    wild = run(folder, "expect", "wild.asm", "--board", "board.yaml")
    assert "runs into filler at 0x02FF" in wild.said and "leads to 0x0300" not in wild.shown.split("no further")[0]


def test_a_report_tells_the_time_to_the_loop(folder: Path) -> None:
    (folder / "two.asm").write_text("        TARGET 6502\n        ORG 0x200\nstart: NOP\nhalt: JMP halt\n" + VECTOR)
    assert (
        "from reset to the halt loop: 2 cycles, 2 us; one turn of it: 3 cycles, 3 us; at 1 MHz"
        in run(folder, "build", "two.asm", "--report").shown
    )
    assert (
        "no halt loop is known; the way on from 0x0203 (BNE 0x0202) depends on data" in run(folder, "build", "first.asm", "--report").shown
    )


def test_nothing_is_written_when_something_is_wrong(folder: Path) -> None:
    ran = run(folder, "expect", "first.asm", "-o", "a.csv", "-o", "b.odd")
    assert ran.code == 2 and not (folder / "a.csv").exists()
    ran = run(folder, "expect", "first.asm", "-o", "a.csv", "-o", "nowhere/b.csv")
    assert ran.code == 2 and not (folder / "a.csv").exists()
    assert run(folder, "expect", "first.asm", "-o", "first.asm").code == 2


def test_an_image_of_wider_words() -> None:
    """Everything counts in words of the chip, whatever their width."""
    from tests.test_cli import TWELVE
    from xasm.source.diagnostics import Report
    from xasm.target.loader import read_target

    target = read_target(Source("twelve.yaml", TWELVE.decode()), Report())
    image = xasm.assemble("        DB 0x123\n", target)
    found = trace(Memory(image))
    assert found.end is not None or found.loop is not None
