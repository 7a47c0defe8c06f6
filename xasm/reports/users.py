"""Who uses which name: the lines of the sources whose operands mention it.

Values that are known early are words by the time that a program is linked, so the texts are read once more, as the assembler
reads them. What counts: statements that make or leave words, values of names, ORG, ASSERT, END, and the directives that ask for
a value while the source is read (`ASKING`), these also in lines that an IF skips.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterator
from operator import itemgetter

from xasm.linking.linker import Linked
from xasm.linking.program import Unit
from xasm.source.diagnostics import Fault
from xasm.source.files import Place, Source
from xasm.syntax.expressions import Dotted, Name, Node
from xasm.syntax.lines import CODE, LABEL, cut_statement
from xasm.syntax.parser import parse_operands
from xasm.target.habits import translated
from xasm.target.model import Target

ASKING = re.compile(r"(?:\.?\w+(?:\s*(?=:=)|:|\s))?\s*(:=|(?:IF|ELSEIF|REPT|ASSUME|ALPHABET)(?=\s))", re.IGNORECASE)
TEST = re.compile(r"(?:NOT\s+)?(?:DEFINED\s+(\.?[A-Za-z_][\w.]*)|EMPTY\s|SAME\s)", re.IGNORECASE)

Key = tuple[int, str]  # a module, by its number in the program, and a name in it
Mention = tuple[Source, int, str, str]  # a line, the text of its statement, the plain label before it


def users(linked: Linked) -> dict[Key, list[Place]]:
    """For each name that is used the statements that do, each line once, in the order of modules and lines. A line of a macro
    whose name came with an argument counts where the argument was written. The board uses the names that it gives."""
    units = linked.program.units
    numbers = {id(unit): number for number, unit in enumerate(units)}
    found: dict[Key, dict[tuple[str, int], Place]] = {}
    for unit in units:
        for source, line, body, scope in sorted_mentions(unit):
            for name in names_in(body, linked.image.target):
                home, key = home_of(unit, f"{scope}{name}" if name[0] == "." else name, linked)
                if home is not None:
                    place = written_at(source, line, name)
                    found.setdefault((numbers[id(home)], key), {}).setdefault((place[0].path, place[1]), place)
    board = linked.board
    for named in () if board is None else (*((board.start,) if board.start else ()), *board.vectors.values()):
        home = linked.program.public.get(named.name) or next((unit for unit in units if named.name in unit.module.defined), units[0])
        found.setdefault((numbers[id(home)], named.name), {}).setdefault((named.place[0].path, named.place[1]), named.place)
    return {key: list(places.values()) for key, places in found.items()}


def home_of(unit: Unit, key: str, linked: Linked) -> tuple[Unit | None, str]:
    """The module that defines a name as a unit sees it; None for words of the chip and the like."""
    if key in unit.module.defined:
        return unit, key
    return (linked.program.public.get(key) if key in unit.module.external else None), key


def written_at(source: Source, line: int, name: str) -> Place:
    """The outermost line that mentions a name: that of a macro's call, where the name was an argument of it."""
    place = (source, line, 1)
    word = re.compile(rf"(?<![\w.]){re.escape(name)}(?!\w)")
    while source.is_made and source.parent is not None:
        called = source.role.startswith("in macro ")
        source, line, _ = source.parent
        if called and word.search(source.line(line)):
            place = (source, line, 1)
    return place


def sorted_mentions(unit: Unit) -> list[Mention]:
    """The statements of a module that may mention names, in the order in which its texts were read."""
    ranks = {id(source): rank for rank, source in enumerate(unit.module.read())}
    return sorted(mentions(unit), key=lambda one: (ranks.get(id(one[0]), len(ranks)), one[1]))


def mentions(unit: Unit) -> Iterator[Mention]:
    """The statements of a module that may mention names; what is left out of the program is left out here."""
    module = unit.module
    for section in module.sections:
        if section.number in unit.bases:
            for entry in section.entries:
                source, line, column = entry.place
                yield source, line, source.line(line)[column - 1 :], entry.scope
    for check in (*module.checks, *((module.start,) if module.start is not None else ())):
        if check.section in unit.bases:
            source, line, column = check.place
            yield source, line, source.line(line)[column - 1 :], check.scope
    scopes = Scopes(unit)
    labels = {key for section in module.sections for key in section.labels}
    for key, (source, line, column) in module.defined.items():
        label = LABEL.match(source.line(line), column - 1)
        if key not in labels and key not in module.variables and label is not None and not unit.is_left_out(key):
            yield source, line, source.line(line)[label.end() :].lstrip(), key.partition(".")[0] if "." in key else scopes.at(source, line)
    for source in module.read():
        for number, text in enumerate(source.lines, source.first):
            asking = ASKING.match(text)
            if asking is not None:
                yield source, number, text[asking.start(1) :], scopes.at(source, number)


class Scopes:
    """The plain labels of a module by source and line."""

    def __init__(self, unit: Unit) -> None:
        self.labels: dict[int, list[tuple[int, str]]] = {}
        for section in unit.module.sections:
            for key in section.labels:
                source, line, _ = unit.module.defined[key]
                if "." not in key:
                    self.labels.setdefault(id(source), []).append((line, key))
        for found in self.labels.values():
            found.sort()

    def at(self, source: Source, line: int) -> str:
        """The label that local names in a line belong to; empty where there is none before it in the same text."""
        found = self.labels.get(id(source), [])
        index = bisect_right(found, line, key=itemgetter(0))
        return found[index - 1][1] if index else ""


def names_in(body: str, target: Target) -> frozenset[str]:
    """The names in the operands of a statement; none where these are no expressions."""
    cut = CODE.match(body)
    try:
        statement = cut_statement(cut[0].rstrip() if cut else "")
        test = TEST.match(statement.operands) if statement.operation in ("IF", "ELSEIF") else None
        if test is not None:
            return frozenset((test[1],)) if test[1] else frozenset()
        maker = target.directives.get(statement.operation)
        if maker is not None and maker.delimited:
            return frozenset()
        if statement.operation == "CODED":
            words, _, rest = statement.operands.partition(":")
            return names_in(f"DB {words}", target) | names_in(rest.lstrip(), target)
        operands = parse_operands(translated(statement.operands, target.habits))
        return frozenset(name for node in operands.nodes for name in named(node))
    except (Fault, IndexError):
        return frozenset()


def named(node: Node) -> Iterator[str]:
    """Every name in an expression; `main.wait` is one."""
    if isinstance(node, Name):
        yield node.text
    elif isinstance(node, Dotted) and node.name:
        yield node.name
    else:
        for child in node.children:
            yield from named(child)
