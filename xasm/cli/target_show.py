"""`xasm target show`: the data card of a chip."""

from __future__ import annotations

import click

from xasm.cli.chips import own_tables
from xasm.cli.pages import PAGE, TEXT, output_option, put_out
from xasm.reports.card import card
from xasm.target.finding import load_target


@click.command(
    "show",
    epilog="""\b
Examples:
  xasm target show NAME | less
  xasm target show NAME -o card.html""",
)
@click.argument("name")
@own_tables
@output_option
def command(name: str, tables: tuple[str, ...], outputs: tuple[str, ...]) -> None:
    """Prints the data card of chip NAME (or of the table NAME.yaml).

    It says how the chip is written, what registers it has and what operands take, and lists each form with code, cycles and flow.
    """
    target = load_target(name, own=tables)

    def page() -> str:
        from xasm.reports.card_page import card_page

        return card_page(target)

    put_out(outputs, f"data card of the {target.name}", {TEXT: lambda: card(target), PAGE: page})
