"""Options that several commands share."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from xasm.assembly.limits import Limits
from xasm.cli.chips import CHIP, own_tables
from xasm.cli.outputs import OUTPUTS, Split, Wanted, wanted
from xasm.formats.options import Options, name_for
from xasm.source.diagnostics import Fault
from xasm.syntax import literals

Command = Callable[..., Any]


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


def division(context: click.Context, option: click.Parameter, value: str | None) -> Split | None:
    """The value of --split."""
    if value is None or value == "windows":
        return None if value is None else Split(value, 0)
    how, _, count = value.partition("=")
    words = number(context, option, count) if how in ("lanes", "size") and count else None
    if words is None:
        raise click.BadParameter(f"'{value}' is not possible; it is one of windows, lanes=COUNT, size=WORDS", context, option)
    return Split(how, words)


TARGET = click.option("-t", "--target", metavar="NAME", help=f"{CHIP}. Not needed when the source says TARGET.")
UNDOCUMENTED = click.option(
    "--undocumented",
    is_flag=True,
    help="Also take instructions that real chips have and their makers do not list, where the table has any.",
)
QUIET = click.option("-q", "--quiet", is_flag=True, help="Say nothing when all went well.")

CHOOSING = (TARGET, own_tables)  # a chip

ASSEMBLING = (
    *CHOOSING,
    click.option(
        "-I",
        "--folder",
        "folders",
        multiple=True,
        metavar="FOLDER",
        help="Where to look for included files after the including file's own folder. May be repeated.",
    ),
    UNDOCUMENTED,
    click.option(
        "--most-lines",
        type=click.IntRange(1),
        default=Limits().lines,
        metavar="N",
        help=f"How many lines macros and repeats may bring in (else {Limits().lines:,}).",
    ),
    click.option(
        "--deepest",
        type=click.IntRange(1, 150),
        default=Limits().depth,
        metavar="N",
        help=f"How deep macros, repeats and includes may be inside one another (else {Limits().depth}).",
    ),
    click.option(
        "--most-files",
        type=click.IntRange(1),
        default=Limits().files,
        metavar="N",
        help=f"How many files may be included and embedded (else {Limits().files:,}).",
    ),
)

LINKING = (
    click.option("--board", metavar="FILE", help="The board, a YAML file: what lies where, and what the host can give."),
    click.option(
        "-l",
        "--library",
        "libraries",
        multiple=True,
        metavar="PATH",
        help="A folder or archive (.zip) of modules, of which what is needed is taken. May be repeated.",
    ),
    click.option("--build-text", "text", default="", metavar="TEXT", help="What STAMP TEXT puts into the image, a version for one."),
    click.option("--only-used", is_flag=True, help="Leave out sections that nothing leads to."),
)

WRITING = (
    click.option(
        "-o",
        "--output",
        "outputs",
        multiple=True,
        metavar="FILE",
        help=f"A file to write; its suffix chooses the format: {OUTPUTS}. "
        "`-` shows the listing on the screen, `-.h` the C array. May be repeated.",
    ),
    click.option(
        "--name",
        metavar="NAME",
        help="Name of the C array, and in constants and the header of S-records (else that of the source file).",
    ),
    click.option(
        "--fill",
        callback=number,
        metavar="BYTE",
        help="What stands in gaps. Without it a raw binary has 0xFF there (all bits 1), and all other formats keep gaps.",
    ),
    click.option(
        "--storage", default="", metavar="WORD", help="C array: a word behind its name that puts it in flash on your host, such as PROGMEM."
    ),
    click.option(
        "--include",
        "headers",
        multiple=True,
        metavar="HEADER",
        help="C array: a header to include, where the storage word comes from. May be repeated.",
    ),
    click.option(
        "--split",
        callback=division,
        metavar="HOW",
        help="Write several images: `windows` (one for each of the board), `lanes=2` (the bytes of each lane of the bus), "
        "or `size=0x1000` (words each).",
    ),
    click.option("--depfile", metavar="FILE", help="Write the files that this depends on, as a rule for make and ninja."),
    click.option(
        "--order",
        type=click.Choice(["little", "big"]),
        help="Raw binary of a chip whose word is wider than a byte: the order of its bytes.",
    ),
    click.option("--report", is_flag=True, help="Show sizes by file and section, and the use of memory and host."),
    QUIET,
)


def options(*groups: tuple[Command, ...]) -> Callable[[Command], Command]:
    """A decorator that gives a command the options of groups, in their order."""

    def decorate(function: Command) -> Command:
        for option in reversed([one for group in groups for one in group]):
            function = option(function)
        return function

    return decorate


def writing(first: str, given: dict[str, Any]) -> Wanted:
    """What the options of WRITING ask for; `first` is the file that the C array is named after. Raises Fault."""
    name = given["name"] if given["name"] is not None else name_for(Path(first).stem)
    chosen = Options(name, given["fill"], given["storage"], given["headers"], given["order"])
    return wanted(given["outputs"], chosen, given["split"], given["depfile"], given["quiet"], given["report"])


def linking(given: dict[str, Any]) -> dict[str, Any]:
    """What the options of LINKING, and of WRITING where they are, say to the linker, by the names of `Choices`."""
    return {name: given[name] for name in ("board", "libraries", "only_used", "fill", "text") if name in given}


def limits(given: dict[str, Any]) -> Limits:
    """What the options of ASSEMBLING allow."""
    return Limits(given["most_lines"], given["deepest"], given["most_files"])
