"""`xasm expect`: what the bus must show, and a capture held against it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from xasm.building import Choices, build, read_for
from xasm.bus.memory import Memory, memory_of
from xasm.bus.outputs import OUTPUTS, SUFFIXES, text_of
from xasm.bus.prose import count
from xasm.bus.takes import read_takes
from xasm.bus.timing import Timing, timing_of
from xasm.bus.trace import DEFAULT_STEPS, MOST_STEPS, Trace, trace
from xasm.cli.choosing import ASSEMBLING, LINKING, limits, linking, number, options
from xasm.cli.outputs import distinct, guard_inputs, on_screen
from xasm.cli.screen import show
from xasm.formats import READERS, read_file
from xasm.formats.files import write_files
from xasm.formats.options import Options, name_for
from xasm.formats.reading import Reading
from xasm.linking.board import Board, read_board
from xasm.source.diagnostics import Diagnostic, Fault, Report, at, render_all
from xasm.source.files import read_source
from xasm.target.finding import load_target

DIFFERENT = 1  # exit code for a capture that is not what was expected


@click.command(
    "expect",
    epilog="""\b
Examples:
  xasm expect first.asm -t NAME
  xasm expect first.asm -t NAME --clock 740kHz -o first.csv -o first.vcd -o first.svg
  xasm expect first.asm -t NAME --steps 50 -o -.h
  xasm expect first.asm -t NAME --take "0x0203=3 times" --take 0x0210=no""",
)
@click.argument("sources", nargs=-1, required=True, metavar="PROG [MORE ...]")
@options(ASSEMBLING, LINKING)
@click.option("--at", "address", callback=number, metavar="ADDRESS", help="Where the words of a raw binary (.bin) belong.")
@click.option("--fill", callback=number, metavar="BYTE", help="What memory holds where the program has nothing (else what the board says).")
@click.option("--clock", metavar="FREQUENCY", help="The chip's clock, as 740kHz (else the board's, or the usual one of the chip).")
@click.option(
    "--steps",
    type=click.IntRange(1, MOST_STEPS),
    default=DEFAULT_STEPS,
    metavar="N",
    help=f"Instructions to follow (else {DEFAULT_STEPS}).",
)
@click.option(
    "--take",
    "takes",
    multiple=True,
    metavar="ADDRESS=yes|no|N times",
    help="How a decision goes that data makes; `ADDRESS=to ADDRESS` names where a computed jump leads. May be repeated.",
)
@click.option(
    "--against", metavar="FILE", help="A capture: what the firmware printed, one access of the bus a line. Exit code 1 if it differs."
)
@click.option(
    "--layout",
    metavar="PATTERN",
    help="How a line of the capture is written: {a} address, {d} data, {r} read or write, {x} anything. Without it this is found out.",
)
@click.option(
    "-o",
    "--output",
    "outputs",
    multiple=True,
    metavar="FILE",
    help=f"A file to write: {SUFFIXES}. `-` is the screen, `-.h` and the like too. May be repeated.",
)
@click.option("--name", metavar="NAME", help="Name of the C arrays (else that of the program's file).")
def command(sources: tuple[str, ...], **given: Any) -> None:
    """Prints what the bus must show from the release of reset: every fetch with address, word, instruction, cycles and time, up to
    the loop in which the program stays.

    PROG is a source file, or an image (.hex, .bin, ...). Only the way is followed: where data decides, say how with --take.
    """
    suffixes = {output: suffix_of(output) for output in given["outputs"]}
    distinct(given["outputs"])
    memory, board, read = memory_for(sources, given)
    timing = timing_of(memory.target, board, given["clock"])
    takes = read_takes(given["takes"], memory.image.symbols, memory.target)
    found = trace(memory, takes, given["steps"])
    name = given["name"] if given["name"] is not None else f"{name_for(Path(sources[0]).stem)}_bus"
    different = None
    if given["against"] is not None:
        from xasm.bus.against import compare_file

        guard_inputs(given["outputs"], [given["against"]])
        different, verdict = compare_file(memory, found, given["against"], given["layout"])
    guard_inputs(given["outputs"], read)
    write(found, timing, Options(name), suffixes, verdict if different is not None else None)
    if different is not None:
        found.end = None  # the capture shows the way that data takes
    warn(found, takes.keys() - found.used, {address: take.text for address, take in takes.items()}, sources[0])
    if different:
        raise SystemExit(DIFFERENT)


def write(found: Trace, timing: Timing, options: Options, suffixes: dict[str, str], verdict: str | None) -> None:
    """Files first, all or none; then the screen."""
    made = {output: OUTPUTS[suffix].write(found, timing, options) for output, suffix in suffixes.items()}
    write_files({output: data for output, data in made.items() if not on_screen(output)})
    for output, data in made.items():
        if on_screen(output):
            show(data)
        else:
            fetches = count(sum(1 for _ in found.fetches()), "fetch", "fetches")
            click.echo(f"{output}: {OUTPUTS[suffixes[output]].title}, {fetches}", err=True)
    if verdict is not None:
        show(verdict.encode("utf-8", "backslashreplace"))
    elif not suffixes:
        show(text_of(found, timing, options))


def suffix_of(output: str) -> str:
    suffix = ".txt" if output == "-" else output[1:] if on_screen(output) else Path(output).suffix.lower()
    if suffix not in OUTPUTS:
        raise Fault("unknown_suffix", path=output, suffixes=", ".join(OUTPUTS))
    return suffix


def memory_for(sources: tuple[str, ...], given: dict[str, Any]) -> tuple[Memory, Board | None, list[str]]:
    """What the chip's memory holds, the board if one is named, and the files that were read for it. Raises Fault, SourceErrors."""
    if Path(sources[0]).suffix.lower() not in READERS:
        linked_by = {name: value for name, value in linking(given).items() if name != "fill"}
        choices = Choices(given["target"], given["folders"], limits(given), given["undocumented"], tables=given["tables"], **linked_by)
        linked = build(sources, choices)
        return memory_of(linked, filler(given, linked.image.target.word)), linked.board, read_for(linked, choices)
    if len(sources) > 1:
        raise Fault("expect_one_image", path=sources[1])
    if given["target"] is None:
        raise Fault("no_target", hint="an image does not say which chip it is for: -t NAME does")
    target = load_target(given["target"], given["undocumented"], given["tables"])
    image = read_file(sources[0], Reading(given["address"], target.word if target.word > 8 else None, target.order)).image(target)
    board = None
    read = [sources[0]]
    if given["board"] is not None:
        board = read_board(read_source(Path(given["board"]), given["board"]), target, Report())
        read.append(given["board"])
    return Memory(image, board, fill=filler(given, target.word)), board, read


def filler(given: dict[str, Any], bits: int) -> int | None:
    fill: int | None = given["fill"]
    if fill is not None and not -(1 << (bits - 1)) <= fill < 1 << bits:
        raise Fault("bad_fill", value=fill, bits=bits)
    return None if fill is None else fill & ((1 << bits) - 1)


def warn(found: Trace, unused: set[int], texts: dict[int, str], path: str) -> None:
    """Shows what is to be known of the way, and why it ends where it does, on standard error."""
    remarks = [*found.remarks, *([found.end] if found.end is not None else [])]
    shown = []
    for remark in remarks:
        if remark.place is not None:
            source, line, column = remark.place
            length = len(source.line(line)[column - 1 :].partition(";")[0].rstrip())
            shown.append(at((source, line, column), remark.code, remark.values, 0, max(1, length), remark.hint, "warning"))
        else:
            text = Fault(remark.code, **remark.values).text
            shown.append(Diagnostic(path, 0, 0, "warning", text, remark.hint, code=remark.code))
    for address in sorted(unused):
        unmet = Fault("take_unused", text=texts[address], address=found.target.address_text(address))
        shown.append(Diagnostic("", 0, 0, "warning", unmet.text, code=unmet.code))
    if shown:
        click.echo(render_all(shown), err=True)
