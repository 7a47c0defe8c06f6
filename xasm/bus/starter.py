"""First programs: a table's text of that kind, with the addresses of a board in front."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import NamedTuple

from xasm.linking.board import Board, Window
from xasm.source.diagnostics import Fault
from xasm.target.bus_parts import KINDS, Area
from xasm.target.model import Target

# What each kind is, in the first line of its program.
TITLES = {
    "halt": "the smallest program that stays where it is",
    "count": "a pattern that can be seen",
    "ram": "a walk through the RAM",
    "ports": "input to output",
}
TEXT = 48  # column of a comment behind an EQU


class Places(NamedTuple):
    """Where a program and what it uses lies; None where the chip, or the board, has none."""

    program: int
    memory: Area | None
    io: Area | None


def starter(target: Target, kind: str, board: Board | None = None) -> str:
    """The source of a first program. Raises Fault: starter_kind, starter_none, starter_no_window, starter_no_vector."""
    if kind not in KINDS:
        raise Fault("starter_kind", kind=kind, kinds=", ".join(KINDS))
    programs = target.starters.programs
    if kind not in programs:
        hint = f"it has: {', '.join(programs)}" if programs else "a table has them under 'starters'"
        raise Fault("starter_none", kind=kind, chip=target.name, hint=hint)
    places = _places(target, board)
    return "\n".join(_lines(target, kind, programs[kind].text, places, board)) + "\n"


def _lines(target: Target, kind: str, text: str, places: Places, board: Board | None) -> Iterator[str]:
    body = text.rstrip("\n").split("\n")
    remarks = next((number for number, line in enumerate(body) if not line.startswith(";")), len(body))
    where = f" on the board '{board.name}'" if board is not None and board.name else ""
    yield f"; {kind}: {TITLES[kind]}, for the {target.name}{where}."
    yield from body[:remarks]
    yield ""
    yield f"        TARGET {target.name}"
    for prefix, area in (("RAM", places.memory), ("IO", places.io)):
        if not re.search(rf"\b{prefix}_(?:FIRST|LAST|SIZE)\b", text):
            continue
        if area is None:
            raise Fault("starter_no_window", chip=target.name, kind=kind, window=prefix.lower())
        yield from _equates(target, prefix, area)
    yield ""
    yield f"        ORG {target.address_text(places.program)}"
    yield from body[remarks:]
    yield from _names(board, "\n".join(body))
    if target.start_vector and (board is None or board.start is None):
        yield ""
        yield f"        ORG {target.address_text(target.start)}".ljust(TEXT) + "; the chip reads its start address here"
        yield "        DW start"


def _equates(target: Target, prefix: str, area: Area) -> Iterator[str]:
    bits = target.spaces[area.space] if area.space else target.address
    for name, value, remark in (
        ("FIRST", area.start, "change these for your board" if prefix == "RAM" else "outputs; change these for your board"),
        ("LAST", area.start + area.size - 1, "" if prefix == "RAM" else "inputs"),
        ("SIZE", area.size, ""),
    ):
        yield (
            f"{prefix}_{name:<{11 - len(prefix)}}EQU {target.number_text(value, bits)}".ljust(TEXT) + (f"; {remark}" if remark else "")
        ).rstrip()


def _names(board: Board | None, text: str) -> Iterator[str]:
    """What the board calls the start, and the places that its vectors lead to."""
    if board is None:
        return
    named = [*([board.start] if board.start is not None else []), *board.vectors.values()]
    for name in dict.fromkeys(one.name for one in named):
        if not re.search(rf"^{name}\b", text, re.MULTILINE):
            yield f"{name:<8}EQU start".ljust(TEXT) + "; the board's name for it"


def _places(target: Target, board: Board | None) -> Places:
    starters = target.starters
    begin = target.start if not target.start_vector else starters.program if starters.program is not None else 0
    if board is None:
        return Places(begin, starters.memory, starters.io)
    space = starters.memory.space if starters.memory is not None else ""
    memory = _first(board, "ram", space) if starters.memory is not None else None
    io = _first(board, "io", "")
    return Places(_program(target, board), memory, io)


def _first(board: Board, kind: str, space: str) -> Area | None:
    window = next((window for window in board.windows if window.kind == kind and window.space == space), None)
    return Area(window.start, window.size, window.space) if window is not None else None


def _program(target: Target, board: Board) -> int:
    """The address of the first word: where the chip starts, or the beginning of the window that programs go to."""
    rom = [window for window in board.windows if window.kind == "rom" and not window.space]
    if not target.start_vector:
        if not any(window.holds(target.start) for window in rom):
            raise Fault("starter_no_start", chip=target.name, address=target.address_text(target.start))
        return target.start
    wanted: list[Window] = [window for window in board.sections.get("main", ()) if window.kind == "rom" and not window.space]
    if not rom:
        raise Fault("starter_no_start", chip=target.name, address=target.address_text(target.start))
    if not any(window.holds(target.start) for window in rom):
        raise Fault("starter_no_start", chip=target.name, address=target.address_text(target.start))
    return (wanted or rom)[0].start
