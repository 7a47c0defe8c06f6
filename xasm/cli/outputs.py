"""What a build writes: the outputs that were asked for, all or none, and a word about each."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import NamedTuple

import click

from xasm.cli.screen import show
from xasm.formats import FORMATS
from xasm.formats.files import write_files
from xasm.formats.options import Options, check
from xasm.linking.image import Image
from xasm.linking.linker import Linked
from xasm.reports import REPORTS
from xasm.source.diagnostics import Fault
from xasm.source.files import whole

OUTPUTS = ", ".join([*FORMATS, *REPORTS])


class Wanted(NamedTuple):
    """What is to be written: `outputs` maps each path (or `-`, `-.h` for the screen) to its suffix, `options` say how,
    `quiet` that nothing is said about it."""

    outputs: dict[str, str]
    options: Options
    quiet: bool = False


def wanted(outputs: tuple[str, ...], options: Options, quiet: bool) -> Wanted:
    """The outputs of a command line. Raises Fault for one that cannot be."""
    suffixes = {output: suffix_of(output) for output in outputs}
    distinct(outputs)
    return Wanted(suffixes, options, quiet)


def put_out(linked: Linked, wanted: Wanted, read: Iterable[str]) -> None:
    """Writes and shows what is wanted of a program that was linked; `read` are the files that were read for it. Raises
    Fault, and then nothing was written."""
    image = linked.image
    if not image.parts:
        raise Fault("no_words", place=whole(linked.program.modules[0].path))
    guard_inputs(wanted.outputs, read)
    check(wanted.options, image)
    made = {output: content(suffix, linked, wanted.options) for output, suffix in wanted.outputs.items()}
    write_files({output: data for output, data in made.items() if not on_screen(output)})
    for output, data in made.items():
        if on_screen(output):
            show(data)
    if not wanted.quiet:
        summary(image, wanted.outputs)


def on_screen(output: str) -> bool:
    return output == "-" or (output.startswith("-.") and "/" not in output)


def suffix_of(output: str) -> str:
    """The format of an output; raises Fault when there is none of that suffix."""
    name = ".lst" if output == "-" else output[1:] if on_screen(output) else Path(output).name.lower()
    suffix = next((known for known in REPORTS if name.endswith(known)), name if on_screen(output) else Path(name).suffix)
    form = REPORTS.get(suffix) or FORMATS.get(suffix)
    if form is None:
        raise Fault("unknown_suffix", path=output, suffixes=OUTPUTS)
    if on_screen(output) and not form.text:
        raise Fault("not_to_terminal", path=output)
    return suffix


def distinct(outputs: tuple[str, ...]) -> None:
    seen = set()
    for output in outputs:
        path = output if on_screen(output) else str(Path(output).resolve())
        if path in seen:
            raise Fault("same_output", path=output)
        seen.add(path)


def guard_inputs(outputs: Iterable[str], read: Iterable[str]) -> None:
    """Refuses to write over a file that was read."""
    paths = {Path(path).resolve() for path in read}
    for output in outputs:
        if not on_screen(output) and Path(output).resolve() in paths:
            raise Fault("output_is_input", path=output)


def content(suffix: str, linked: Linked, options: Options) -> bytes:
    if suffix in REPORTS:
        return REPORTS[suffix].write(linked).encode("utf-8", "backslashreplace")  # the name of a file need not be text
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
        what = (REPORTS.get(suffix) or FORMATS[suffix]).title
        click.echo(f"{output}: {what}, {size} from {image.target.hex_address(image.lowest)}", err=True)
