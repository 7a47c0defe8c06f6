"""Reports: what people read about a program that was linked, and about a chip.

`REPORTS` says what a build can write besides its image, by the end of the file's name; a report's module is loaded when it
is written.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from xasm.formats.options import Options
    from xasm.linking.linker import Linked


class LinkReport(NamedTuple):
    """A report: the end of a file's name that chooses it, its title for help, whether it may go to a terminal, and the
    function that makes its text; that raises Fault when an option does not suit it."""

    suffix: str
    title: str
    text: bool
    write: Callable[[Linked, Options], str]


def _late(module: str, function: str, with_options: bool = False) -> Callable[[Linked, Options], str]:
    """A function of a report's module, which is loaded by the first call."""

    def call(linked: Linked, options: Options) -> str:
        write: Callable[..., Any] = getattr(import_module(f"xasm.reports.{module}"), function)
        text: str = write(linked, options) if with_options else write(linked)
        return text

    return call


# An end that holds another comes before it.
REPORTS: dict[str, LinkReport] = {
    report.suffix: report
    for report in (
        LinkReport(".lst", "listing", True, _late("listing", "listing")),
        LinkReport(".map", "map of memory and names", True, _late("memory_map", "memory_map")),
        LinkReport(".svg", "picture of memory", True, _late("picture", "picture")),
        LinkReport(".json", "facts for other tools", True, _late("facts", "facts")),
        LinkReport(".names.h", "names in a C header", True, _late("c_names", "names_header", with_options=True)),
    )
}
