"""`xasm target`: the chips that there are."""

from __future__ import annotations

import click

from xasm.cli import target_chart, target_show
from xasm.cli.screen import show
from xasm.reports.card import overview
from xasm.target.finding import load_target, table_paths


@click.group(
    "target",
    epilog="""\b
Examples:
  xasm target list
  xasm target show NAME
  xasm target chart NAME -o map.html""",
)
def command() -> None:
    """The chips: which there are, and what each understands."""


command.add_command(target_chart.command)
command.add_command(target_show.command)


@command.command("list", epilog="Example:  xasm target list")
def list_targets() -> None:
    """Names every chip, with its data."""
    show(overview([load_target(name) for name in table_paths()]))


@command.command("colours", epilog="Example:  xasm target colours > xasm.tmLanguage.json")
def colours() -> None:
    """Prints colours for editors: a TextMate grammar for the language and all chips."""
    from xasm.reports.highlighting import highlighting

    show(highlighting([load_target(name) for name in table_paths()]))
