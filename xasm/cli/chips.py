"""What the commands that take a chip have in common."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import click

from xasm.target.finding import VARIABLE

CHIP = "The chip: its name, as `xasm target list` prints it, or the path of a table of your own (FILE.yaml)"
TABLES = f"A folder of your own tables, whose chips can be named like the others. May be repeated; the variable {VARIABLE} does the same."


def own_tables(command: Callable[..., Any]) -> Callable[..., Any]:
    """The option that names a folder of own tables; the command gets `tables`, a tuple of folders."""
    return click.option("--tables", multiple=True, metavar="FOLDER", help=TABLES)(command)
