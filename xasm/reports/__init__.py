"""Reports: what people read about a program that was linked, and about a chip.

`REPORTS` says what a build can write besides its image, by the end of the file's name; a report's module is loaded when it
is written.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from xasm.linking.linker import Linked


class LinkReport(NamedTuple):
    """A report: the end of a file's name that chooses it, its title for help, whether it may go to a terminal, and the
    function that makes its text."""

    suffix: str
    title: str
    text: bool
    write: Callable[[Linked], str]


def _late(module: str, function: str) -> Callable[[Linked], str]:
    """A function of a report's module, which is loaded by the first call."""

    def call(linked: Linked) -> str:
        text: str = getattr(import_module(f"xasm.reports.{module}"), function)(linked)
        return text

    return call


REPORTS: dict[str, LinkReport] = {report.suffix: report for report in (LinkReport(".lst", "listing", True, _late("listing", "listing")),)}
