"""Expressions as plain lists, for files: [node, start, end, ...], where what follows is the node's own: a number, a text,
nodes below it. Spans stay, so that messages mark the same characters.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from xasm.syntax.expressions import (
    BINARY,
    DEEPEST,
    MOST_BITS,
    UNARY,
    Binary,
    Choose,
    Dotted,
    Group,
    Here,
    Name,
    Node,
    Number,
    Text,
    Unary,
)

LOGICAL = ("&&", "||")


def flat(node: Node) -> list[Any]:
    """A node that has a value, and all below it, as lists."""
    head = [type(node).__name__.lower(), node.start, node.end]
    below = [flat(child) for child in node.children]
    if isinstance(node, Number):
        return [*head, node.number]
    if isinstance(node, Name):
        return [*head, node.text]
    if isinstance(node, Text):
        return [*head, node.text, node.foreign]
    if isinstance(node, (Unary, Binary)):
        return [*head, node.sign, *below]
    if isinstance(node, Dotted):
        return [*head, node.part, *below]
    if isinstance(node, Group):
        return [*head, node.bracket, *below]
    return [*head, *below]


def node_of(plain: Any, level: int = 0) -> Node:
    """The node that `flat` made lists of. Raises ValueError for anything else."""
    if level > DEEPEST or not isinstance(plain, list) or len(plain) < 3:
        raise ValueError("an expression is not as it should be")
    name, start, end, *rest = plain
    if not (isinstance(start, int) and isinstance(end, int) and 0 <= start <= end) or not isinstance(name, str) or name not in MAKERS:
        raise ValueError("an expression is not as it should be")
    made = MAKERS[name](start, end, rest, lambda child: node_of(child, level + 1))
    if made is None:
        raise ValueError(f"a part '{name}' of an expression is not as it should be")
    return made


def _number(start: int, end: int, rest: list[Any], below: Callable[[Any], Node]) -> Node | None:
    fits = len(rest) == 1 and type(rest[0]) is int and rest[0].bit_length() <= MOST_BITS
    return Number(start, end, rest[0]) if fits else None


def _name(start: int, end: int, rest: list[Any], below: Callable[[Any], Node]) -> Node | None:
    return Name(start, end, rest[0]) if len(rest) == 1 and isinstance(rest[0], str) and rest[0] else None


def _text(start: int, end: int, rest: list[Any], below: Callable[[Any], Node]) -> Node | None:
    return Text(start, end, *rest) if len(rest) == 2 and all(isinstance(part, str) for part in rest) else None


def _here(start: int, end: int, rest: list[Any], below: Callable[[Any], Node]) -> Node | None:
    return None if rest else Here(start, end)


def _unary(start: int, end: int, rest: list[Any], below: Callable[[Any], Node]) -> Node | None:
    return Unary(start, end, rest[0], below(rest[1])) if len(rest) == 2 and rest[0] in UNARY else None


def _binary(start: int, end: int, rest: list[Any], below: Callable[[Any], Node]) -> Node | None:
    known = len(rest) == 3 and (rest[0] in BINARY or rest[0] in LOGICAL)
    return Binary(start, end, rest[0], below(rest[1]), below(rest[2])) if known else None


def _choose(start: int, end: int, rest: list[Any], below: Callable[[Any], Node]) -> Node | None:
    return Choose(start, end, *map(below, rest)) if len(rest) == 3 else None


def _dotted(start: int, end: int, rest: list[Any], below: Callable[[Any], Node]) -> Node | None:
    fits = len(rest) == 2 and isinstance(rest[0], str) and len(rest[0]) > 1 and rest[0][0] == "."
    return Dotted(start, end, below(rest[1]), rest[0]) if fits else None


def _group(start: int, end: int, rest: list[Any], below: Callable[[Any], Node]) -> Node | None:
    return Group(start, end, rest[0], tuple(map(below, rest[1:]))) if rest and rest[0] in ("(", "[") else None


MAKERS: dict[str, Callable[[int, int, list[Any], Callable[[Any], Node]], Node | None]] = {
    "number": _number,
    "name": _name,
    "text": _text,
    "here": _here,
    "unary": _unary,
    "binary": _binary,
    "choose": _choose,
    "dotted": _dotted,
    "group": _group,
}
