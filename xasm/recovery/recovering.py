"""The whole way back: words to source, and the proof that it becomes the same words again."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import NamedTuple

from xasm.building import assemble
from xasm.linking.image import Image
from xasm.recovery.exact import Disassembler
from xasm.recovery.memory import Memory
from xasm.recovery.naming import Names
from xasm.recovery.regions import WORDS, Finder, Region
from xasm.recovery.told import Told
from xasm.recovery.tracing import Trace, Tracer
from xasm.recovery.writing import Writer
from xasm.source.diagnostics import SourceErrors


class Recovered(NamedTuple):
    """Source and what is known of it. `code`, `data` and `unknown` count words; `guessed_start` is the address that was
    taken for the start because nothing said one."""

    source: str
    memory: Memory
    trace: Trace
    names: Names
    regions: tuple[Region, ...]
    code: int
    data: int
    unknown: int
    guessed_start: int | None


def recover(image: Image, path: str, told: Told | None = None, head: Iterable[str] = ()) -> Recovered:
    """The source of an image that came from the file `path`; `head` are remarks that go to its top.

    The source was assembled again and gave the very same words. Raises Fault: read_empty, recover_large.
    """
    told = told or Told()
    memory = Memory(image, path)
    target = memory.target
    regions = [*told.regions]
    starts = [*told.starts, *chip_starts(memory, regions)]
    guessed = None
    if image.entry and image.entry in memory:
        starts.append(image.entry)
    if not told.code and not any(start in memory for start in starts):
        guessed = image.parts[0].start
        starts.append(guessed)
    closed = frozenset(at for region in regions for at in range(region.start, region.end))
    tracer = Tracer(memory, Disassembler(target), closed)
    tracer.follow(start for start in (*starts, *told.code) if start in memory)
    tracer.finish()
    trace = tracer.trace
    names = Names(memory, trace, told, starts)
    names.find_pointers()
    found = tuple(Finder(memory, trace, regions, names.leads_to, frozenset(told.cuts)).regions())
    names.learn(found)
    code = len(trace.owner)
    data = sum(region.end - region.start for region in found if region.known)
    unknown = len(memory) - code - data
    lines = [*head, f"Of its {len(memory)} words {code} are code, {data} data, and {unknown} nothing leads to."]

    def written(forced: frozenset[int]) -> str:
        return Writer(memory, trace, names, told.remarks, forced).source(lines, found, target.undocumented)

    source = proven(written, memory, trace, path)
    return Recovered(source, memory, trace, names, found, code, data, unknown, guessed)


def chip_starts(memory: Memory, regions: list[Region]) -> list[int]:
    """Where the chip begins, as its table says. The place of a vector becomes a region of its own."""
    target = memory.target
    if not target.start_vector:
        return [target.start]
    start = memory.number(target.start)
    if start is None:
        return []
    told = {at for region in regions for at in range(region.start, region.end)}
    if told.isdisjoint(range(target.start, target.start + memory.cells)):
        regions.append(Region(target.start, target.start + memory.cells, WORDS, True))
    return [start]


def proven(write: Callable[[frozenset[int]], str], memory: Memory, trace: Trace, path: str) -> str:
    """The text of a source that becomes the very same words. Where the assembler would settle on shorter codes, because
    each of several makes room for the others, all codes that an address may change are written as data."""
    elastic = frozenset(found.address for found in trace.code.values() if found.elastic)
    everything = frozenset(trace.code)
    for forced in dict.fromkeys((frozenset(), elastic, everything)):
        source = write(forced)
        try:
            made = assemble(source, memory.target, path)
        except SourceErrors:
            if forced == everything:
                raise
            continue
        if tuple((part.start, tuple(part.words)) for part in made.parts) == memory.parts:
            return source
    raise AssertionError("data becomes what it is")
