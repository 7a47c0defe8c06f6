"""`xasm assemble`: sources to modules."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from xasm.assembly.module import Module
from xasm.building import Choices, assemble_alone
from xasm.cli.choosing import ASSEMBLING, QUIET, limits, options
from xasm.cli.outputs import guard_inputs
from xasm.formats.files import write_files
from xasm.formats.libraries import ARCHIVE, write_library
from xasm.formats.modules import SUFFIX, write_module
from xasm.source.diagnostics import Fault


@click.command(
    "assemble",
    epilog="""\b
Examples:
  xasm assemble monitor.asm -t NAME -o monitor.xo
  xasm assemble lamp.asm key.asm -t NAME -o drivers.zip""",
)
@click.argument("sources", nargs=-1, required=True, metavar="A.asm [B.asm ...]")
@click.option(
    "-o",
    "--output",
    metavar="FILE",
    help=f"The module ({SUFFIX}), or a library of all of them ({ARCHIVE}). Without it each is written beside its source.",
)
@options(ASSEMBLING, (QUIET,))
def command(sources: tuple[str, ...], output: str | None, **given: Any) -> None:
    """Assembles each source to a module, for `xasm link`.

    A module waits for addresses: what it calls EXTERN may be in any other, and sizes are chosen when all are linked.
    """
    choices = Choices(given["target"], given["folders"], limits(given), given["undocumented"], tables=given["tables"])
    modules = assemble_alone(sources, choices)
    made = contents(modules, output)
    guard_inputs(made, [path for module in modules for path in (*module.embedded, *(source.path for source in module.read()))])
    write_files(made)
    if not given["quiet"]:
        for path in made:
            what = "library" if path.lower().endswith(ARCHIVE) else "module"
            click.echo(f"{path}: {what} for the {modules[0].target.name if modules[0].target else ''}", err=True)


def contents(modules: Sequence[Module], output: str | None) -> dict[str, bytes]:
    """The files to write, by path. Raises Fault when the modules cannot all go where they should."""
    own = {str(Path(module.path).with_suffix(SUFFIX)): module for module in modules}
    if output is None:
        if len(own) < len(modules):
            raise Fault("same_module", path=next(path for path in own))
        return {path: write_module(module) for path, module in own.items()}
    suffix = Path(output).suffix.lower()
    if suffix == ARCHIVE:
        names = {Path(path).name: module for path, module in own.items()}
        if len(names) < len(modules):
            raise Fault("same_module", path=next(iter(names)))
        return {output: write_library(names)}
    if suffix != SUFFIX:
        raise Fault("unknown_suffix", path=output, suffixes=f"{SUFFIX}, {ARCHIVE}")
    if len(modules) > 1:
        raise Fault("one_module", path=output, count=len(modules))
    return {output: write_module(modules[0])}
