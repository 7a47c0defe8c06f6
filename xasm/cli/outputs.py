"""What a build writes: the outputs that were asked for, all or none, and a word about each."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
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


class Split(NamedTuple):
    """How one image becomes several: `how` is windows, lanes or size; `amount` the number of lanes, or words each."""

    how: str
    amount: int


class Wanted(NamedTuple):
    """What is to be written: `outputs` maps each path (or `-`, `-.h` for the screen) to its suffix, `options` say how,
    `split` into what parts, `depfile` where the files go that it depends on, `quiet` that nothing is said about it, `report`
    that sizes and use of memory are shown."""

    outputs: dict[str, str]
    options: Options
    split: Split | None = None
    depfile: str | None = None
    quiet: bool = False
    report: bool = False


def wanted(outputs: tuple[str, ...], options: Options, split: Split | None, depfile: str | None, quiet: bool, report: bool) -> Wanted:
    """The outputs of a command line. Raises Fault for one that cannot be."""
    suffixes = {output: suffix_of(output) for output in outputs}
    distinct(outputs if depfile is None else (*outputs, depfile))
    return Wanted(suffixes, options, split, depfile, quiet, report)


class Made(NamedTuple):
    """An output: what is written, the image that it was made of, and what it is, in words."""

    data: bytes
    image: Image
    title: str


def make(linked: Linked, wanted: Wanted) -> dict[str, Made]:
    """The contents of all outputs, by path. Raises Fault."""
    image = linked.image
    if not image.parts:
        raise Fault("no_words", place=whole(linked.program.modules[0].path))
    check(wanted.options, image)
    pieces = divided(linked, wanted.split) if wanted.split else [("", image)]
    made: dict[str, Made] = {}
    for output, suffix in wanted.outputs.items():
        if suffix in REPORTS:
            text = REPORTS[suffix].write(linked, wanted.options)
            made[output] = Made(text.encode("utf-8", "backslashreplace"), image, REPORTS[suffix].title)  # a file's name need not be text
            continue
        for name, piece in pieces:
            options = replace(wanted.options, name=wanted.options.name + name) if name else wanted.options
            path = output if on_screen(output) else str(Path(output).with_stem(Path(output).stem + name))
            if path in made and not on_screen(output):
                raise Fault("same_output", path=path)
            before = made[path].data if path in made else b""
            made[path] = Made(before + FORMATS[suffix].write(piece, options), piece, FORMATS[suffix].title)
    return made


def divided(linked: Linked, split: Split) -> Sequence[tuple[str, Image]]:
    """The parts of an image, with what each adds to the name. Raises Fault."""
    from xasm.formats.splitting import Window, by_lane, by_size, by_windows  # few builds are divided

    image = linked.image
    if split.how == "lanes":
        return by_lane(image, split.amount)
    if split.how == "size":
        return by_size(image, split.amount)
    if linked.board is None:
        raise Fault("windows_no_board")
    loaded = [window for window in linked.board.windows if window.image is not None]
    return by_windows(image, [Window(f"_{window.name}", window.image or 0, window.size) for window in loaded])


def put_out(linked: Linked, wanted: Wanted, read: Sequence[str]) -> None:
    """Writes and shows what is wanted of a program that was linked; `read` are the files that were read for it. Raises
    Fault, and then nothing was written."""
    made = make(linked, wanted)
    files = {path: one.data for path, one in made.items() if not on_screen(path)}
    if wanted.depfile is not None:
        files[wanted.depfile] = rule(list(files), read)
    guard_inputs(files, read)
    write_files(files)
    for path, one in made.items():
        if on_screen(path):
            show(one.data)
    if wanted.report:
        from xasm.reports.summary import overview

        show(overview(linked).rstrip("\n"))
    if not wanted.quiet and (made or not wanted.report):
        summary(linked.image, made)


def rule(outputs: Sequence[str], read: Sequence[str]) -> bytes:
    """What the outputs depend on, as make and ninja read it."""
    line = f"{' '.join(map(escaped, outputs))}: {' '.join(map(escaped, read))}\n"
    nobody_makes = "".join(f"\n{escaped(path)}:\n" for path in read)  # so that a file that is gone is no error
    return (line + nobody_makes).encode("utf-8", "surrogateescape")


def escaped(path: str) -> str:
    return path.replace("\\", "\\\\").replace(" ", "\\ ").replace("#", "\\#").replace("$", "$$")


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


def summary(image: Image, made: dict[str, Made]) -> None:
    if not made:
        click.echo(f"no errors: {size_of(image)} for the {image.target.name}; name a file to write with -o", err=True)
    for path, one in made.items():
        if not on_screen(path):
            click.echo(f"{path}: {one.title}, {size_of(one.image)} from {image.target.address_text(one.image.lowest)}", err=True)


def size_of(image: Image) -> str:
    unit = "byte" if image.target.word == 8 else f"{image.target.word}-bit word"
    return f"{len(image)} {unit}{'s' if len(image) != 1 else ''}"
