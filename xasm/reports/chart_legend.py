"""What stands below or above an opcode map: its signs, how lengths and times are counted, second spellings."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from xasm.reports.chart import ALIAS, BYTE, MORE, UNDOCUMENTED, Sheet, unit
from xasm.target.model import Target


def marks(target: Target, sheets: Sequence[Sheet]) -> Iterator[tuple[str, str]]:
    """The signs that occur on some sheets, and undefined, prefix and mixed cells, each with what it means."""
    cells = [cell for sheet in sheets for cell in sheet.cells()]
    signs = {sign for cell in cells for sign in cell.marks}
    what = unit(target)
    meanings = (
        ("undefined", "undefined", any(not cell.entries and not cell.sheets for cell in cells)),
        (UNDOCUMENTED, "the maker's book does not list it", UNDOCUMENTED in signs),
        (ALIAS, "has a second spelling, told below the map", ALIAS in signs),
        (MORE, f"means something else with some {what}s behind it", MORE in signs),
        ("prefix", f"the next {what} decides, by a map of its own", any(cell.sheets and not cell.mixed for cell in cells)),
        ("mixed", f"these {what}s differ, and have a map of their own", any(cell.mixed for cell in cells)),
    )
    yield from ((mark, meaning) for mark, meaning, used in meanings if used)


def times(target: Target, sheets: Sequence[Sheet]) -> str:
    """What a cell shows, in what lengths and times are counted, and how those are written that are not a plain number."""
    found = {entry.cycles for sheet in sheets for cell in sheet.cells() for entry in cell.entries}
    periods = f" ({target.clock.periods} clock periods)" if target.clock.periods > 1 else ""
    width = "" if target.word == BYTE else f" of {target.word} bits"
    ways = (
        ("2/3 is the time when a condition is not met, and when it is", any("/" in text for text in found)),
        ("4+1 is 1 more when a page border is crossed", any(re.search(r"[+]\d", text) for text in found)),
        ("5+n depends on the list of names", any("+n" in text for text in found)),
        ("4+ takes longer with some operands", any(text.endswith("+") for text in found)),
    )
    told = "; ".join(text for text, used in ways if used)
    counted = f"Length in {unit(target)}s{width}; time in units of one {target.clock.unit}{periods}"
    return f"In a cell: the instruction, its length and its time. {counted}{': ' if told else ''}{told}."


def second_spellings(sheet: Sheet) -> dict[str, list[str]]:
    """The aliases on a sheet as `BHS t is BCC t`, each with its codes."""
    found: dict[str, list[str]] = {}
    for cell in sheet.cells():
        for alias in cell.aliases:
            text = f"{alias.row.asm} is {cell.entries[0].row.asm}"
            found.setdefault(text, []).append(cell.code)
    return found
