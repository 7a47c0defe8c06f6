"""`xasm build`: sources to image files."""

from __future__ import annotations

from pathlib import Path

import click

from xasm.assembly.limits import Limits
from xasm.building import build
from xasm.cli.chips import CHIP, own_tables
from xasm.cli.screen import show
from xasm.formats import FORMATS
from xasm.formats.files import write_files
from xasm.formats.options import Options, check, name_for
from xasm.linking.image import Image
from xasm.linking.linker import Linked
from xasm.reports.listing import listing
from xasm.source.diagnostics import Fault
from xasm.source.files import Source, whole
from xasm.syntax import literals

LISTING = ".lst"
OUTPUTS = f"{', '.join(FORMATS)}, {LISTING}"
HELP = {
    "target": f"{CHIP}. Not needed when the source says TARGET.",
    "output": f"A file to write; its suffix chooses the format: {OUTPUTS}. "
    "`-` shows the listing on the screen, `-.h` the C array. May be repeated.",
    "folder": "Where to look for included files after the including file's own folder. May be repeated.",
    "name": "Name of the C array, and in the header of S-records (else that of the source file).",
    "fill": "What stands in gaps. Without it a raw binary has 0xFF there (all bits 1), and all other formats keep gaps.",
    "storage": "C array: a word behind its name that puts it in flash on your host, such as PROGMEM.",
    "include": "C array: a header to include, where the storage word comes from. May be repeated.",
    "order": "Raw binary of a chip whose word is wider than a byte: the order of its bytes.",
    "undocumented": "Also take instructions that real chips have and their makers do not list, where the table has any.",
    "lines": f"How many lines macros and repeats may bring in (else {Limits().lines:,}).",
    "depth": f"How deep macros, repeats and includes may be inside one another (else {Limits().depth}).",
    "files": f"How many files may be included and embedded (else {Limits().files:,}).",
    "quiet": "Say nothing when all went well.",
}


def number(context: click.Context, option: click.Parameter, value: str | None) -> int | None:
    """The value of an option that takes a number in any form of the language."""
    if value is None:
        return None
    try:
        digits = value.removeprefix("-")
        return literals.number(digits, 0) * (1 if digits == value else -1)
    except (Fault, IndexError):
        message = f"'{value}' is not a number; write it as in source: 255, 0xFF, 0FFH"
        raise click.BadParameter(message, context, option) from None


@click.command(
    "build",
    epilog="""\b
Examples:
  xasm build first.asm -t NAME -o first.bin -o first.lst
  xasm build first.asm -t NAME -o -
  xasm build rom.asm -t NAME -o rom.h --name boot_rom --storage PROGMEM --include avr/pgmspace.h""",
)
@click.argument("sources", nargs=-1, required=True, metavar="PROG.asm [MORE.asm ...]")
@click.option("-t", "--target", metavar="NAME", help=HELP["target"])
@own_tables
@click.option("-o", "--output", "outputs", multiple=True, metavar="FILE", help=HELP["output"])
@click.option("-I", "--folder", "folders", multiple=True, metavar="FOLDER", help=HELP["folder"])
@click.option("--name", metavar="NAME", help=HELP["name"])
@click.option("--fill", callback=number, metavar="BYTE", help=HELP["fill"])
@click.option("--storage", default="", metavar="WORD", help=HELP["storage"])
@click.option("--include", "headers", multiple=True, metavar="HEADER", help=HELP["include"])
@click.option("--order", type=click.Choice(["little", "big"]), help=HELP["order"])
@click.option("--undocumented", is_flag=True, help=HELP["undocumented"])
@click.option("--most-lines", type=click.IntRange(1), default=Limits().lines, metavar="N", help=HELP["lines"])
@click.option("--deepest", type=click.IntRange(1, 150), default=Limits().depth, metavar="N", help=HELP["depth"])
@click.option("--most-files", type=click.IntRange(1), default=Limits().files, metavar="N", help=HELP["files"])
@click.option("-q", "--quiet", is_flag=True, help=HELP["quiet"])
def command(
    sources: tuple[str, ...],
    target: str | None,
    tables: tuple[str, ...],
    outputs: tuple[str, ...],
    folders: tuple[str, ...],
    name: str | None,
    fill: int | None,
    storage: str,
    headers: tuple[str, ...],
    order: str | None,
    undocumented: bool,
    most_lines: int,
    deepest: int,
    most_files: int,
    quiet: bool,
) -> None:
    """Assembles one program, of one file or several read in order, and writes it in the formats asked for.

    All errors are shown, each with its line. When there is one, nothing is written and files of an earlier run stay.
    """
    suffixes = {output: suffix_of(output) for output in outputs}
    distinct(outputs)
    linked = build(sources, target, folders, Limits(most_lines, deepest, most_files), undocumented, tables)
    image = linked.image
    if not image.parts:
        raise Fault("no_words", place=whole(sources[0]))
    guard_inputs(outputs, linked)
    options = Options(name if name is not None else name_for(Path(sources[0]).stem), fill, storage, headers, order)
    check(options, image)
    made = {output: content(suffix, linked, options) for output, suffix in suffixes.items()}
    write_files({output: data for output, data in made.items() if not on_screen(output)})
    for output, data in made.items():
        if on_screen(output):
            show(data)
    if not quiet:
        summary(image, suffixes)


def on_screen(output: str) -> bool:
    return output == "-" or (output.startswith("-.") and "/" not in output)


def suffix_of(output: str) -> str:
    """The format of an output; raises Fault when there is none of that suffix."""
    suffix = LISTING if output == "-" else output[1:] if on_screen(output) else Path(output).suffix.lower()
    if suffix != LISTING and suffix not in FORMATS:
        raise Fault("unknown_suffix", path=output, suffixes=OUTPUTS)
    if on_screen(output) and suffix != LISTING and not FORMATS[suffix].text:
        raise Fault("not_to_terminal", path=output)
    return suffix


def distinct(outputs: tuple[str, ...]) -> None:
    seen = set()
    for output in outputs:
        path = output if on_screen(output) else str(Path(output).resolve())
        if path in seen:
            raise Fault("same_output", path=output)
        seen.add(path)


def guard_inputs(outputs: tuple[str, ...], linked: Linked) -> None:
    """Refuses to write over a file that was read."""
    embedded = {Path(path).resolve() for path in linked.module.embedded}
    read: list[Source] = list(linked.module.sources)
    for brought in linked.module.brought.values():
        read += brought
    paths = embedded | {Path(source.path).resolve() for source in read}
    for output in outputs:
        if not on_screen(output) and Path(output).resolve() in paths:
            raise Fault("output_is_input", path=output)


def content(suffix: str, linked: Linked, options: Options) -> bytes:
    if suffix == LISTING:
        return listing(linked).encode("utf-8", "backslashreplace")  # the name of a file need not be text
    return FORMATS[suffix].write(linked.image, options)


def summary(image: Image, outputs: dict[str, str]) -> None:
    unit = "byte" if image.target.word == 8 else f"{image.target.word}-bit word"
    count = len(image)
    size = f"{count} {unit}{'s' if count != 1 else ''}"
    if not outputs:
        click.echo(f"no errors: {size} for the {image.target.name}; name a file to write with -o", err=True)
    for output, suffix in outputs.items():
        if on_screen(output):
            continue
        what = "listing" if suffix == LISTING else FORMATS[suffix].title
        click.echo(f"{output}: {what}, {size} from {image.target.hex_address(image.lowest)}", err=True)
