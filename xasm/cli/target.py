"""`xasm target`: the chips that there are."""

from __future__ import annotations

import click

from xasm.cli import target_chart, target_check, target_new, target_show
from xasm.cli.chips import own_tables
from xasm.cli.screen import show
from xasm.reports.card import overview
from xasm.source.diagnostics import Fault, Report, SourceErrors
from xasm.target.finding import known_tables, load_target, table_paths
from xasm.target.model import Target


@click.group(
    "target",
    epilog="""\b
Examples:
  xasm target list
  xasm target show NAME
  xasm target chart NAME -o map.html""",
)
def command() -> None:
    """The chips: which there are, and what each understands; tables for further ones."""


command.add_command(target_chart.command)
command.add_command(target_check.command)
command.add_command(target_new.command)
command.add_command(target_show.command)


@command.command("list", epilog="Example:  xasm target list")
@own_tables
def list_targets(tables: tuple[str, ...]) -> None:
    """Names every chip, with its data."""
    found: list[Target] = []
    report = Report()
    for path in known_tables(tables).values():
        try:
            found.append(load_target(str(path), own=tables))
        except Fault as fault:
            report.lost(fault)
        except SourceErrors as errors:
            for diagnostic in errors.diagnostics:
                report.add(diagnostic)
    show(overview(found))
    report.stop()


@command.command("colours", epilog="Example:  xasm target colours > xasm.tmLanguage.json")
def colours() -> None:
    """Prints colours for editors: a TextMate grammar for the language and all chips."""
    from xasm.reports.highlighting import highlighting

    show(highlighting([load_target(name) for name in table_paths()]))


@command.command("schema", epilog="Example:  xasm target schema > table.schema.json")
def schema() -> None:
    """Prints the JSON Schema of a table, by which editors complete and check one while it is typed."""
    from xasm.target.schema import schema_text

    show(schema_text().removesuffix("\n"))
