"""`xasm target`: the chips that there are."""

from __future__ import annotations

import click

from xasm.reports.card import card, overview
from xasm.target.finding import load_target, table_paths


@click.group("target")
def command() -> None:
    """The chips: which there are, and what each understands."""


@command.command("list")
def list_targets() -> None:
    """Names every chip, with its data."""
    click.echo(overview([load_target(name) for name in table_paths()]))


@command.command("show", epilog="Example:  xasm target show z80 | less")
@click.argument("name")
def show(name: str) -> None:
    """Prints the card of chip NAME: its conventions and every form with code, cycles and flow."""
    click.echo(card(load_target(name)))
