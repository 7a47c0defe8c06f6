"""Linking at scale, as ratios measured in one run: `python -m tests.benchmark_linking`.

200 modules of 500 lines, that use each other's names: linking against assembling, and twice as many against these.
50,000 branches forward, each of which becomes long only because the next one did: twice as many against these.
An image of 16 MB in banks: writing it in every format, the memory that this takes, and twice as much against that.
"""

from __future__ import annotations

import argparse
import json
import random
import subprocess
import sys
from collections.abc import Callable

from tests.benchmark import Program, peak, timed, wide_target
from tests.invented import BRANCHES, chip
from xasm.assembly.module import Module
from xasm.building import Choices, assemble_sources, link_modules
from xasm.formats import FORMATS
from xasm.formats.module_reading import read_module
from xasm.formats.modules import write_module
from xasm.formats.options import Options
from xasm.linking.image import Image, Span
from xasm.linking.linker import link
from xasm.source.diagnostics import Report
from xasm.source.files import Source
from xasm.target.model import Target

CHIP = "6502"


def roomy() -> Target:
    """An invented chip with room for any program."""
    return chip(BRANCHES.replace("{address: 16}", "{address: 24}"), address=24)


def many(target: Target, modules: int, lines: int) -> list[Source]:
    """Sources of modules each of which makes ten labels public and uses thirty of others."""
    dice = random.Random(5)
    sources = []
    for index in range(modules):
        body = Program(target, index).text(lines - 50).replace("step_", f"m{index}_step_").replace("const_", f"m{index}_const_")
        public = [f"m{index}_public_{number}" for number in range(10)]
        others = [f"m{dice.randrange(modules)}_public_{dice.randrange(10)}" for _ in range(30)]
        head = [f" PUBLIC {', '.join(public)}", f" EXTERN {', '.join(sorted(set(others)))}"]
        tail = [f"{name}: DW {name} & 0xFFFF" for name in public] + [f" DW {name} + 1 & 0xFFFF" for name in others]
        sources.append(Source(f"m{index}.asm", "\n".join([*head, *tail, body])))
    return sources


def modules(repeat: int, count: int, lines: int) -> None:
    target = roomy()
    times = {}
    for number in (count, 2 * count):
        sources = many(target, number, lines)
        made: list[Module] = assemble_sources(sources, Choices(target), Report())
        assembling = timed(lambda sources=sources: assemble_sources(sources, Choices(target), Report()), repeat)  # type: ignore[misc]
        times[number] = timed(lambda made=made: link(made, target, Report()), repeat)  # type: ignore[misc]
        print(f"{number} modules of {lines} lines: link / assemble = {times[number] / assembling:.2f}")
        written = [write_module(module) for module in made]
        writing = timed(lambda made=made: [write_module(module) for module in made], repeat)  # type: ignore[misc]
        reading = timed(lambda written=written: read_all(written, target), repeat)  # type: ignore[misc]
        size = sum(map(len, written)) / sum(len(line) + 1 for source in sources for line in source.lines)
        ratios = f"write / assemble = {writing / assembling:.2f}, read / assemble = {reading / assembling:.2f}"
        print(f"{number} modules: {ratios}, {size:.1f} bytes for each of the source")
    print(f"twice the modules: {times[2 * count] / times[count]:.2f} times the time to link")


def read_all(written: list[bytes], target: Target) -> list[Module]:
    return [read_module(data, "x.xo", lambda name, undocumented: target) for data in written]


def chain(repeat: int, count: int) -> None:
    """Branches of which each just reaches, until the last one grows."""
    target = roomy()
    times = {}
    for number in (count, 2 * count):
        lines = [f"l{index}: BR l{index + 1} + 125" for index in range(number)]
        text = "\n".join([*lines, f"l{number}: DS 200"]) + "\n"
        made = assemble_sources([Source("chain.asm", text)], Choices(target), Report())
        times[number] = timed(lambda made=made: link_modules(made, Choices(), Report()), repeat)  # type: ignore[misc]
    print(f"{count} branches that depend on each other; twice as many: {times[2 * count] / times[count]:.2f} times the time to link")


def banked(megabytes: int) -> Image:
    """Banks of 64 KB each, one behind the other in the image, with a gap in each."""
    target = wide_target(CHIP)
    dice = random.Random(7)
    parts = [Span(start, bytearray(dice.randbytes(0xFF00))) for start in range(0, megabytes << 20, 0x10000)]
    return Image(target, tuple(parts))


def write_one(suffix: str, megabytes: int) -> None:
    """Writes an image in one format and prints its size and the memory in front and at most, and how long it took."""
    image = banked(megabytes)
    before = peak()
    size = 0

    def write() -> None:
        nonlocal size
        size = len(FORMATS[suffix].write(image, Options()))

    took = timed(write, 1)
    print(json.dumps([size, before, peak(), took]))


def formats(megabytes: int) -> None:
    for suffix in FORMATS:
        if suffix == ".s19":  # whose addresses end at 64 KB
            continue
        found = {}
        for size in (megabytes // 2, megabytes):
            words = [sys.executable, "-m", "tests.benchmark_linking", "--write", suffix, "--megabytes", str(size)]
            found[size] = json.loads(subprocess.run(words, capture_output=True, text=True, check=True).stdout)
        size, before, after, took = found[megabytes]
        growth = took / found[megabytes // 2][3]
        memory = f"memory {(after - before) / size:.1f} bytes for each of the file"
        print(f"{megabytes} MB as {suffix}: {size / (megabytes << 20):.1f} times its size, {memory}, {growth:.1f} times the time of half")


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--quick", action="store_true", help="a tenth of everything, for a first look")
    options.add_argument("--repeat", type=int, default=3, help="runs of each measurement; the shortest counts")
    options.add_argument("--write", help=argparse.SUPPRESS)
    options.add_argument("--megabytes", type=int, default=16, help=argparse.SUPPRESS)
    chosen = options.parse_args()
    if chosen.write:
        write_one(chosen.write, chosen.megabytes)
        return
    part = 10 if chosen.quick else 1
    steps: list[Callable[[], None]] = [
        lambda: modules(chosen.repeat, 200 // part, 500),
        lambda: chain(chosen.repeat, 50_000 // part),
        lambda: formats(max(2, 16 // part)),
    ]
    for step in steps:
        step()


if __name__ == "__main__":
    main()
