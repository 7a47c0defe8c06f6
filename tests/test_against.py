"""Captures held against programs: correct ones, and every simple fault of the wiring, in what is printed and in what the chip gets.

The captures come from machines that know nothing of our tables (`pcode_machine`), and where there is none from the expected
fetches; the damage is done apart from the code that looks for it (`damage`). XASM_ALL_DAMAGE=1 looks at every pair of lines,
else only neighbours are swapped and shorted.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

import xasm
from tests.damage import Access, Damage, changed, damaged, damages, met, text
from tests.pcode_machine import LANGUAGES, Bus, Machine, Stopped
from tests.test_cli import run
from tests.test_starter import MODELS, linked
from xasm.bus.against import Comparison, compare, verdict
from xasm.bus.capture import Capture, read_capture
from xasm.bus.memory import Memory, memory_of
from xasm.bus.starter import starter
from xasm.bus.trace import Trace, trace
from xasm.linking.image import Image
from xasm.source.diagnostics import Fault
from xasm.target.finding import load_target, table_paths

CHIPS = list(table_paths())
ACCESSES = 200
LEAST = 20  # accesses of a machine that runs on wrong words: some meet a code at once that the library does not know
IDLE = {"6502": 0xEA, "65c02": 0xEA, "6809": 0x12, "8051": 0, "8080": 0, "8085": 0, "z80": 0}  # what free memory holds
PRINTED: list[str] = []


def captured(accesses: Sequence[Access], path: str = "capture.txt") -> Capture:
    capture = Capture(path)
    for number, access in enumerate(accesses, 1):
        capture.add(*access, number)
    return capture


def played(chip: str, image: Image, most: int = ACCESSES) -> list[Access]:
    """What a machine shows on its bus."""
    return running(chip, Bus(dict(image.cells()), free=IDLE.get(chip, 0xFF)), most)


def running(chip: str, bus: Bus, most: int) -> list[Access]:
    try:
        machine = MODELS[chip](bus) if chip in MODELS else Machine(chip, bus)
        while len(bus.log) < most:
            machine.step()
    except Stopped:
        pass
    return bus.log[:most]


def played_with(chip: str, image: Image, damage: Damage) -> list[Access]:
    """The same where a fault lies between chip and memory."""
    bus = Bus(dict(image.cells()), lambda at: changed(at, 16, damage.address), free=IDLE[chip])
    bus.data = lambda word: met(bus.asked, changed(word, 8, damage.data), damage.meet, image.target)[1]
    return running(chip, bus, ACCESSES)


def expected(found: Trace, most: int = ACCESSES) -> list[Access]:
    """The expected fetches, the loop again and again."""
    fetches = list(found.fetches())
    assert found.loop_fetch is not None
    period = len(fetches) - found.loop_fetch
    numbers = [index if index < len(fetches) else found.loop_fetch + (index - found.loop_fetch) % period for index in range(most)]
    return [(fetches[index].address, fetches[index].word, False) for index in numbers]


def program(chip: str, kind: str) -> tuple[Memory, Trace, list[Access]]:
    """A first program, its trace, and a correct capture of it."""
    image = xasm.assemble(starter(load_target(chip), kind), target=load_target(chip))
    memory = Memory(image, fill=IDLE.get(chip))
    found = trace(memory)
    return memory, found, played(chip, image) if chip in LANGUAGES else expected(found)


def tried(chip: str) -> Iterator[Damage]:
    """The faults that are tried: all single lines, and neighbours."""
    for damage in damages(chip):
        if damage.near or os.environ.get("XASM_ALL_DAMAGE"):
            yield damage


class Share:
    """How the faults were named: alone, first of several, among several, not at all."""

    def __init__(self) -> None:
        self.counts: Counter[str] = Counter()
        self.missed: list[str] = []

    def add(self, title: str, found: Comparison) -> None:
        titles = [finding.defect.title for finding in found.findings]
        how = "missed" if title not in titles else "alone" if len(titles) == 1 else "first" if titles[0] == title else "among several"
        self.counts[how] += 1
        if how == "missed":
            self.missed.append(title)

    @property
    def named(self) -> float:
        return 1 - self.counts["missed"] / max(1, self.counts.total())

    def text(self) -> str:
        parts = ", ".join(f"{how} {count}" for how, count in self.counts.most_common())
        return f"{self.named:.1%} of {self.counts.total()} named right ({parts})"


def say(line: str, capsys: pytest.CaptureFixture[str]) -> None:
    with capsys.disabled():
        print(f"\n  {line}", end="")


@pytest.mark.parametrize("kind", ["halt", "count", "ports", "ram"])
@pytest.mark.parametrize("chip", CHIPS)
def test_a_correct_capture_is_the_same(chip: str, kind: str) -> None:
    """The RAM walk among them, where data decides at every step: the capture shows the way."""
    memory = memory_of(linked(chip, kind))
    found = trace(memory)
    models = kind == "ram" or chip in LANGUAGES
    accesses = played(chip, memory.image, 2000 if kind == "ram" else ACCESSES) if models else expected(found)
    whole = compare(memory, found, captured(accesses))
    assert whole.same and whole.begins == "reset" and whole.outcome.length == len(accesses)
    noise = [(0x05, 0xFF, False), (0x05, 0xFF, False), (0x07, 0x00, True)]
    later = compare(memory, found, captured(noise + accesses))
    assert later.same and later.outcome.start == 3 and later.begins == "reset"


ROOMY = ("im6100",)


@pytest.mark.parametrize("chip", CHIPS)
def test_a_capture_may_begin_in_the_loop(chip: str) -> None:
    memory, found, accesses = program(chip, "halt")
    for first in range(12, 16):
        inside = compare(memory, found, captured(accesses[first:]))
        assert inside.same and inside.outcome.length == len(accesses) - first
    for index in range(len(accesses) - 8, len(accesses) - 2):
        address, word, write = accesses[index]
        broken = [*accesses[:index], (address ^ 4, word, write), *accesses[index + 1 :]]
        wrong = compare(memory, found, captured(broken))
        assert not wrong.same and index <= wrong.outcome.stop <= index + 2
        # an instruction that has time for an access of data besides its own words may hide the wrong one
        assert chip in ROOMY or not any(finding.whole for finding in wrong.findings), wrong.findings


@pytest.mark.parametrize("chip", CHIPS)
def test_faults_of_what_is_printed_are_named(chip: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Every fault that changes a fetch is named, alone or with others that the capture cannot tell from it."""
    share = Share()
    for kind in ("halt", "count"):
        memory, found, accesses = program(chip, kind)
        target = memory.target
        inside = dict(memory.image.cells())
        for damage in tried(chip):
            bad = damaged(accesses, damage, target)
            fetches = [index for index, access in enumerate(accesses) if access[0] in inside]
            if all(bad[index] == accesses[index] for index in fetches):
                continue
            result = compare(memory, found, captured(bad))
            if result.same:
                # a word that meets an address may be wrong in front of the loop only: so looks a capture that begins in it
                ahead = [index for index in fetches if bad[index] != accesses[index]]
                assert damage.meet is not None and result.begins == "middle" and ahead[-1] < len(list(found.fetches())), damage.title
                continue
            share.add(damage.title, result)
    say(f"printed, {chip}: {share.text()}", capsys)
    assert share.counts.total() >= 20
    assert share.missed == []


@pytest.mark.parametrize("chip", ["6502", "6809", "8051", "8085", "z80"])
def test_faults_that_the_chip_gets_are_named(chip: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The machine really runs on what reaches it, wrong ways and all. Where it halts or meets a code that the library does not
    know, what follows is unknown; so is a wrong word that changes nothing but data."""
    share = Share()
    memory, found, accesses = program(chip, "count")
    unseen = 0
    for damage in tried(chip):
        if damage.meet is not None and damage.kind == "swapped":
            continue  # the chip gets what floats
        bad = played_with(chip, memory.image, damage)
        if len(bad) < LEAST or bad == accesses:
            continue
        result = compare(memory, found, captured(bad))
        if result.same:
            unseen += 1
            continue
        share.add(damage.title, result)
    say(f"in effect, {chip}: {share.text()}; {unseen} change no fetch", capsys)
    assert share.counts.total() >= 20 and unseen * 2 < share.counts.total()
    assert share.named >= 0.95, share.missed


@pytest.mark.parametrize("chip", CHIPS)
def test_other_faults_are_named(chip: str) -> None:
    memory, found, accesses = program(chip, "count")
    words = [word for _, word, _ in accesses]
    late = [(address, words[index - 1] if index else 0, write) for index, (address, _, write) in enumerate(accesses)]
    assert "each word comes one access late" in titles(memory, found, late)
    early = [(address, words[index + 1], write) for index, (address, _, write) in enumerate(accesses[:-1])]
    assert "each address comes one access late against the words" in titles(memory, found, early)
    still = [accesses[0]] * 50
    assert titles(memory, found, still) == ["the chip never left reset, or has no clock"]
    lines = list(verdict(compare(memory, found, captured([])), memory, found))
    assert lines[1].startswith("nothing came on the bus")


@pytest.mark.parametrize("chip", [chip for chip in CHIPS if chip in LANGUAGES])
def test_another_start_is_named(chip: str) -> None:
    """The program with a second one behind it, which begins where nothing of the first leads."""
    target = load_target(chip)
    source = starter(target, "count").split("\n")
    at = next(index for index, line in enumerate(source) if line.startswith("start:"))
    other = [
        "other:  NOP",
        *(line.replace("start:", "again:").replace("next", "more") for line in source[at:] if "ORG" not in line and " DW " not in line),
    ]
    end = next((index for index, line in enumerate(source) if "its start address" in line), len(source))
    image = xasm.assemble("\n".join([*source[:end], *other, *source[end:]]) + "\n", target=target)
    memory = Memory(image, fill=IDLE[chip])
    found = trace(memory)
    machine = Machine(chip, Bus(dict(image.cells()), free=IDLE[chip]))
    machine.bus.log.clear()
    machine.pc = image.symbols["other"]
    while len(machine.bus.log) < 60:
        machine.step()
    shown = titles(memory, found, machine.bus.log[:60])
    assert f"the chip runs, but from {target.hex_address(image.symbols['other'])}" in shown[0], shown


@pytest.mark.parametrize("chip", ["z80", "6502", "1802"])
def test_the_next_page_is_named(chip: str) -> None:
    memory, _found, accesses = program(chip, "count")
    cells = dict(memory.image.cells())
    paged = Memory(Image(memory.target, memory.image.parts), fill=IDLE.get(chip, 0xC4))
    image = xasm.assemble(
        starter(memory.target, "count").replace("\n        ORG", "\n        ORG", 1) + behind(memory), target=memory.target
    )
    paged = Memory(image, fill=IDLE.get(chip, 0xC4))
    bad = [(address, paged.word(address + 256 & 0xFFFF) or 0 if address in cells else word, write) for address, word, write in accesses]
    shown = titles(paged, trace(paged), bad)
    assert "the words are those of the next page, 0x100 further on" in shown, shown


def behind(memory: Memory) -> str:
    """A page of words behind the program, all different."""
    first = min(address for address, _ in memory.image.cells()) + 256
    words = ", ".join(str((index * 37 + 11) % 256) for index in range(64))
    return f"        ORG {first}\n        DB {words}\n"


def titles(memory: Memory, found: Trace, accesses: Sequence[Access]) -> list[str]:
    return [finding.defect.title for finding in compare(memory, found, captured(accesses)).findings]


# ---- reading captures


LAYOUTS = {
    "letters": "{way} {address:04X} {word:02X}",
    "colon": "{address:04X}: {word:02X} {way}",
    "numbered": "{number:6d} | 0x{address:04X} | 0x{word:02X} | {way}",
    "tags": "A={address:04X} D={word:02X} {way}",
    "commas": "{number},{address:04x},{word:02x},{way}",
    "words": "{long} {address:04X} -> {word:02X}",
}


@pytest.mark.parametrize("layout", LAYOUTS)
def test_layouts_are_found_out(layout: str, tmp_path: Path) -> None:
    memory, _, accesses = program("6502", "count")
    lines = ["board says hello", "=== trace ==="]
    for number, (address, word, write) in enumerate(accesses, 1):
        way, long = ("W", "write") if write else ("R", "read")
        lines.append(LAYOUTS[layout].format(number=number, address=address, word=word, way=way, long=long))
    path = tmp_path / "capture.txt"
    path.write_text("\r\n".join(lines))
    capture = read_capture(str(path), memory)
    assert list(zip(capture.addresses, capture.words, map(bool, capture.writes), strict=True)) == accesses
    assert (capture.passed, capture.lines[0]) == (2, 3)


def test_addresses_alone_are_enough(tmp_path: Path) -> None:
    memory, found, accesses = program("z80", "halt")
    path = tmp_path / "capture.txt"
    path.write_text("".join(f"{address:04X}\n" for address, _, _ in accesses))
    capture = read_capture(str(path), memory)
    assert list(capture.addresses) == [address for address, _, _ in accesses]
    assert compare(memory, found, capture).same


def test_a_layout_can_be_described(tmp_path: Path) -> None:
    memory, _, _ = program("z80", "halt")
    path = tmp_path / "capture.txt"
    path.write_text("12us [00/0000] rd\n13us [18/0001] rd\n14us [00/8000] wr\nend\n")
    capture = read_capture(str(path), memory, "{x} [{d}/{a}] {r}")
    assert [*zip(capture.addresses, capture.words, capture.writes, strict=True)] == [(0, 0, 0), (1, 0x18, 0), (0x8000, 0, 1)]
    for wrong in ("{q} {a}", "{d}", "{a} {a}"):
        with pytest.raises(Fault) as caught:
            read_capture(str(path), memory, wrong)
        assert caught.value.code == "capture_layout"


def test_what_is_no_capture_is_said_so(tmp_path: Path) -> None:
    (tmp_path / "first.asm").write_text(starter(load_target("z80"), "halt"))
    (tmp_path / "song.txt").write_text("there is\nnothing here!\n")
    ran = run(tmp_path, "expect", "first.asm", "--against", "song.txt")
    assert ran.code == 1 and ran.said.startswith(
        "song.txt:1:1: error: lines of this file that can be read as an access of the bus: none of 2"
    )
    (tmp_path / "song.txt").write_text("0001 C3\n" + "la la la\n" * 9)
    ran = run(tmp_path, "expect", "first.asm", "--against", "song.txt")
    assert ran.code == 1 and ran.said.startswith(
        "song.txt:2:1: error: lines of this file that can be read as an access of the bus: 1 of 10"
    )
    # of a file in which lines are described, the others may be anything
    described = run(tmp_path, "expect", "first.asm", "--against", "song.txt", "--layout", "{a} {d}")
    assert described.shown.startswith("song.txt: 1 access of the bus; 9 lines that are none are passed over\n")
    (tmp_path / "song.txt").write_text("0002 FE\n0001 18\n")
    ran = run(tmp_path, "expect", "first.asm", "--against", "song.txt")
    assert ran.code == 0 and ran.shown.endswith("same: all 2 accesses\nSo few could come from many places: this says little.\n")
    (tmp_path / "bytes.bin").write_bytes(bytes(range(256)) * 40)
    assert run(tmp_path, "expect", "first.asm", "--against", "bytes.bin").code == 1
    assert run(tmp_path, "expect", "first.asm", "--against", "nowhere.txt").code == 2
    (tmp_path / "empty.txt").write_text("")
    ran = run(tmp_path, "expect", "first.asm", "--against", "empty.txt")
    assert (ran.code, ran.shown.splitlines()[1][:23]) == (1, "nothing came on the bus")


def test_a_capture_has_bounds(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    memory, _, accesses = program("z80", "halt")
    monkeypatch.setattr("xasm.bus.capture.MOST", 100)
    (tmp_path / "long.txt").write_text(text(accesses[:101], memory.target))
    with pytest.raises(Fault) as caught:
        read_capture(str(tmp_path / "long.txt"), memory)
    assert caught.value.code == "capture_long"


def test_a_line_that_fails_late_is_named() -> None:
    """All is well for 3,000 accesses, and then a line fails."""
    memory, found, _ = program("z80", "count")
    accesses = played("z80", memory.image, most=6000)
    stuck = next(damage for damage in damages("z80") if damage.title == "A1 stuck high")
    result = compare(memory, found, captured(accesses[:3000] + damaged(accesses[3000:], stuck, memory.target)))
    assert 3000 <= result.outcome.stop < 3010
    assert "A1 stuck high" in [finding.defect.title for finding in result.findings]
    assert all(finding.outcome.start >= 2990 for finding in result.findings)


def test_the_verdict_of_a_line_that_is_stuck(tmp_path: Path) -> None:
    memory, _, accesses = program("6502", "halt")
    (tmp_path / "first.asm").write_text(starter(memory.target, "halt"))
    (tmp_path / "good.txt").write_text(text(accesses, memory.target))
    stuck = next(damage for damage in damages("6502") if damage.title == "A1 stuck low")
    (tmp_path / "bad.txt").write_text(text(damaged(accesses, stuck, memory.target), memory.target))
    good = run(tmp_path, "expect", "first.asm", "--against", "good.txt")
    assert (good.code, good.shown) == (
        0,
        "good.txt: 200 accesses of the bus\nreset is released at access 1, line 1\nsame: all 200 accesses\n",
    )
    bad = run(tmp_path, "expect", "first.asm", "--against", "bad.txt")
    assert bad.code == 1
    assert "first difference at access 5, line 5:" in bad.shown
    assert ">        5        5  F000 01       F002 01" in bad.shown
    assert bad.shown.endswith("\nfits: A1 stuck low (all 200 accesses)\n")
