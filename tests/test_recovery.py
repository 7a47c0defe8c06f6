"""Words to source to the same words, for every table; and what is understood on the way."""

from __future__ import annotations

import os
import random
import re
from functools import cache
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import xasm
from tests.invented import IGNORING, chip
from xasm.building import Choices, build
from xasm.linking.image import Image, Span
from xasm.recovery.exact import Disassembler
from xasm.recovery.memory import MOST_WORDS, Memory
from xasm.recovery.recovering import Recovered, recover
from xasm.recovery.told import Told
from xasm.source.diagnostics import Fault
from xasm.target.finding import load_target, table_paths
from xasm.target.model import Target

TABLES = list(table_paths())
SAMPLES = Path(__file__).resolve().parent.parent / "samples"
EXAMPLES = settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
LONG = "XASM_LONG_TESTS" in os.environ
TWELVE = """
kinds:
  far: {address: 12}
  few: {number: 6}
forms:
  - {asm: "TAKE d",  code: "000001dddddd", d: few, cycles: 1}
  - {asm: "LEAP a",  code: "00C <a>", a: far, cycles: 2, flow: jump}
  - {asm: "CALL a",  code: "00D <a>", a: far, cycles: 2, flow: call}
  - {asm: "BACK",    code: "00E", cycles: 1, flow: return}
  - {asm: "HOP a",   code: "001xxxxxxxxx", x: far9, a: none, cycles: 1}
"""


def memory(target: Target, *parts: tuple[int, bytes | list[int]]) -> Memory:
    return Memory(Image(target, tuple(Span(start, words) for start, words in parts)), "words")


def back(found: Recovered) -> bool:
    """Whether the source becomes the words again; each recovery has asked that already, of the assembler's own image."""
    made = xasm.assemble(found.source, found.memory.target)
    return dict(made.cells()) == found.memory.words


def line(found: Recovered, text: str) -> str:
    """The only line of the source that holds a text."""
    (one,) = [one for one in found.source.split("\n") if text in one]
    return one


def noise(seed: int, count: int, top: int = 256) -> list[int]:
    source = random.Random(seed)
    return [source.randrange(top) for _ in range(count)]


@pytest.mark.parametrize("name", TABLES)
@pytest.mark.parametrize("sample", ["halt", "beacon"])
def test_samples(name: str, sample: str) -> None:
    target = load_target(name)
    image = build([str(SAMPLES / name / f"{sample}.asm")], Choices(target)).image
    found = recover(Memory(Image(target, image.parts), sample), Told())
    assert back(found)
    assert found.code + found.data + found.unknown == len(image)
    # where the only routine is called through a pointer that is loaded with one less, nothing leads to it
    assert found.code * 2 > len(image) or (name, sample) == ("ins8060", "beacon")
    assert not found.forced


@pytest.mark.parametrize("name", TABLES)
def test_every_word_may_be_an_instruction(name: str) -> None:
    """All first words, with operands of many kinds, each a place where control is said to arrive."""
    target = load_target(name)
    longest = max(form.size for form in target.forms)
    words: list[int] = []
    code = []
    room = min(0x7000, target.top // 2)
    for first in range(0, 1 << target.word, max(1, 1 << target.word - 8)):
        for tail in (0x00, 0x7F, 0x80, 0xFF)[: 4 if target.address > 12 else 1]:
            code.append(0x40 + len(words))
            words += [first, *[tail] * (longest - 1)]
    found = recover(memory(target, (0x40, words[:room])), Told(code=code))
    assert back(found)
    assert all(found.forced.values())  # none is written as data
    met = [one for at in code if (one := found.trace.at(at)) is not None]
    assert len({one.form.row or one.form for one in met}) * 3 > len({form.code.match[0] for form in target.forms})


@pytest.mark.parametrize("name", TABLES)
@EXAMPLES
@given(choice=st.randoms(use_true_random=False), size=st.integers(1, 300))
def test_any_words(name: str, choice: random.Random, size: int) -> None:
    target = load_target(name)
    start = choice.choice((0, target.top + 1 - size, choice.randrange(target.top - size)))
    few = [choice.randrange(256) for _ in range(6)]
    words = [choice.randrange(256) if choice.random() < 0.7 else choice.choice(few) for _ in range(size)]
    told = Told(code=[start + choice.randrange(size) for _ in range(choice.randrange(4))])
    assert back(recover(memory(target, (start, bytes(words))), told))


@pytest.mark.skipif(not LONG, reason="takes minutes; XASM_LONG_TESTS=1 runs it")
@pytest.mark.parametrize("name", TABLES)
def test_every_two_words(name: str) -> None:
    """All 65,536 beginnings of two bytes, at places all over the memory, with operands behind them at random."""
    target = load_target(name)
    disassembler = Disassembler(target)
    longest = disassembler.longest
    choice = random.Random(2)
    starts = [(first, second) for first in range(256) for second in range(256)]
    choice.shuffle(starts)
    room = min(target.top // 2, 0x4000) // (longest + 2)
    met = 0
    for first in range(0, len(starts), room):
        words: list[int] = []
        code = []
        base = choice.randrange(target.top // 2)
        for one in starts[first : first + room]:
            code.append(base + len(words))
            words += [*one, *(choice.randrange(256) for _ in range(longest))]
        found = recover(memory(target, (base, bytes(words))), Told(code=code))
        assert back(found)
        assert all(found.forced.values())
        met += sum(1 for at in code if found.trace.at(at) is not None)
    assert met > 10_000


def test_words_of_twelve_bits() -> None:
    body = TWELVE[: TWELVE.index('  - {asm: "HOP')]
    target = chip(body, word=12, address=12)
    words = [0x00D, 0x105, 0x00C, 0x100, 0xFFF, 0x041, 0x00E, *noise(1, 200, 4096)]
    found = recover(memory(target, (0x100, words)), Told(starts=[0x100]))
    assert back(found)
    assert "CALL do_105" in found.source
    assert "DB 0xFFF" in line(found, "0xFFF")


# ---- what is understood

FLOWS = """
kinds:
  far: {address: 16}
  hop: {relative: 8, from: next}
  byte: {number: 8}
  wide: {number: 16}
  port: {unsigned: 8}
forms:
  - {asm: "PASS",    code: "01", cycles: 1}
  - {asm: "LEAP a",  code: "02 <a>", a: far, cycles: 3, flow: jump}
  - {asm: "LEAP (a)", code: "03 <a>", a: far, cycles: 5, flow: jump, to: none}
  - {asm: "CALL a",  code: "04 <a>", a: far, cycles: 3, flow: call}
  - {asm: "BACK",    code: "05", cycles: 1, flow: return}
  - {asm: "TEST t",  code: "06 <t>", t: hop, cycles: 2, flow: branch}
  - {asm: "SKIP",    code: "07", cycles: 1, flow: skip}
  - {asm: "STOP",    code: "08", cycles: 1, flow: halt}
  - {asm: "GO",      code: "09", cycles: 1, flow: jump}
  - {asm: "TAKE a",  code: "0A <a>", a: far, cycles: 3}
  - {asm: "LOAD #w", code: "0B <w>", w: wide, cycles: 3}
  - {asm: "SEND p",  code: "0C <p>", p: port, cycles: 3}
  - {asm: "SHORT n", code: "0D <n>", n: byte, cycles: 2}
  - {asm: "FIXED n", code: "1nnn0001", n: three, cycles: 3, flow: call, to: none}
  - {asm: "ODD",     code: "0E 33", cycles: 1, undocumented: true}
"""
THREE = "  three: {unsigned: 3}\nforms:\n"
PLAIN = FLOWS.replace("forms:\n", THREE)
ROUTED = 'routes: {starts: {ALARM: 0x0020}, vectors: {TICK: 0x0030}, times: {"FIXED n": 8}, through: ["LEAP (a)"]}\n' + PLAIN


def program(words: bytes, body: str = PLAIN, start: int = 0, **told: list[int]) -> Recovered:
    found = recover(memory(chip(body), (start, words)), Told(**told))  # type: ignore[arg-type]
    assert back(found)
    return found


def test_flow_is_followed() -> None:
    #        0  1        4        7     9  A        D  E     10 11
    code = b"\x01\x04\x10\x00\x04\x10\x00\x06\xf7\x07\x02\x0d\x00\x08\xff\xff\x05\xff"
    found = program(code)
    assert sorted(found.trace.code) == [0x00, 0x01, 0x04, 0x07, 0x09, 0x0A, 0x0D, 0x10]
    assert (found.code, found.data, found.unknown) == (15, 0, 3)
    assert "; called at 0x0001 in start, 0x0004 in start" in found.source
    assert re.search(r"^do_0010: +BACK$", found.source, re.MULTILINE)
    assert re.search(r"^go_000D: +STOP +; from 0x000A$", found.source, re.MULTILINE)


def test_behind_a_stop_only_sound_code_is_followed() -> None:
    assert sorted(program(b"\x08\x01\x05\xff").trace.code) == [0, 1, 2]
    assert sorted(program(b"\x08\x01\xff\xff").trace.code) == [0]


def test_instructions_that_overlap_are_kept_and_noted() -> None:
    found = program(b"\x06\x01\x0a\x01\x05\xff\xff")
    assert sorted(found.trace.inside) == [3, 4]
    assert re.search(r"^into_0003 +EQU \$ - 2 +; the middle of it; from here it reads PASS$", found.source, re.MULTILINE)
    assert "TEST into_0003" in found.source


def test_jumps_that_only_a_run_can_tell_are_noted() -> None:
    found = program(b"\x09\x00")
    assert found.trace.computed == [0]
    assert line(found, "GO").endswith("; where this goes is known only when it runs")


def test_the_table_tells_further_ways() -> None:
    words = bytearray(b"\xff" * 0x40)
    words[0:4] = b"\x81\x03\x28\x00"  # FIXED 0 calls 0; through a pointer
    words[0x08:0x0B] = b"\x05\xff\xff"
    words[0:1] = b"\x91"  # FIXED 1: calls 8
    words[0x20:0x22] = b"\x01\x05"
    words[0x28:0x2A] = b"\x38\x00"
    words[0x30:0x32] = b"\x3a\x00"
    words[0x38:0x3C] = b"\x01\x05\x01\x05"
    found = program(bytes(words), ROUTED)
    assert sorted(found.trace.code) == [0, 1, 8, 0x20, 0x21, 0x38, 0x39, 0x3A, 0x3B]
    assert re.search(r"^alarm: +PASS$", found.source, re.MULTILINE)
    assert re.search(r"^tick: +PASS$", found.source, re.MULTILINE)
    assert "to do_0008" in line(found, "FIXED 1")
    assert re.search(r"^words_0028: DW go_0038$", found.source, re.MULTILINE)
    assert "DW tick" in found.source


def test_data_is_told_apart() -> None:
    text = b"READY TO GO\r\n\0"
    fill = b"\xff" * 20
    table = b"\x00\x00\x06\x00\x00\x00\x06\x00"
    code = b"\x0a\x10\x00\x0b\x20\x00\x05"
    words = code + b"\x91" * 9 + b"\x80\x81\x82" + b"\x83" * 13 + text + table + fill
    found = program(words)
    kinds = {region.kind for region in found.regions}
    assert kinds == {"bytes", "text", "words", "fill"}
    assert 'DB "READY TO GO", 0x0D, 0x0A' in found.source
    assert "DS 20, 0xFF" in found.source
    assert "DW start" in found.source
    assert "TAKE bytes_0010" in found.source
    assert re.search(r"LOAD #text_0020|LOAD #bytes_0020", found.source)


def test_names_of_what_lies_outside() -> None:
    found = program(b"\x0a\x34\x12\x0c\x10\x04\x00\xf0\x05")
    assert re.search(r"^cell_1234 +EQU 0x1234 +; at 0x0000$", found.source, re.MULTILINE)
    assert re.search(r"^port_10 +EQU 0x10 +; at 0x0003$", found.source, re.MULTILINE)
    assert re.search(r"^do_F000 +EQU 0xF000", found.source, re.MULTILINE)


def test_undocumented_instructions_become_data_with_a_note() -> None:
    found = program(b"\x01\x0e\x33\x05")
    assert line(found, "0x0E").endswith("; control arrives here: ODD is undocumented (--undocumented takes it)")
    wanted = recover(memory(chip(PLAIN).with_undocumented(), (0, b"\x01\x0e\x33\x05")), Told())
    assert "ODD" in line(wanted, "ODD") and wanted.code == 4
    assert "assemble it with --undocumented" in wanted.source


def test_control_that_arrives_nowhere_is_noted() -> None:
    found = program(b"\x01\xee\x05")
    assert line(found, "0xEE").endswith("; control arrives here, and there is no instruction")


def test_a_start_that_nothing_names_is_told() -> None:
    assert program(b"\x05", start=0x100).guessed_start == 0x100
    assert program(b"\x05").guessed_start is None
    assert program(b"\x05", start=0x100, starts=[0x100]).guessed_start is None


CHOICES = IGNORING + '  - {asm: "GOTO t", code: "05 <t>", t: far, cycles: 3, flow: branch}\n'


def test_codes_that_the_assembler_would_not_choose_stay_exact() -> None:
    found = program(b"\x04\x12\x00\x03\x12\x02\x09\x00\xff\x01", CHOICES)
    assert found.forced == {0: (4,), 5: (2,), 9: (1,)}
    for statement in ("CODED 0x04: LD cell_0012", "CODED 0x02: BR ", "CODED 0x01: STOP"):
        assert line(found, statement)
    assert "LD cell_0012" in found.source.split("CODED 0x04: LD cell_0012")[1]


def test_a_code_that_is_said_follows_its_label() -> None:
    source = program(b"\x04\x12\x00\x03\x12\x02\x09\x00\xff\x01", CHOICES).source
    moved = re.sub(r"(cell_0012 +EQU) 0x0012", r"\1 0x0013", source)
    assert moved != source
    assert xasm.assemble(moved, chip(CHOICES)).spans == [(0, b"\x04\x13\x00\x03\x13\x02\x09\x00\xff\x01")]


def test_long_codes_that_make_room_for_each_other_stay_exact() -> None:
    """Two long jumps over each other, each just too far for the short code because the other one is long: the assembler would
    settle on two short ones."""
    words = b"\x02\x82\x00" + b"\x00" * 124 + b"\x02\x00\x00" + b"\x00"
    found = program(words, CHOICES, code=[0, 0x7F, 0x82])
    assert {0, 0x7F} <= set(found.forced)
    assert all(found.trace.code[at].exact and found.trace.code[at].elastic for at in (0, 0x7F))


# ---- bounds


def test_too_many_words() -> None:
    target = chip(CHOICES, address=24)
    with pytest.raises(Fault) as raised:
        memory(target, (0, bytes(MOST_WORDS + 1)))
    assert raised.value.code == "recover_large"


@cache
def worst(size: int) -> tuple[tuple[str, bytes], ...]:
    """Memories that are meant to be slow."""
    return (
        ("zeros", bytes(size)),
        ("one letter", b"A" * size),
        ("a text", b"all work and no play " * (size // 21)),
        ("the same address", b"\x00\x01" * (size // 2)),
        ("jumps to everywhere", b"".join(b"\x02" + (at * 7 % size).to_bytes(2, "little") for at in range(size // 3))),
        ("stops", b"\x08\x01" * (size // 2)),
        ("chains that lead nowhere", b"\x08" + b"\x01" * (size - 1)),
    )


@pytest.mark.parametrize("index", range(7))
def test_nothing_is_slow(index: int) -> None:
    """Counted in steps of the tracer, not in time: four times the words, about four times the steps."""
    steps = []
    for size in (2000, 8000):
        name, words = worst(size)[index]
        target = chip(PLAIN)
        found = memory(target, (0, words))
        counted = Counted(target)
        monkey = recover.__globals__["Disassembler"]
        recover.__globals__["Disassembler"] = lambda _, counted=counted: counted
        try:
            assert back(recover(found, Told())), name
        finally:
            recover.__globals__["Disassembler"] = monkey
        steps.append(counted.steps)
    assert steps[1] <= 6 * steps[0] + 100


class Counted(Disassembler):
    steps = 0

    def at(self, address: int, words: tuple[int, ...]):  # type: ignore[no-untyped-def]
        self.steps += 1
        return super().at(address, words)
