"""`xasm link`: modules to image files."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from xasm.building import Choices, build, read_for
from xasm.cli.choosing import CHOOSING, LINKING, WRITING, linking, options, writing
from xasm.cli.outputs import put_out
from xasm.formats.modules import SUFFIX
from xasm.source.diagnostics import Fault


@click.command(
    "link",
    epilog="""\b
Examples:
  xasm link monitor.xo lamps.xo -o rom.hex -o rom.lst
  xasm link monitor.xo -l drivers.zip --board bench.yaml -o rom.h""",
)
@click.argument("modules", nargs=-1, required=True, metavar="A.xo [B.xo ...]")
@options(CHOOSING, LINKING, WRITING)
def command(modules: tuple[str, ...], **given: Any) -> None:
    """Links modules that `xasm assemble` wrote to one program, and writes it in the formats asked for.

    Sizes are chosen now, across all modules: the result is that of `xasm build` with the sources.
    """
    for path in modules:
        if Path(path).suffix.lower() != SUFFIX:
            raise Fault("module_suffix", path=path, suffix=SUFFIX)
    wanted = writing(modules[0], given)
    choices = Choices(given["target"], tables=given["tables"], **linking(given))
    linked = build(modules, choices)
    put_out(linked, wanted, read_for(linked, choices))
