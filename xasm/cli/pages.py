"""What a command puts out that can be read on the screen or as a page: the suffix of each output chooses."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import click

from xasm.cli.outputs import distinct, on_screen
from xasm.cli.screen import show
from xasm.formats.files import write_files
from xasm.source.diagnostics import Fault

TEXT, PAGE = ".txt", ".html"
HELP = (
    f"A file to write: {TEXT} for text, {PAGE} for a page that a browser shows and prints. "
    "`-` is text on the screen, as without it. May be repeated."
)


def output_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """The option that names outputs; the command gets `outputs`."""
    return click.option("-o", "--output", "outputs", multiple=True, default=("-",), metavar="FILE", help=HELP)(command)


def put_out(outputs: Sequence[str], title: str, makers: Mapping[str, Callable[[], str]]) -> None:
    """Writes and shows what is made for the suffix of each output: all or none. Raises Fault."""
    suffixes = {output: _suffix(output, makers) for output in outputs}
    distinct(tuple(outputs))
    made = {suffix: makers[suffix]() for suffix in dict.fromkeys(suffixes.values())}
    write_files({path: _ended(made[suffix]).encode() for path, suffix in suffixes.items() if not on_screen(path)})
    for path, suffix in suffixes.items():
        if on_screen(path):
            show(made[suffix].removesuffix("\n"))
        else:
            click.echo(f"{path}: {title}", err=True)


def _ended(text: str) -> str:
    return text if text.endswith("\n") else f"{text}\n"


def _suffix(output: str, makers: Mapping[str, Callable[[], str]]) -> str:
    suffix = TEXT if output == "-" else output[1:] if on_screen(output) else Path(output).suffix.lower()
    if suffix not in makers:
        raise Fault("unknown_suffix", path=output, suffixes=", ".join(makers))
    return suffix
