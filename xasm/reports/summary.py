"""What a build shows on the screen when it is asked for a report: sizes, and the use of memory and of the host.

A part is a function of the usage to rows of text; to add one, write it and its line in `PARTS`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from xasm.bus.total import time_rows
from xasm.linking.linker import Linked
from xasm.reports.tables import areas_table, host_table, parts, sizes_table
from xasm.reports.usage import Usage

PARTS: tuple[Callable[[Usage], Iterable[str]], ...] = (
    lambda usage: sizes_table("file", usage.files, usage.filler),
    lambda usage: sizes_table("section", usage.sections, usage.filler),
    areas_table,
    host_table,
)


def overview(linked: Linked) -> str:
    """The report as text, with an end of line behind every row."""
    usage = Usage(linked)
    return parts(*(part(usage) for part in PARTS), time_rows(linked))
