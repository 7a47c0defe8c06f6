"""The shape of an operand list: what is literal in it and where its expressions are.

`LD A,(IX-5)` and `LD A,(IX+count)` have the same shape `A,(IX+{})`; so have all forms of a table that could encode
them. Form and statement are compared by shape, so the choice of forms is one look-up in a dictionary.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from typing import NamedTuple

from xasm.syntax.expressions import UNARY, After, Beside, Binary, Choose, Dotted, Group, Name, Node, Nothing, Sign, Unary

EXPRESSION = "{}"
PREFIXED = re.compile(r"(?:[^\w()\[\]{}]+|[\w ]+ )\{\}")  # an expression behind a sign or a word: #{}
SELECTORS = frozenset("<>")  # HIGH and LOW as signs; some makers use them to select a form


class Notation(NamedTuple):
    """What a table makes literal: its reserved words (in capitals), the signs that its forms put before an expression,
    whether parentheses round a whole operand mean something other than grouping, and whether two things may stand side by
    side."""

    reserved: Collection[str]
    signs: frozenset[str]
    parentheses: bool
    beside: bool


def shape(operands: tuple[Node, ...], notation: Notation, fields: Collection[str] = ()) -> tuple[str, list[Node]]:
    """The shape of an operand list and its expressions in order. `fields` are the names that count as expressions when a
    form is read."""
    texts = []
    leaves: list[Node] = []
    for operand in operands:
        text, inner = _shape(operand, notation, fields)
        texts.append(text)
        leaves += inner
    return ",".join(texts), leaves


def _shape(node: Node, notation: Notation, fields: Collection[str]) -> tuple[str, list[Node]]:
    if isinstance(node, Name):
        upper = node.text.upper()
        if upper in notation.reserved and node.text not in fields:
            return upper, []
        return EXPRESSION, [node]
    if isinstance(node, Unary):
        text, leaves = _shape(node.children[0], notation, fields)
        if text == f"({EXPRESSION})":  # behind a sign parentheses only group
            text = EXPRESSION
        if text == EXPRESSION and node.sign in UNARY and node.sign not in notation.signs:
            return EXPRESSION, [node]
        return node.sign + text, leaves
    if isinstance(node, Binary):
        return _sum(node, notation, fields)
    if isinstance(node, Choose):
        condition, yes, no = node.children
        text, leaves = _shape(condition, notation, fields)
        return (text, [Choose(leaves[0].start, node.end, leaves[0], yes, no)]) if PREFIXED.fullmatch(text) else (EXPRESSION, [node])
    if isinstance(node, Group):
        text, leaves = shape(node.children, notation, fields)
        if node.bracket == "(":
            if text == EXPRESSION and not notation.parentheses:
                return EXPRESSION, [node]
            return f"({text})", leaves
        return f"[{text}]", leaves
    if isinstance(node, After):
        text, leaves = _shape(node.children[0], notation, fields)
        return text + node.signs, leaves
    if isinstance(node, Beside):
        left, right = node.children
        text, leaves = _shape(left, notation, fields)
        if isinstance(right, Group):
            after, more = shape(right.children, notation, fields)
            text = EXPRESSION if text == f"({EXPRESSION})" else text  # in front of a pointer parentheses only group
            return f"{text}({after})", leaves + more
        after, more = _shape(right, notation, fields)
        return f"{text} {after}", leaves + more
    if isinstance(node, Dotted):
        text, leaves = _shape(node.children[0], notation, fields)
        return (EXPRESSION, [node]) if text == EXPRESSION else (text + node.part.upper(), leaves)
    if isinstance(node, Sign):
        return node.sign, []
    if isinstance(node, Nothing):
        return "", []
    return EXPRESSION, [node]


def _sum(node: Binary, notation: Notation, fields: Collection[str]) -> tuple[str, list[Node]]:
    """An operator between two parts. A register plus or minus something keeps the register apart: IX-5 is IX+(-5)."""
    left, right = node.children
    before, leaves = _shape(left, notation, fields)
    after, more = _shape(right, notation, fields)
    if before.strip("()") == EXPRESSION and after.strip("()") == EXPRESSION:
        return EXPRESSION, [node]
    if after.strip("()") == EXPRESSION and PREFIXED.fullmatch(before):
        # a sign in front of an operand belongs to all of it: #5+1 is #(5+1)
        return before, [Binary(leaves[0].start, right.end, node.sign, leaves[0], right)]
    if after == EXPRESSION and node.sign in "+-":
        if before.endswith("+" + EXPRESSION):
            last = leaves[-1]
            return before, [*leaves[:-1], Binary(last.start, right.end, node.sign, last, right)]
        term = right if node.sign == "+" else Unary(right.start, right.end, "-", right)
        return f"{before}+{EXPRESSION}", [*leaves, term]
    return before + node.sign + after, leaves + more
