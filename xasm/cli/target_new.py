"""`xasm target new`: the table that a new chip starts with."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import Any

import click

from xasm.cli.chips import own_tables
from xasm.cli.screen import show
from xasm.source.diagnostics import Fault

NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]*\Z")
DEFAULTS = {"word": 8, "address": 16, "order": "little"}


@click.command(
    "new",
    epilog="""\b
Examples:
  xasm target new lamplight
  xasm target new beacon12 --word 12 --address 12 --order big -o -""",
)
@click.argument("name")
@click.option("--word", type=click.IntRange(4, 64), metavar="BITS", help="Bits of a word of program memory, 4 to 64 (else 8).")
@click.option("--address", type=click.IntRange(1, 32), metavar="BITS", help="Bits of a program address, 1 to 32 (else 16).")
@click.option("--order", type=click.Choice(["little", "big"]), help="How a number of several words lies in memory (else little).")
@click.option("-o", "--output", metavar="FILE", help="The file to write (else NAME.yaml); `-` shows the table on the screen.")
@own_tables
def command(name: str, word: int | None, address: int | None, order: str | None, output: str | None, tables: tuple[str, ...]) -> None:
    """Writes a small commented table for a chip called NAME, with a row of each common kind, that passes its own check.

    What is not given as an option is asked for at a terminal. A file that exists is never overwritten.
    """
    from xasm.formats.files import write_files
    from xasm.target.finding import also, known_tables
    from xasm.target.new_table import new_table

    if not NAME.match(name):
        raise Fault("new_name", name=name)
    known = known_tables(tables)
    if name.lower() in {*known, *(other for path in known.values() for other in also(path))}:
        raise Fault("new_taken", name=name, hint=f'choose another name; a table can take over another\'s rows: extends: "{name}"')
    path = output or f"{name}.yaml"
    if path != "-" and Path(path).exists():
        raise Fault("new_exists", path=path)
    text = new_table(
        name,
        word or asked("word", "Bits of a word of program memory", click.IntRange(4, 64)),
        address or asked("address", "Bits of a program address", click.IntRange(1, 32)),
        order or asked("order", "Order of the words of a number", click.Choice(["little", "big"])),
    )
    if path == "-":
        show(text.removesuffix("\n"))
        return
    write_files({path: text.encode()})
    click.echo(f"{path}: a table to start with; next: xasm target check {path}", err=True)


def asked(key: str, question: str, sort: click.ParamType[Any]) -> Any:
    """What was not given: an answer, or at no terminal what is usual."""
    return click.prompt(question, default=DEFAULTS[key], type=sort, err=True) if sys.stdin.isatty() else DEFAULTS[key]
