"""Sections of modules that nothing leads to, for those who want them left out.

What is used: the section that the program starts in, those that an ORG places, and every section that one in use names. A
section that is only run into from the one in front of it is not seen: programs that do so name it, or keep everything.
"""

from __future__ import annotations

from collections.abc import Iterator

from xasm.assembly.module import Alignment, Encoded, FitStart, Origin, Section, Space, Stamp
from xasm.linking.board import Board
from xasm.linking.program import Program, Unit
from xasm.syntax.expressions import Dotted, Name, Node

Part = tuple[Unit, int]  # a section of a module, by its number


def unused(program: Program, board: Board | None) -> frozenset[tuple[int, int]]:
    """The sections that can be left out, as `Program` takes them."""
    everything = {(unit, section.number): section for unit in program.units for section in unit.module.sections}
    used: set[Part] = set()
    pending = [part for part in starts(program, board) if part in everything]
    pending += [part for part, section in everything.items() if is_fixed(section)]
    if not pending:
        pending.append((program.units[0], 0))
    while pending:
        part = pending.pop()
        if part in used:
            continue
        used.add(part)
        unit, number = part
        for node, scope in expressions(unit, everything[part], number):
            pending += places(unit, node, scope, program)
    return frozenset((id(unit.module), number) for unit, number in everything.keys() - used)


def is_fixed(section: Section) -> bool:
    return any(isinstance(entry.piece, Origin) for entry in section.entries)


def starts(program: Program, board: Board | None) -> Iterator[Part]:
    """Where the program starts, as its END and the board say."""
    names = [named.name for named in (board.start, *board.vectors.values()) if named] if board is not None else []
    for unit in program.units:
        if unit.module.start is not None:
            yield from places(unit, unit.module.start.node, unit.module.start.scope, program)
        for name in names:
            if name in unit.module.defined:
                yield from places(unit, Name(0, 0, name), "", program)


def expressions(unit: Unit, section: Section, number: int) -> Iterator[tuple[Node, str]]:
    """The expressions of a section, each with the plain label in front of it."""
    for entry in section.entries:
        piece = entry.piece
        if isinstance(piece, Encoded):
            for leaf in piece.leaves:
                yield leaf, entry.scope
        elif isinstance(piece, Stamp):
            yield from ((node, entry.scope) for node in piece.nodes)
        elif isinstance(piece, Space):
            yield piece.count, entry.scope
        elif isinstance(piece, Alignment):
            yield piece.step, entry.scope
        if isinstance(piece, (Space, Alignment, FitStart)) and piece.fill is not None:
            yield piece.fill, entry.scope
    for check in unit.module.checks:
        if check.section == number:
            yield check.node, check.scope


def places(unit: Unit, node: Node, scope: str, program: Program) -> Iterator[Part]:
    """The sections that an expression names, through equates too."""
    pending = [(unit, node, scope)]
    seen: set[int] = set()
    while pending:
        unit, node, scope = pending.pop()
        for one in node.walk():
            name = one.text if isinstance(one, Name) else one.name if isinstance(one, Dotted) else ""
            if not name:
                continue
            key = scope + name if name[0] == "." else name
            number = unit.equates.get(key)
            if number is not None and number not in seen:
                seen.add(number)
                home, equate = program.equates[number]
                yield home, equate.section
                pending.append((home, equate.node, equate.scope))
            elif key in unit.labels:
                yield home_of(unit, key, program)


def home_of(unit: Unit, key: str, program: Program) -> Part:
    """The section that a label stands in."""
    home = unit if key in unit.module.defined else program.public[key]
    return home, next(section.number for section in home.module.sections if key in section.labels)
