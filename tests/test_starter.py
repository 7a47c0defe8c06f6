"""First programs: each runs on a machine that does not know our tables, and does what it says, with good memory and with bad."""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest

import xasm
from tests.further_machines import FURTHER
from tests.pcode_machine import LANGUAGES, Bus, Machine
from tests.small_machines import MODELS as SMALL
from tests.small_machines import Model4004, Small
from tests.test_cli import run
from xasm.building import Choices, build, build_sources
from xasm.bus.memory import memory_of
from xasm.bus.starter import starter
from xasm.bus.trace import trace
from xasm.linking.image import Image
from xasm.linking.linker import Linked
from xasm.source.diagnostics import Fault
from xasm.source.files import Source
from xasm.target.bus_parts import KINDS
from xasm.target.finding import load_target, table_paths

CHIPS = list(table_paths())
MODELS = {**SMALL, **FURTHER}
MACHINES = [*LANGUAGES, *MODELS]
MOST = 20_000  # steps; the longest walk takes fewer


def linked(chip: str, kind: str) -> Linked:
    target = load_target(chip)
    return build_sources([Source(f"{kind}.asm", starter(target, kind))], Choices(target))


def machine(chip: str, image: Image) -> Machine | Small:
    bus = Bus(dict(image.cells()))
    return MODELS[chip](bus) if chip in MODELS else Machine(chip, bus)


def stays(chip: str, image: Image, found: Machine | Small) -> int:
    """The address at which a machine jumps to itself."""
    for _ in range(MOST):
        here = found.pc
        found.step()
        if found.pc == here:
            return here
    raise AssertionError(f"{chip} never stays")


def test_every_table_has_every_kind() -> None:
    assert len(CHIPS) >= 13
    assert {chip: tuple(load_target(chip).starters.programs) for chip in CHIPS} == dict.fromkeys(CHIPS, KINDS)


@pytest.mark.parametrize("chip", CHIPS)
def test_halt_closes_its_loop_and_is_the_smallest(chip: str) -> None:
    program = linked(chip, "halt")
    found = trace(memory_of(program))
    assert found.loop is not None and not found.remarks
    assert [step.address for step in found.again] == [program.image.symbols["hang"]]
    assert len(found.steps) == 2


@pytest.mark.parametrize("chip", MACHINES)
@pytest.mark.parametrize("kind", ["halt", "count", "ports"])
def test_machines_fetch_what_is_expected(chip: str, kind: str) -> None:
    """The fetches of a machine are the expected ones, in order; reads of data are no part of the program's addresses here."""
    program = linked(chip, kind)
    found = trace(memory_of(program))
    assert found.loop is not None
    expected = [(fetch.address, fetch.word) for fetch in found.fetches()]
    first = found.loop_fetch or 0
    expected += expected[first:] * 7
    playing = machine(chip, program.image)
    while len(playing.bus.log) < 200:
        playing.step()
    inside = dict(program.image.cells())
    fetched = [(address, word) for address, word, write in playing.bus.log if not write and address in inside]
    assert len(expected) >= 8
    assert fetched[: len(expected)] == expected


def shown(chip: str, image: Image, playing: Machine | Small, steps: int) -> list[int]:
    """What a counting program puts out: on its port, or in memory outside of the program."""
    values: list[int] = []
    spaces = ("io", "sfr", "intmem") if isinstance(playing, Machine) else ()
    for _ in range(steps):
        playing.step()
        for space in spaces:
            # the port is the only place there that changes
            cells = sorted(playing.spaces.get(space, {}).items())
            values += [value for place, value in cells if (space == "io" or place == 0x90) and (not values or values[-1] != value)]
    values += [word for _, word, write in playing.bus.log if write and isinstance(playing, Machine)]
    values += getattr(playing, "lamps", [])
    return values


@pytest.mark.parametrize("chip", MACHINES)
def test_count_counts(chip: str) -> None:
    values = shown(chip, linked(chip, "count").image, machine(chip, linked(chip, "count").image), 60)
    pairs = list(itertools.pairwise(values))
    assert len(pairs) >= 5
    full = 15 if chip.startswith("40") else 255
    assert all(after == before + 1 & full for before, after in pairs), values


@pytest.mark.parametrize("chip", MACHINES)
def test_ram_finds_good_memory_good(chip: str) -> None:
    image = linked(chip, "ram").image
    assert stays(chip, image, machine(chip, image)) == image.symbols["good"]


# The memory of a 4004 hears no address lines.
FAULTS = [(chip, fault) for chip in MACHINES for fault in ("bit", "address") if fault == "bit" or MODELS.get(chip) is not Model4004]


@pytest.mark.parametrize(("chip", "fault"), FAULTS)
def test_ram_finds_bad_memory_bad(chip: str, fault: str) -> None:
    """One bit of one cell that stays 0, and an address line that the memory does not hear."""
    target = load_target(chip)
    image = linked(chip, "ram").image
    playing = machine(chip, image)
    area = target.starters.memory
    if isinstance(playing, Model4004):
        playing.broken[0x2B] = 8
    else:
        assert area is not None
        last = area.start + area.size - 1
        if fault == "bit":
            playing.bus.broken[last] = lambda word: word & ~0x10
        else:
            playing.bus.address = lambda address: address & ~0x20 if area.start <= address <= last else address
    assert stays(chip, image, playing) == image.symbols["bad"]


BOARD = """name: bench
windows:
  - {name: low, start: 0x0000, size: 0x0400, kind: %s}
  - {name: mid, start: 0x2000, size: 0x0300, kind: ram}
  - {name: io, start: 0x3000, size: 1, kind: io}
  - {name: high, start: 0xE000, size: 0x2000, kind: %s}
"""


@pytest.mark.parametrize(("chip", "start"), [("z80", 0), ("6502", 0xE000), ("6809", 0xE000), ("1802", 0)])
def test_a_board_says_where_things_are(chip: str, start: int, tmp_path: Path) -> None:
    kinds = ("rom", "ram") if start == 0 else ("ram", "rom")
    text = BOARD % kinds
    (tmp_path / "board.yaml").write_text(text + ("start: start\n" if chip == "6809" else ""))
    for kind in KINDS:
        ran = run(tmp_path, "starter", kind, "-t", chip, "--board", "board.yaml", "-o", f"{kind}.asm")
        assert (ran.code, ran.shown) == (0, ""), ran.said
        program = build([str(tmp_path / f"{kind}.asm")], Choices(board=str(tmp_path / "board.yaml")))
        assert program.image[start] is not None
    ram = build([str(tmp_path / "ram.asm")], Choices(board=str(tmp_path / "board.yaml"))).image
    first = 0x2000 if start == 0 else 0x0000
    assert ram.symbols["RAM_FIRST"] == first and ram.symbols["RAM_SIZE"] == (0x300 if first else 0x400)


def test_a_file_that_is_there_is_kept(tmp_path: Path) -> None:
    (tmp_path / "first.asm").write_text("mine")
    ran = run(tmp_path, "starter", "halt", "-t", CHIPS[0], "-o", "first.asm")
    assert (ran.code, (tmp_path / "first.asm").read_text()) == (2, "mine")
    assert run(tmp_path, "starter", "halt", "-t", CHIPS[0], "-o", "first.asm", "--force").code == 0
    assert "TARGET" in (tmp_path / "first.asm").read_text()


def test_kinds_that_are_not_there() -> None:
    target = load_target(CHIPS[0])
    with pytest.raises(Fault) as caught:
        starter(target, "walk")
    assert caught.value.code == "starter_kind"


def test_a_wrong_part_of_a_table_is_shown() -> None:
    from xasm.source.diagnostics import Report
    from xasm.target.finding import table_source
    from xasm.target.loader import read_target

    source = table_source("z80")
    text = "\n".join(source.lines)
    for good, bad, code in (
        ("  memory: {start: 0x8000, size: 0x100}", "  memory: {start: 0x8000, size: 0x18000}", "table_number"),
        ("  memory: {start: 0x8000, size: 0x100}", "  memry: {start: 0x8000, size: 0x100}", "table_unknown_key"),
        ("\nkinds:", "\nlines: [{name: A, count: 0, address: [0]}]\nkinds:", "table_number"),
        ("\nkinds:", "\nlines: [{name: 5, count: 1}]\nkinds:", "table_quote"),
        ("flow: halt}", "flow: halt, over: 1}", "table_flow_key"),
        ("flow: halt}", "flow: halt, flow_with: {PC: away}}", "table_value"),
    ):
        assert text.count(good) >= 1, good
        with pytest.raises(xasm.SourceErrors) as caught:
            read_target(Source("z80.yaml", text.replace(good, bad, 1)), Report())
        assert code in [found.code for found in caught.value.diagnostics], (bad, caught.value.diagnostics)
        assert all(found.line for found in caught.value.diagnostics)
