"""`xasm starter`: a first program for a chip."""

from __future__ import annotations

from pathlib import Path

import click

from xasm.bus.starter import starter
from xasm.cli.chips import CHIP, own_tables
from xasm.cli.screen import show
from xasm.formats.files import write_files
from xasm.linking.board import read_board
from xasm.source.diagnostics import Fault, Report
from xasm.source.files import read_source
from xasm.target.finding import is_path, load_target


@click.command(
    "starter",
    epilog="""\b
Examples:
  xasm starter halt -t NAME
  xasm starter ram -t NAME -o walk.asm""",
)
@click.argument("kind", metavar="KIND")
@click.option("-t", "--target", required=True, metavar="NAME", help=f"{CHIP}.")
@own_tables
@click.option("--board", metavar="FILE", help="The board, a YAML file: the program uses its windows (else those that the table names).")
@click.option("-o", "--output", default="-", metavar="FILE", help="The file to write; without it, or with `-`, the screen.")
@click.option("--force", is_flag=True, help="Write over a file that is there already.")
def command(kind: str, target: str, tables: tuple[str, ...], board: str | None, output: str, force: bool) -> None:
    """Writes a commented first program, of KIND halt, count, ram or ports, for a chip.

    halt stays where it is; count shows a pattern; ram walks through the RAM and stays at one address when it is good, at another
    when it is bad; ports copies input to output.
    """
    chip = load_target(target, own=tables)
    chosen = read_board(read_source(Path(board), board), chip, Report()) if board is not None else None
    text = starter(chip, kind.lower(), chosen)
    if output == "-":
        show(text.encode())
        return
    if Path(output).exists() and not force:
        raise Fault("starter_there", path=output, hint="choose another name, or say --force")
    write_files({output: text.encode()})
    chosen_by = "".join(f" --tables {folder}" for folder in tables) + (f" -t {target}" if is_path(target) else "")
    click.echo(f"{output}: {kind.lower()} for the {chip.name}; next: xasm expect {output}{chosen_by}", err=True)
