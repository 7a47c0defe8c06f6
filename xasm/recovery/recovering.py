"""The way back: words to source, and the proof that it becomes the same words again."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import NamedTuple

from xasm.building import assemble
from xasm.recovery.exact import Disassembler
from xasm.recovery.loads import loaded, users
from xasm.recovery.memory import Memory
from xasm.recovery.naming import Names, taken
from xasm.recovery.regions import WORDS, Finder, Region
from xasm.recovery.told import Told
from xasm.recovery.tracing import Trace, Tracer
from xasm.recovery.writing import Forced, Writer
from xasm.source.diagnostics import SourceErrors


class Recovered(NamedTuple):
    """Source and what is known of it. `code`, `data` and `unknown` count words. `guessed_start` is the address that was taken for
    the start because nothing said one; `forced` are the instructions that say their code, as the assembler could choose another
    one, with its first words, which are none where they are written as data; `arrivals` says of addresses where control arrives,
    and no instruction is, what is there."""

    source: str
    memory: Memory
    trace: Trace
    names: Names
    regions: tuple[Region, ...]
    code: int
    data: int
    unknown: int
    guessed_start: int | None
    forced: Forced
    arrivals: dict[int, str]


def recover(memory: Memory, told: Told, entry: int | None = None, head: Iterable[str] = ()) -> Recovered:
    """The source of a program, of which `told` says what people know; `entry` is the start that its file names, `head` are remarks
    for the top. The source was assembled again and gave the very same words."""
    regions = [*told.regions]
    starts = [*told.starts, *chip_starts(memory, regions)]
    guessed = None
    if entry and entry in memory:
        starts.append(entry)
    if not told.code and not any(start in memory for start in starts):
        guessed = memory.parts[0][0]
        starts.append(guessed)
    closed = frozenset(told.closed.union(*(range(region.start, region.end) for region in regions)))
    tracer = Tracer(memory, Disassembler(memory.target), closed)
    tracer.follow(start for start in (*starts, *told.code) if start in memory)
    starts += further_starts(memory, tracer, regions, told)
    tracer.finish()
    trace = tracer.trace
    follow_loads(tracer)
    for place in sorted(trace.pointers):
        add_region(regions, place, memory, trace)
    names = Names(memory, trace, told, starts)
    names.find_pointers()
    names.find_halves()
    found_there = arrivals(memory, trace, closed)
    found = tuple(Finder(memory, trace, regions, names.leads_to, frozenset({*told.cuts, *found_there})).regions())
    names.learn(found)
    code = len(trace.owner)
    data = sum(region.end - region.start for region in found if region.known)
    unknown = len(memory) - code - data
    lines = [*head, f"Of its {len(memory)} words {code} are code, {data} are data, and to {unknown} nothing leads."]
    if any(one.form.undocumented for one in trace.code.values()):
        lines.append("It has undocumented instructions: assemble it with --undocumented.")

    def write(forced: Forced) -> str:
        names.equates.clear()
        return Writer(memory, trace, names, told.remarks, found_there, forced).source(lines, found)

    source, forced = proven(write, memory, trace, tracer.disassembler)
    return Recovered(source, memory, trace, names, found, code, data, unknown, guessed, forced, found_there)


def chip_starts(memory: Memory, regions: list[Region]) -> list[int]:
    """Where the chip begins, as its table says. The place of a vector becomes a region of its own."""
    target = memory.target
    if not target.start_vector:
        return [target.start]
    start = memory.number(target.start)
    if start is None:
        return []
    add_region(regions, target.start, memory)
    return [start]


def add_region(regions: list[Region], place: int, memory: Memory, trace: Trace | None = None) -> None:
    """Makes the place of an address a region of its own, where it is none and no code either."""
    span = range(place, place + memory.cells)
    free = all(region.end <= span.start or region.start >= span.stop for region in regions)
    if free and (trace is None or trace.owner.keys().isdisjoint(span)):
        regions.append(Region(span.start, span.stop, WORDS, True))


def follow_loads(tracer: Tracer) -> None:
    """Follows addresses that the program puts into registers and goes to, as long as that leads to more code."""
    trace, target = tracer.trace, tracer.memory.target
    known: set[int] = set()
    while True:
        going = users(trace, target)
        arrived = {one.address: going[one.register] for one in loaded(trace, target) if one.register in going}
        new = [at for at in arrived if at not in known and (at in trace.code or tracer.sound(at))]
        known.update(arrived)
        if not new:
            break
        tracer.follow(new)
        tracer.finish()
    for at, places in arrived.items():
        if at in trace.code:
            trace.calls[at] = sorted({*trace.calls.get(at, ()), *places})
            for place in places:
                trace.reached.setdefault(place, set()).add(at)
    trace.computed = [at for at in trace.computed if at not in trace.reached]


def further_starts(memory: Memory, tracer: Tracer, regions: list[Region], told: Told) -> list[int]:
    """Where interrupts and the like make the chip begin, as far as there is code. Such a place gets the name that the table has
    for what leads there."""
    routes = memory.target.routes
    places = {name.lower(): start for name, start in routes.starts.items()}
    for name, vector in routes.vectors.items():
        start = memory.number(vector)
        if start is not None:
            add_region(regions, vector, memory, tracer.trace)
            places[name.lower()] = start
    found = []
    for name, start in places.items():
        trace = tracer.trace
        if start not in trace.code and (start in trace.owner or not tracer.sound(start)):
            continue
        known = start in trace.code
        tracer.follow([start])
        if not known and taken(name, memory.target) is None:
            told.spare.setdefault(("", start), name)
            found.append(start)
    return found


def arrivals(memory: Memory, trace: Trace, closed: frozenset[int]) -> dict[int, str]:
    """What is found where control arrives and no documented instruction is."""
    target = memory.target
    more = None
    if not target.undocumented and any(row.undocumented for row in target.rows):
        more = Disassembler(target.with_undocumented())
    found = {}
    for at in sorted(trace.lost):
        if at not in memory or at in trace.owner:
            continue
        if at in closed:
            found[at] = "control arrives here, where data is said to be"
            continue
        hidden = more.at(at, memory.from_(at, more.longest)) if more is not None else None
        if hidden is not None:
            found[at] = f"control arrives here: {hidden.instruction.text} is undocumented (--undocumented takes it)"
        else:
            found[at] = "control arrives here, and there is no instruction"
    return found


def proven(write: Callable[[Forced], str], memory: Memory, trace: Trace, disassembler: Disassembler) -> tuple[str, Forced]:
    """The text of a source that becomes the very same words, and the instructions that say their code in it. Where the assembler
    would settle on shorter codes, because each of several makes room for the others, all codes that an address may change are
    said; where that is not enough, all instructions are written as data."""
    inexact = {found.address: disassembler.begins(found) for found in trace.code.values() if not found.exact}
    elastic = {found.address: disassembler.begins(found) for found in trace.code.values() if found.elastic}
    everything: Forced = dict.fromkeys(trace.code, ())
    for forced in (inexact, inexact | elastic, everything):
        source = write(forced)
        try:
            made = assemble(source, memory.target)
        except SourceErrors:
            if forced is everything:
                raise
            continue
        if tuple((part.start, tuple(part.words)) for part in made.parts) == memory.parts:
            return source, forced
    raise AssertionError("data becomes what it is")
