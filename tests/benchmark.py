"""Speed, as ratios measured in one run: `python -m tests.benchmark`.

For every chip a program is generated from its table (every form equally often, labels, constants, comments, data), and
the time of `xasm.assemble` is set against a bare lark LALR parse of the very same text with our grammar and no actions.
The table is widened in memory to 24 address bits, so that 100,000 lines have room; nothing else is changed.

A program of macros is set against the same program expanded by hand (by `tests/expander.py`): the time that macros take,
and the time against a bare parse of all the lines that they stand for.
"""

from __future__ import annotations

import argparse
import random
import re
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import lark

from tests.expander import Expander
from xasm.building import assemble
from xasm.linking.image import Image, Span
from xasm.recovery.memory import Memory
from xasm.recovery.recovering import recover
from xasm.recovery.told import Told
from xasm.source.diagnostics import Report
from xasm.source.files import Source
from xasm.syntax import parser
from xasm.syntax.parser import grammar
from xasm.target.finding import find_table, load_target, table_paths
from xasm.target.forms import Form
from xasm.target.kinds import Choice, Kind, Page, Placed
from xasm.target.loader import read_target
from xasm.target.model import Target

CHIPS = ("4004", "6502", "z80")
WIDE = 24
WORDS = "the loop reads a value from port and keeps it until next pass so that lamp row shows count".split()


def wide_target(name: str) -> Target:
    """A chip with room for any program."""
    path = find_table(name)
    text = re.sub(r"(?m)^address: \d+", f"address: {WIDE}", path.read_text("utf-8"))
    return read_target(Source(path.name, text), Report())


class Program:
    """Generates source lines for a chip; keeps an upper estimate of the address to place branches within reach."""

    def __init__(self, target: Target, seed: int) -> None:
        self.target = target
        self.random = random.Random(seed)
        self.lines: list[str] = []
        self.address = 0
        self.labels: list[tuple[str, int]] = []
        self.constants = [f"const_{index}" for index in range(40)]
        self.forms = [form for form in target.forms if not any(isinstance(kind, Page) for kind in form.fields.values())]

    def text(self, count: int) -> str:
        self.constants = self.constants[: max(4, count // 10)]
        for index, name in enumerate(self.constants):
            self.lines.append(f"{name:<12}EQU     {index % 8}")
        while len(self.lines) < count:
            self.line()
        return "\n".join(self.lines[:count]) + "\n"

    def line(self) -> None:
        chance = self.random.random()
        if chance < 0.06:
            self.lines.append("; " + " ".join(self.random.choices(WORDS, k=8)))
            return
        if chance < 0.09:
            self.lines.append("")
            return
        label = ""
        if self.random.random() < 0.12:
            label = f"step_{len(self.labels)}"
            self.labels.append((label, self.address))
            label += ":"
        statement = self.data() if chance < 0.15 else self.instruction()
        comment = "; " + " ".join(self.random.choices(WORDS, k=4)) if self.random.random() < 0.4 else ""
        self.lines.append(f"{label:<12}{statement:<28}{comment}".rstrip())

    def data(self) -> str:
        if self.random.random() < 0.3:
            text = " ".join(self.random.choices(WORDS, k=3))
            self.address += len(text) + 1
            return f'DB      "{text}",0'
        self.address += 8
        return "DB      " + ",".join(f"0x{self.random.randrange(256):02X}" for _ in range(8))

    def instruction(self) -> str:
        form = self.random.choice(self.forms)
        mnemonic, _, operands = form.asm.partition(" ")
        text = re.sub(r"(?<![A-Za-z0-9_'])[a-z][a-z0-9]*(?![A-Za-z0-9_'])", lambda match: self.field(form, match[0]), operands)
        self.address += form.size
        return f"{mnemonic:<8}{text}".rstrip().replace("+-", "-")

    def field(self, form: Form, name: str) -> str:
        kind = form.fields[name]
        if isinstance(kind, Choice):
            return self.random.choice(kind.options)[0]
        if isinstance(kind, Placed):
            near = [label for label, address in self.labels[-3:] if self.address - address < 100]
            return self.random.choice(near) if near else "$"
        if kind.address and kind.bits > 8 and self.labels:
            label, _ = self.labels[self.random.randrange(min(len(self.labels), 100))]
            return label if self.random.random() < 0.8 else f"{label}+{self.random.randrange(1, 9)}"
        return self.number(kind)

    def number(self, kind: Kind) -> str:
        values = kind.edges(0, 1, 0)[0]
        if len(values) > 2:
            return str(self.random.choice(values))
        low, high = values
        if low == 0 and high >= 7 and self.random.random() < 0.2:
            return self.random.choice(self.constants)
        value = self.random.randrange(low, high + 1)
        return str(value) if value < 10 else f"0x{value:X}"


def timed(run: Callable[[], object], repeat: int) -> float:
    """The shortest of several times, in seconds."""
    times = []
    for _ in range(repeat):
        begin = time.perf_counter()
        run()
        times.append(time.perf_counter() - begin)
    return min(times)


def fresh_assemble(text: str, target: Target) -> object:
    """One assembly as a first one: nothing remembered from earlier."""
    parser._known.clear()
    target._variants.clear()
    target._shapes.clear()
    return assemble(text, target)


def compare(name: str, small: int, large: int, repeat: int) -> None:
    """Prints the ratios of one chip."""
    target = wide_target(name)
    bare = lark.Lark(grammar(), parser="lalr", start="program", maybe_placeholders=False)
    texts = {count: Program(target, 1).text(count) for count in (small, large)}
    times = {}
    for count, text in texts.items():
        runs = repeat if count == small else max(1, repeat // 2)
        ours = timed(lambda text=text: fresh_assemble(text, target), runs)  # type: ignore[misc]
        theirs = timed(lambda text=text: bare.parse(text), runs)  # type: ignore[misc]
        times[count] = ours
        print(f"{name:>6} {count:>7} lines: assemble / bare parse = {ours / theirs:.2f}")
    print(f"{name:>6} {large / small:g} times the lines: {times[large] / times[small]:.1f} times the time")


def macro_program(target: Target, count: int) -> str:
    """A program of macros that stands for about `count` lines: parameters, names that are LOCAL, conditions, repeats."""
    writer = Program(target, 3)
    lines = [f"{name} EQU {index % 8}" for index, name in enumerate(writer.constants)]
    for index in range(40):
        lines += [f"m{index} MACRO name, size=2, more...", " LOCAL again, over", "{name}: DB {size}, {#}"]
        lines += [f" {' '.join(writer.instruction().split())}" for _ in range(4)]
        lines += [" IF {size} == 3", "again: DB {more}", " ELSE", " REPT 2, turn", " DB {turn}, {size}", " ENDM", " ENDIF", " ENDM"]
    for index in range(max(1, count // 8)):
        size = writer.random.randrange(2, 5)
        lines.append(f"u{index}: m{index % 40} at_{index}, {size}, {index % 9}, 7")
    return "\n".join([*lines, ""])


def compare_macros(name: str, count: int, repeat: int) -> None:
    """Prints the ratios of one chip for a program of macros."""
    target = wide_target(name)
    bare = lark.Lark(grammar(), parser="lalr", start="program", maybe_placeholders=False)
    text = macro_program(target, count)
    expanded = Expander().expand(text)
    assert assemble(text, target).spans == assemble(expanded, target).spans
    macros, plain = (timed(lambda text=text: fresh_assemble(text, target), repeat) for text in (text, expanded))  # type: ignore[misc]
    parse = timed(lambda: bare.parse(expanded), repeat)
    lines = expanded.count("\n")
    print(f"{name:>6} {lines:>7} lines by macros: with macros / expanded by hand = {macros / plain:.2f}")
    print(f"{name:>6} {lines:>7} lines by macros: with macros / bare parse of all lines = {macros / parse:.2f}")


def memory(name: str, count: int) -> None:
    """Prints the peak memory of assembling one large program, against the size of its text."""
    code = (
        "from tests.benchmark import Program, peak, wide_target; from xasm.building import assemble;"
        f"target = wide_target({name!r}); text = Program(target, 1).text({count});"
        "before = peak(); assemble(text, target); print(len(text), before, peak())"
    )
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    size, before, after = map(int, shown.split())
    print(f"{name:>6} {count:>7} lines: peak memory {after >> 20} MiB, that is {(after - before) / size:.0f} bytes for each of the text")


def peak() -> int:
    """The most memory that this process has held so far, in bytes."""
    status = Path("/proc/self/status").read_text("utf-8")
    match = re.search(r"VmHWM:\s+(\d+) kB", status)
    assert match
    return int(match[1]) * 1024


def start_up(repeat: int) -> None:
    """Prints the start-up of `xasm build` on a 50-line program against importing the packages."""
    imports = [sys.executable, "-c", "import click, lark, yaml, intelhex"]
    with tempfile.TemporaryDirectory() as folder:
        for name in CHIPS:
            source = Path(folder) / f"{name}.asm"
            source.write_text(Program(wide_target(name), 2).text(50), "utf-8")
            ours = [sys.executable, "-m", "xasm", "build", str(source), "-t", name, "-q", "-o", str(source.with_suffix(".bin"))]
            ratios = []
            for _ in range(repeat):
                one = timed(lambda ours=ours: subprocess.run(ours, check=True), 1)  # type: ignore[misc]
                other = timed(lambda: subprocess.run(imports, check=True), 1)
                ratios.append(one / other)
            print(f"{name:>6} start-up of a 50-line build / importing the packages = {statistics.median(ratios):.2f}")


def table_sizes(repeat: int) -> None:
    """Prints the start-up of a smallest program for the table with the most rows against that for the one with the least."""
    rows = {name: len(load_target(name).rows) for name in table_paths()}
    least, most = min(rows, key=rows.__getitem__), max(rows, key=rows.__getitem__)
    with tempfile.TemporaryDirectory() as folder:
        commands = []
        for name in (most, least):
            source = Path(folder) / f"{name}.asm"
            source.write_text("        DB 1\n", "utf-8")
            commands.append([sys.executable, "-m", "xasm", "build", str(source), "-t", name, "-q", "-o", str(source.with_suffix(".bin"))])
        ratios = []
        for _ in range(repeat):
            one, other = (timed(lambda command=command: subprocess.run(command, check=True), 1) for command in commands)  # type: ignore[misc]
            ratios.append(one / other)
    print(f"start-up with the largest table ({most}) / with the smallest ({least}) = {statistics.median(ratios):.2f}")


def recovery(name: str, repeat: int) -> None:
    """Prints the time to recover the source of 64 KiB (the whole memory where that is less) against that to assemble it, and how
    it grows."""
    target = load_target(name)
    sizes = [min(1 << 14, (target.top + 1) // 4), min(1 << 16, target.top + 1)]
    times = []
    for size in sizes:
        words = bytes(random.Random(3).choices(range(256), k=size))
        told = Told(code=list(range(0, size, 17)))
        memory = Memory(Image(target, (Span(0, words),)), "words")
        times.append(timed(lambda memory=memory, told=told: recover(memory, told), repeat))  # type: ignore[misc]
    source = recover(memory, told).source
    assembling = timed(lambda: fresh_assemble(source, target), repeat)
    print(
        f"{name:>6} {sizes[1]:>7} words to source, and proof: {times[1]:.1f} s; that / assembling the source = {times[1] / assembling:.1f}"
    )
    print(f"{name:>6} {sizes[1] // sizes[0]} times the words: {times[1] / times[0]:.1f} times the time")


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--quick", action="store_true", help="a tenth of the lines, for a first look")
    options.add_argument("--repeat", type=int, default=5, help="runs of each measurement; the shortest counts")
    chosen = options.parse_args()
    small, large = (1000, 10_000) if chosen.quick else (10_000, 100_000)
    for name in CHIPS:
        assert name in table_paths()
        compare(name, small, large, chosen.repeat)
        compare_macros(name, small, chosen.repeat)
    for name in CHIPS:
        memory(name, large)
        recovery(name, 2)
    start_up(chosen.repeat * 2)
    table_sizes(chosen.repeat * 2)


if __name__ == "__main__":
    main()
