"""One run of the command: the file and the names file read, the program recovered, the names written."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from xasm.recovery.memory import Memory
from xasm.recovery.names_file import read_names, tell, written
from xasm.recovery.naming import OWN
from xasm.recovery.reading import LISTING, TITLES, Wanted, read_program
from xasm.recovery.recovering import Recovered, recover
from xasm.source.diagnostics import Diagnostic, Fault, Report
from xasm.source.files import read_source, whole
from xasm.target.model import Target

MOST_NOTES = 20  # of one kind


class Request(NamedTuple):
    """What is wanted: the file, the chip, how to read it, further places where control arrives, and the names file or None."""

    path: str
    target: Target
    wanted: Wanted
    entries: tuple[int, ...] = ()
    names: str | None = None


class Work(NamedTuple):
    """What came out: the program, the kind of its file, slips that were put right, notes for the person, the text of the names
    file and how many of its names are ours."""

    recovered: Recovered
    kind: str
    taken: list[Diagnostic]
    notes: list[str]
    names: str
    own_names: int


def work(request: Request) -> Work:
    """Does all but write. Raises Fault, and SourceErrors with all mistakes of a listing or of a names file."""
    report = Report()
    path, target = request.path, request.target
    read = read_program(path, target, request.wanted, report)
    memory = Memory(read.image, path)
    told = read.told
    file = None
    if request.names is not None and Path(request.names).exists():
        file = read_names(read_source(Path(request.names), request.names), target, report)
        tell(file, memory, told, report)
    for entry in request.entries:
        if entry not in memory:
            low, high = memory.bounds
            shown = target.address_text
            raise Fault("recover_entry", place=whole(path), address=shown(entry), first=shown(low), last=shown(high))
    told.starts = [*request.entries, *told.starts]
    head = [f"Recovered from {Path(path).name}, {read.kind}, for the {target.title}."]
    slips = [slip for slip in read.taken if slip.hint is not None]  # the others are doubts
    if slips:
        head += ["", "Where the typist slipped:"]
        head += [f"  line {slip.line}: {slip.message}: {slip.hint}" for slip in slips]
    recovered = recover(memory, told, read.image.entry, head)
    text = written(recovered.names, file, Path(path).name, memory)
    own = sum(1 for name in recovered.names.given().values() if OWN.match(name) or name == "start")
    gaps = list(left_out(memory)) if read.kind == TITLES[LISTING] else []
    put = few([f"array '{name}' names no address" for name, _ in read.put], "it was put behind the one in front of it")
    return Work(recovered, read.kind, read.taken, [*gaps, *put, *notes(recovered)], text, own)


def left_out(memory: Memory) -> Iterator[str]:
    """What a listing has no words for, between its parts."""
    shown = memory.target.address_text
    ends = [(start + len(words), following) for (start, words), (following, _) in zip(memory.parts, memory.parts[1:], strict=False)]
    yield from few([f"{shown(end)}..{shown(start - 1)}" for end, start in ends], "the listing has no words for that")


def notes(recovered: Recovered) -> Iterator[str]:
    """What a person should know who goes on with the source."""
    trace, target = recovered.trace, recovered.memory.target
    shown = target.address_text
    if recovered.guessed_start is not None:
        start = shown(recovered.guessed_start)
        yield f"nothing says where the program begins; its lowest address {start} was taken (--entry says another)"
    computed = [f"{shown(at)} {found.instruction.text}" for at in sorted(trace.computed) if (found := trace.at(at)) is not None]
    yield from few(computed, "where it goes is known only when it runs; --entry or kind: code in a names file says what lies there")
    inside = [f"{shown(at)} {found.instruction.text}" for at, found in sorted(trace.inside.items())]
    yield from few(inside, "control arrives in the middle of an instruction")
    forced = [f"{shown(at)} {trace.code[at].instruction.text}" for at, begins in sorted(recovered.forced.items()) if not begins]
    yield from few(forced, "the assembler would choose another code; it is written as data")
    for at, what in list(recovered.arrivals.items())[:MOST_NOTES]:
        yield f"{shown(at)}: {what}"


def few(lines: list[str], what: str) -> Iterator[str]:
    """Notes of one kind, not too many."""
    for line in lines[:MOST_NOTES]:
        yield f"{line}: {what}"
    if len(lines) > MOST_NOTES:
        yield f"... and {len(lines) - MOST_NOTES} more places of this kind"
