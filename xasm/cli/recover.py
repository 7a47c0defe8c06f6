"""`xasm recover`: words, typed or in a file, back to source."""

from __future__ import annotations

from typing import Any

import click

from xasm.cli.chips import CHIP, own_tables
from xasm.cli.choosing import QUIET, UNDOCUMENTED, number, options
from xasm.cli.outputs import guard_inputs
from xasm.cli.screen import show
from xasm.formats.files import write_files
from xasm.recovery.reading import KINDS, Wanted
from xasm.recovery.rows import BASES
from xasm.recovery.run import Request, Work, work
from xasm.source.diagnostics import Fault, render_all
from xasm.target.finding import load_target


def numbers(context: click.Context, option: click.Parameter, values: tuple[str, ...]) -> list[int]:
    """The values of an option that may be repeated."""
    found = (number(context, option, value) for value in values)
    return [value for value in found if value is not None]


@click.command(
    "recover",
    epilog="""\b
Examples:
  xasm recover typed.txt -t NAME -o prog.asm
  xasm recover typed.txt -t NAME -o prog.asm --names names.yaml
  xasm recover rom.bin -t NAME --at 0xF000 --entry 0xF123 -o -
  xasm recover page.txt -t NAME --words octal --at 0x0100 -o prog.asm""",
)
@click.argument("program", metavar="LISTING")
@click.option("-t", "--target", metavar="NAME", required=True, help=f"{CHIP}.")
@own_tables
@click.option("-o", "--output", metavar="FILE", help="The source to write; `-` shows it on the screen.")
@click.option("--names", metavar="FILE", help="A names file (YAML): read where it is there, then written with what was found.")
@click.option("--at", callback=number, metavar="ADDRESS", help="Where the first word belongs, when the file does not say it.")
@click.option("--entry", "entries", multiple=True, callback=numbers, metavar="ADDRESS", help="A place where code begins. May be repeated.")
@click.option("--words", type=click.Choice(list(BASES)), default="hex", help="The digits of a listing's words (else hex).")
@click.option("--addresses", type=click.Choice(list(BASES)), help="The digits of its addresses (else those of the words).")
@click.option("--lenient", is_flag=True, help="Take what a typist probably meant; each case is told, and stands in the source.")
@click.option("--as", "kind", type=click.Choice(list(KINDS)), help="The kind of file, when its content does not show it.")
@options((UNDOCUMENTED, QUIET))
def command(program: str, target: str, output: str | None, names: str | None, quiet: bool, **given: Any) -> None:
    """Gives source for the words in a typed listing, a hex dump, C arrays, or an image file.

    Assembled again, the source gives exactly the same words; that is checked before anything is written. Slips of a typist are
    listed with what was probably meant, and nothing is written then, unless --lenient says to go on.
    """
    chip = load_target(target, given["undocumented"], given["tables"])
    for entry in given["entries"]:
        if not 0 <= entry <= chip.top:
            raise Fault("beyond_space", address=hex(entry), chip=chip.name, range=f"0..0x{chip.top:X}")
    wanted = Wanted(given["kind"], given["at"], given["words"], given["addresses"] or given["words"], given["lenient"])
    done = work(Request(program, chip, wanted, tuple(given["entries"]), names))
    outputs = {output: done.recovered.source.encode("ascii")} if output and output != "-" else {}
    guard_inputs(outputs, [program, *([names] if names else [])])
    if names is not None:
        guard_inputs([names], [program])
        outputs[names] = done.names.encode("utf-8")
    write_files(outputs)
    if output == "-":
        show(done.recovered.source)
    if done.taken:
        click.echo(render_all(done.taken), err=True)
    if not quiet:
        summary(done, output, names)


def summary(done: Work, output: str | None, names: str | None) -> None:
    """What was found, on standard error."""
    for note in done.notes:
        click.echo(f"note: {note}", err=True)
    found = done.recovered
    chip = found.memory.target
    unit = "bytes" if chip.word == 8 else f"{chip.word}-bit words"
    counts = f"{len(found.memory)} {unit} for the {chip.name}: {found.code} code, {found.data} data, {found.unknown} unknown"
    if output is None:
        click.echo(f"{done.kind}, {counts}; name a file for the source with -o", err=True)
    elif output != "-":
        click.echo(f"{output}: source, from {done.kind}, {counts}", err=True)
    if names is not None:
        given = found.names.given()
        click.echo(f"{names}: {len(given)} names, {done.own_names} found by xasm", err=True)
