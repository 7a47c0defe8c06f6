"""`xasm target`: the chips that there are."""

from __future__ import annotations

import click

from xasm.cli.screen import show
from xasm.reports.card import card, overview
from xasm.target.finding import load_target, table_paths


@click.group(
    "target",
    epilog="""\b
Examples:
  xasm target list
  xasm target show NAME""",
)
def command() -> None:
    """The chips: which there are, and what each understands."""


@command.command("list", epilog="Example:  xasm target list")
def list_targets() -> None:
    """Names every chip, with its data."""
    show(overview([load_target(name) for name in table_paths()]))


@command.command("show", epilog="Example:  xasm target show NAME | less")
@click.argument("name")
def show_target(name: str) -> None:
    """Prints the card of chip NAME: its conventions and every form with code, cycles and flow."""
    show(card(load_target(name)))


@command.command("colours", epilog="Example:  xasm target colours > xasm.tmLanguage.json")
def colours() -> None:
    """Prints colours for editors: a TextMate grammar for the language and all chips."""
    from xasm.reports.highlighting import highlighting

    show(highlighting([load_target(name) for name in table_paths()]))
