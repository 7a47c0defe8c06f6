"""A trace as waves: a value change dump, as IEEE 1364 describes it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from xasm.bus.timing import Timing
from xasm.bus.trace import OPCODE, VECTOR, Fetch, Step, Trace
from xasm.formats.options import Options

TURNS = 3  # of the loop that are drawn, so that one sees it repeat


class Moment(NamedTuple):
    """A fetch and when it begins, in picoseconds from the first one; `looping` tells whether it is one of the loop."""

    begin: int
    fetch: Fetch
    looping: bool


def moments(trace: Trace, timing: Timing, turns: int = TURNS) -> tuple[list[Moment], int]:
    """All fetches in time, the loop `turns` times, and when it all ends. The table tells the time of whole instructions: the
    fetches of one are spread evenly over it, and each read of a start address is given the shortest access."""
    found: list[Moment] = []
    access = timing.picoseconds(trace.target.clock.access) // timing.periods
    now = 0
    for fetch in trace.vector:
        found.append(Moment(now, fetch, False))
        now += access
    base, cycles = now, 0
    for step, looping in _played(trace, turns):
        begin = base + timing.picoseconds(cycles)
        cycles += step.cycles.low
        share = (base + timing.picoseconds(cycles) - begin) // len(step.words)
        fetches = step.fetches(trace.target.top)
        found += [Moment(begin + share * index, fetch, looping) for index, fetch in enumerate(fetches)]
    return found, base + timing.picoseconds(cycles)


def _played(trace: Trace, turns: int) -> Iterator[tuple[Step, bool]]:
    yield from ((step, False) for step in trace.before)
    for _ in range(turns if trace.loop is not None else 0):
        yield from ((step, True) for step in trace.again)


def write_vcd(trace: Trace, timing: Timing, options: Options) -> bytes:
    """The dump: address, word, whether the fetch is an opcode, of a start address, of the loop."""
    target = trace.target
    found, end = moments(trace, timing)
    signals = [("address", target.address), ("word", target.word), ("opcode", 1), ("vector", 1), ("in_loop", 1)]
    marks = {name: chr(ord("!") + index) for index, (name, _) in enumerate(signals)}
    lines = [
        "$version xasm expect $end",
        f"$comment Fetches of the {target.name}. Where a table tells the time of an instruction only, its fetches are spread evenly. $end",
        "$timescale 1 ps $end",
        f"$scope module {options.name} $end",
        *(f"$var wire {bits} {marks[name]} {name}{f' [{bits - 1}:0]' if bits > 1 else ''} $end" for name, bits in signals),
        "$upscope $end",
        "$enddefinitions $end",
    ]
    shown: dict[str, int] = {}
    for moment in found:
        fetch = moment.fetch
        values = (fetch.address, fetch.word, fetch.kind == OPCODE, fetch.kind == VECTOR, moment.looping)
        changes = [
            f"b{int(value):b} {marks[name]}" if bits > 1 else f"{int(value)}{marks[name]}"
            for (name, bits), value in zip(signals, values, strict=True)
            if shown.get(name) != value
        ]
        shown = dict(zip(marks, map(int, values), strict=True))
        lines += [f"#{moment.begin}", *(["$dumpvars", *changes, "$end"] if moment is found[0] else changes)]
    lines.append(f"#{end}")
    return ("\n".join(lines) + "\n").encode()
