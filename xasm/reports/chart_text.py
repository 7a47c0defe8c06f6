"""The opcode map as text: 16 columns, of 4 letters each where the screen has 80."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator, Sequence
from itertools import groupby, zip_longest

from xasm.reports.chart import Cell, Sheet, chart
from xasm.reports.chart_legend import marks, second_spellings, times
from xasm.target.model import Target

NARROWEST = 80  # columns of a screen
UNDEFINED, PREFIX, MIXED = ".", ">>", "~"
MOST_SHOWN = 12  # codes of a second spelling
BREAKS = re.compile(r"(?<=[,/ ])|(?=[(+\[])|(?<=[)\]])")  # where a text that is too long for a cell is cut


def chart_text(target: Target, width: int = NARROWEST) -> str:
    """The map of a chip in lines of at most `width` columns, 80 or more. Raises Fault where there is none."""
    sheets = chart(target)
    lines = [*textwrap.wrap(f"Opcode map, {target.title}", width), "", *legend(target, sheets, width)]
    for sheet in sheets:
        lines += ["", "", sheet.title, *textwrap.wrap(sheet.note, width), *_map(sheet, width), *_spellings(sheet, width)]
    return "\n".join(line.rstrip() for line in lines)


def legend(target: Target, sheets: Sequence[Sheet], width: int) -> Iterator[str]:
    """What a cell shows, and what the marks mean that occur."""
    signs = {"undefined": UNDEFINED, "prefix": PREFIX, "mixed": MIXED}
    yield from textwrap.wrap(times(target, sheets), width)
    for mark, meaning in marks(target, sheets):
        yield f"  {signs.get(mark, mark):<4}{meaning}"


def _cell(cell: Cell, room: int) -> tuple[list[str], list[str]]:
    """What is printed in a cell: the lines of the instruction, and those of length and time."""
    if not cell.entries:
        return [MIXED if cell.mixed else PREFIX if cell.sheets else UNDEFINED], []
    entry = cell.entries[0]
    above = [*cut(entry.operation + cell.marks, room), *cut(entry.operands, room)]
    times = f"{entry.length} {entry.cycles}"
    return above, [times] if len(times) <= room else [*cut(entry.length, room), *cut(entry.cycles, room)]


def cut(text: str, room: int) -> list[str]:
    """The text in lines of at most `room` letters, cut where its parts end if that is possible."""
    lines = [""]
    for part in BREAKS.split(text):
        if len((lines[-1] + part).rstrip()) > room:
            lines.append("")
        while len(part.rstrip()) > room:
            lines[-1:] = [part[:room], ""]
            part = part[room:]
        lines[-1] += part
    return [line.strip() for line in lines if line.strip()]


def _map(sheet: Sheet, width: int) -> Iterator[str]:
    widest = max(len(text) for cell in sheet.cells() for lines in _cell(cell, width) for text in lines)
    room = min((width + 1) // len(sheet.columns) - 1, max(widest, *map(len, sheet.columns)))
    yield ""
    yield _joined(sheet.columns, room)
    for undefined, group in groupby(sheet.rows, lambda row: not any(cell.entries or cell.sheets for cell in row[1])):
        rows = list(group)
        if undefined:
            yield ""
            yield f"{rows[0][0]} to {rows[-1][0]}: undefined" if len(rows) > 1 else f"{rows[0][0]}: undefined"
            continue
        for label, cells in rows:
            drawn = [_cell(cell, room) for cell in cells]
            yield label
            for part in zip(*drawn, strict=True):
                for line in zip_longest(*part, fillvalue=""):
                    yield _joined(line, room)


def _joined(texts: Sequence[str], room: int) -> str:
    return " ".join(f"{text:<{room}}" for text in texts)


def _spellings(sheet: Sheet, width: int) -> Iterator[str]:
    found = second_spellings(sheet)
    if found:
        yield ""
        yield "Second spellings"
    for text, codes in found.items():
        more = f" and {len(codes) - MOST_SHOWN} more" if len(codes) > MOST_SHOWN else ""
        yield from textwrap.wrap(f"{text}: {', '.join(codes[:MOST_SHOWN])}{more}", width, initial_indent="  ", subsequent_indent="    ")
