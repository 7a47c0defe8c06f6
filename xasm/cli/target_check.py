"""`xasm target check`: what is wrong with a table, and what is doubtful."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from xasm.cli.chips import own_tables
from xasm.cli.screen import show

if TYPE_CHECKING:
    from xasm.source.diagnostics import Diagnostic
    from xasm.target.model import Target
    from xasm.target.review import Review

BOOK = "Values typed from the maker's book; they are compared with the table, and rows that none of them meets are named. May be repeated."


@click.command(
    "check",
    epilog="""\b
Examples:
  xasm target check lantern.yaml
  xasm target check lantern.yaml --book lantern.txt""",
)
@click.argument("table", metavar="FILE.yaml")
@click.option("--book", "books", multiple=True, metavar="FILE", help=BOOK)
@own_tables
def command(table: str, books: tuple[str, ...], tables: tuple[str, ...]) -> None:
    """Says everything that is wrong with a table, and what is doubtful as warnings.

    Every row is turned to words, read back to text, and turned to words again. FILE.yaml may be the name of a chip.
    Warnings leave the exit code 0.
    """
    from xasm.assembly.taken_names import taken_names
    from xasm.source.diagnostics import Report, render_all
    from xasm.source.files import read_source
    from xasm.target.bookvalues import read_book
    from xasm.target.finding import find_table, read_table
    from xasm.target.review import review

    report = Report()
    target = read_table(find_table(table, tables), tables, report)
    found = review(target, report, [read_book(read_source(Path(book), book), report) for book in books])
    for diagnostic in taken_names(target):
        report.add(diagnostic)
    report.stop()
    for diagnostic in first_programs(target):
        report.add(diagnostic)
    report.stop()
    if report.diagnostics:
        click.echo(render_all(report.sorted()), err=True)
    show(summary(table, found, len(report.diagnostics), books))


def first_programs(target: Target) -> Iterator[Diagnostic]:
    """What is wrong with the table's first programs, told where each begins."""
    from xasm.building import assemble
    from xasm.bus.starter import starter
    from xasm.source.diagnostics import Fault, SourceErrors, at

    for kind, program in target.starters.programs.items():
        try:
            assemble(starter(target, kind), target)
        except Fault as fault:
            yield at(program.place, "starter_fails", {"kind": kind, "why": fault.text}, hint=fault.hint)
        except SourceErrors as errors:
            first = errors.diagnostics[0]
            yield at(program.place, "starter_fails", {"kind": kind, "why": first.message}, hint=f"in: {(first.excerpt or '').strip()}")


def summary(table: str, found: Review, warnings: int, books: tuple[str, ...]) -> str:
    """What was looked at, when nothing is wrong."""
    doubtful = f", {counted(warnings, 'warning')}" if warnings else ""
    lines = [f"{table}: nothing is wrong{doubtful}"]
    lines.append(f"  {counted(found.rows, 'row')}, {counted(found.forms, 'form')}, {counted(found.opcodes, 'opcode')}")
    if found.words:
        lines.append(f"  {found.first:,} of {found.words:,} first words begin an instruction")
    lines.append(f"  {counted(found.statements, 'statement')} made into words and read back")
    if books:
        lines.append(f"  {counted(found.values, 'book value')} compared")
    return "\n".join(lines)


def counted(count: int, what: str) -> str:
    return f"{count:,} {what}{'s' if count != 1 else ''}"
