"""`xasm target chart`: the opcode map of a chip."""

from __future__ import annotations

import shutil

import click

from xasm.cli.chips import own_tables
from xasm.cli.pages import PAGE, TEXT, output_option, put_out
from xasm.reports.chart_text import NARROWEST, chart_text
from xasm.target.finding import load_target

WIDTH = f"How many columns the text may take: {NARROWEST} or more (else as many as the screen has, and {NARROWEST} where there is none)."


def screen_width() -> int:
    return max(NARROWEST, shutil.get_terminal_size((NARROWEST, 0)).columns)


@click.command(
    "chart",
    epilog="""\b
Examples:
  xasm target chart NAME | less
  xasm target chart NAME -o map.html""",
)
@click.argument("name")
@own_tables
@output_option
@click.option("--width", type=click.IntRange(NARROWEST), metavar="COLUMNS", help=WIDTH)
def command(name: str, tables: tuple[str, ...], outputs: tuple[str, ...], width: int | None) -> None:
    """Draws the opcode map of chip NAME (or of the table NAME.yaml): 16 by 16, and a map of its own behind each prefix.

    A cell has the instruction, its length and its time. What the maker's book does not list is marked. On the page (.html) pointing at
    a cell, or going there with the arrow keys, shows the form and its bits.
    """
    target = load_target(name, own=tables)

    def page() -> str:
        from xasm.reports.chart_page import chart_page

        return chart_page(target)

    put_out(outputs, f"opcode map of the {target.name}", {TEXT: lambda: chart_text(target, width or screen_width()), PAGE: page})
