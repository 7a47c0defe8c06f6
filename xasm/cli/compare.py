"""`xasm compare`: two images, equal or not."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from xasm.building import Choices, build
from xasm.cli.choosing import CHOOSING, LINKING, UNDOCUMENTED, linking, number, options
from xasm.cli.screen import show
from xasm.formats import READERS, read_file
from xasm.formats.modules import SUFFIX
from xasm.formats.reading import Reading
from xasm.linking.image import Span
from xasm.linking.linker import Linked
from xasm.reports.comparing import comparison, differences
from xasm.source.diagnostics import Fault
from xasm.target.finding import load_target

DIFFERENT = 1
SOURCES = (".asm", SUFFIX)


@click.command(
    "compare",
    epilog="""\b
Examples:
  xasm compare rom.hex old.hex
  xasm compare first.asm rom.bin --at 0 -t NAME""",
)
@click.argument("first")
@click.argument("second")
@options(CHOOSING, (UNDOCUMENTED,))
@click.option("--at", callback=number, metavar="ADDRESS", help="Where the first word of a file without addresses lies (raw binary).")
@click.option(
    "--source",
    "sources",
    multiple=True,
    metavar="PROG.asm",
    help="The program, to name the statement that each difference lies in. May be repeated.",
)
@options(LINKING)
def command(first: str, second: str, target: str | None, at: int | None, sources: tuple[str, ...], **given: Any) -> None:
    """Compares two images, in any format that can be written, or sources, which are built first.

    Shows the ranges that differ. The exit code is 0 when the images are equal, 1 when they differ or cannot be read.
    """
    choices = Choices(target, undocumented=given["undocumented"], tables=given["tables"], **linking(given))
    built = {path: build([path], choices) for path in (first, second) if Path(path).suffix.lower() in SOURCES}
    linked = built.get(first) or built.get(second) or (build(sources, choices) if sources else None)
    word = linked.image.target.word if linked else load_target(target, own=given["tables"]).word if target else 8
    images = [parts(path, built.get(path), at, word) for path in (first, second)]
    found = list(differences(*images))
    words = sum(len(span.words) for span in images[0])
    if not found:
        show(f"equal: {words:,} words")
        return
    count = sum(one.size for one in found)
    title = (
        f"{count:,} word{'s' if count > 1 else ''} in {len(found):,} range{'s' if len(found) > 1 else ''} differ{'' if count > 1 else 's'}:"
    )
    show("\n".join([title, *comparison(found, word, linked)]))
    sys.exit(DIFFERENT)


def parts(path: str, linked: Linked | None, at: int | None, word: int) -> tuple[Span, ...]:
    """The words of a file, or of a program that was built from it. Raises Fault."""
    if linked is not None:
        return linked.image.parts
    try:
        return read_file(path, Reading(address=at, word=word if word > 8 else None)).parts
    except Fault as fault:
        if fault.code == "read_unknown" and Path(path).suffix.lower() not in READERS:
            fault.hint = f"a source to be built first ends in {SOURCES[0]}"
        if fault.code == "read_address":
            fault.hint = "--at ADDRESS says it"
        raise
