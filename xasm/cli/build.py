"""`xasm build`: sources to image files."""

from __future__ import annotations

from typing import Any

import click

from xasm.building import Choices, build, read_for
from xasm.cli.choosing import ASSEMBLING, LINKING, WRITING, limits, linking, options, writing
from xasm.cli.outputs import put_out
from xasm.linking.linker import Linked


@click.command(
    "build",
    epilog="""\b
Examples:
  xasm build first.asm -t NAME -o first.bin -o first.lst
  xasm build first.asm -t NAME -o -
  xasm build rom.asm -t NAME -o rom.h --name boot_rom --storage PROGMEM --include avr/pgmspace.h
  xasm build monitor.asm lamps.asm -t NAME --board bench.yaml -o rom.hex -o rom.map
  xasm build monitor.asm lamps.asm -t NAME --board bench.yaml -o rom.map -o rom.svg -o rom.names.h --report""",
)
@click.argument("sources", nargs=-1, required=True, metavar="PROG.asm [MORE.asm ...]")
@options(ASSEMBLING, LINKING, WRITING)
@click.option("--watch", is_flag=True, help="Build again whenever a file that was read changes, and show what is different.")
def command(sources: tuple[str, ...], **given: Any) -> None:
    """Assembles one program, of one file or several, and writes it in the formats asked for.

    Every file is a module: names that others use are PUBLIC in it and EXTERN there. All errors are shown, each with its
    line. When there is one, nothing is written and files of an earlier run stay.
    """
    wanted = writing(sources[0], {**given, "quiet": given["quiet"] or given["watch"]})
    choices = Choices(given["target"], given["folders"], limits(given), given["undocumented"], tables=given["tables"], **linking(given))

    def once() -> tuple[Linked, list[str]]:
        linked = build(sources, choices)
        read = read_for(linked, choices)
        put_out(linked, wanted, read)
        return linked, read

    if given["watch"]:
        from xasm.cli.watching import watch

        watch(once, [*sources, *([choices.board] if choices.board else [])])
    else:
        once()
