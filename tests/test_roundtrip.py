"""What is read and written anew is read as the same: operands of every notation, and lines of every kind of statement."""

from __future__ import annotations

import random
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.trees import Writer, grow
from xasm.assembly.directives import DIRECTIVES
from xasm.source.diagnostics import Fault
from xasm.source.files import Source
from xasm.syntax.expressions import (
    After,
    Beside,
    Binary,
    Choose,
    Dotted,
    Group,
    Here,
    Name,
    Node,
    Nothing,
    Number,
    Repeated,
    Sign,
    Text,
    Unary,
)
from xasm.syntax.lines import cut_statement, read_lines
from xasm.syntax.parser import parse_operands

EXAMPLES = settings(max_examples=250, deadline=None, suppress_health_check=list(HealthCheck))
BRACKETS = {"(": ")", "[": "]"}
NAMES = ("a", "loop", "_x9", "H", "ORDER", "ofs", ".wait", "AF'", "Q0'", "first.wait", "P1.3", "0x20.7", "$.1", ".a.b")
PARTS = (
    *("value",) * 3, *("name",) * 2, "text", "nothing", "sign",
    "before", "after", "round", "square", "repeated", "dotted", "beside", "indexed",
)  # fmt: skip


class Printer:
    """Writes nodes as source text. Brackets are nodes, so that nothing need be known of precedence."""

    def operands(self, nodes: tuple[Node, ...]) -> str:
        return ", ".join(map(self.node, nodes))

    def node(self, node: Node) -> str:
        """The text of a node; raises KeyError for one of a new kind."""
        writers: dict[type[Node], Any] = {
            Number: lambda: str(node.number),
            Name: lambda: node.text,
            Here: lambda: "$",
            Text: lambda: self.text(node),
            Nothing: lambda: "",
            Sign: lambda: node.sign,
            Unary: lambda: f"{node.sign} {self.node(node.children[0])}",
            Binary: lambda: f"{self.node(node.children[0])} {node.sign} {self.node(node.children[1])}",
            Choose: lambda: "{} ? {} : {}".format(*map(self.node, node.children)),
            Group: lambda: self.group(node),
            Repeated: lambda: "{} OF {}".format(*map(self.node, node.children)),
            After: lambda: self.node(node.children[0]) + node.signs,
            Dotted: lambda: self.node(node.children[0]) + node.part,
            Beside: lambda: "{} {}".format(*map(self.node, node.children)),
        }
        return str(writers[type(node)]())

    def group(self, node: Any) -> str:
        return node.bracket + self.operands(node.children) + BRACKETS[node.bracket]

    def text(self, node: Any) -> str:
        """In double quotes; what has no ASCII code and is written as itself stays so."""
        written = ""
        for character in node.text:
            if character == node.foreign or ord(character) > 255:
                written += character
            else:
                plain = character.isascii() and character.isprintable() and character not in '"\\'
                written += character if plain else f"\\{ord(character):03o}"
        return f'"{written}"'


def form(node: Node) -> tuple[object, ...]:
    """All that makes up a node but where it stands."""
    slots = [slot for kind in type(node).__mro__ for slot in getattr(kind, "__slots__", ())]
    own = [getattr(node, slot) for slot in slots if slot not in ("start", "end", "depth", "children")]
    return (type(node), *own, *map(form, node.children))


def forms(text: str) -> list[tuple[object, ...]]:
    return [form(node) for node in parse_operands(text).nodes]


def operand(choice: random.Random, depth: int = 3) -> str:
    """The text of one operand, in any notation that there is."""
    part = choice.choice(PARTS if depth else PARTS[:6])
    if part == "value":
        return Writer(choice, 0.1).write(grow(choice, ("here", ".x", "Place", "$"), depth=3))
    if part == "name":
        return choice.choice(NAMES)
    if part == "text":
        return literal(choice)
    if part == "nothing":
        return choice.choice(("", " "))
    if part == "sign":
        return choice.choice("+-")
    if part == "dotted":
        return f"({operand(choice, 0)}).{choice.choice(('3', 'bit'))}"
    if part == "repeated":
        return f"{value(choice)} {choice.choice(('OF', 'of', 'Of'))} {value(choice)}"
    if part == "beside":
        return f"{choice.choice(('a', 'H', '.x'))} {choice.choice(('a b', '.wait', 'first.wait', '$', '$1F', '5+a', 'b 9'))}"
    inner = operand(choice, depth - 1)
    if part == "indexed":
        return f"{inner}{choice.choice(('', ' '))}({operand(choice, 0)})"
    if part == "before":
        return choice.choice(("#", "@", "*", "/", "<", ">", "#<", "- ", "LOW ", "not ")) + inner
    if part == "after":
        return inner + choice.choice(("+", "++", "-", " +"))
    items = ", ".join(operand(choice, depth - 1) for _ in range(choice.randrange(3)))
    return f"({items})" if part == "round" else f"[ {items}]"


def value(choice: random.Random) -> str:
    return choice.choice((literal(choice), choice.choice(NAMES), Writer(choice, 0.2).write(grow(choice, ("n",), depth=2))))


def literal(choice: random.Random) -> str:
    """A text in quotes, with all that may be in one."""
    if choice.random() < 0.5:
        return "'" + "".join(choice.choice(("a", "''", '"', ";", "\\", " ", "\xe4", "\u20ac")) for _ in range(choice.randrange(5))) + "'"
    pieces = ("a", "'", r"\"", ";", r"\\", r"\n", r"\x7", r"\xE4", r"\377", r"\0", "\xe4", "\u20ac", "9")
    return '"' + "".join(choice.choice(pieces) for _ in range(choice.randrange(5))) + '"'


@EXAMPLES
@given(st.randoms(use_true_random=False))
def test_operands(choice: random.Random) -> None:
    text = choice.choice((", ", ",", " ,\t")).join(operand(choice) for _ in range(choice.randrange(1, 4)))
    try:
        wanted = forms(text)
    except Fault:
        return
    printed = Printer().operands(parse_operands(text).nodes)
    assert forms(printed) == wanted, (text, printed)
    assert Printer().operands(parse_operands(printed).nodes) == printed


def test_most_of_the_operands_can_be_read_and_every_node_is_among_them() -> None:
    met: set[type[Node]] = set()
    read = 0
    for seed in range(1500):
        try:
            nodes = parse_operands(operand(random.Random(seed))).nodes
        except Fault:
            continue
        read += 1
        met |= {type(found) for node in nodes for found in node.walk()}
    assert read > 1000
    assert met == subclasses(Node)


def subclasses(kind: type[Node]) -> set[type[Node]]:
    return {found for one in kind.__subclasses__() for found in (one, *subclasses(one))}


class NoGroups(Printer):
    def group(self, node: Any) -> str:
        return self.operands(node.children)


class NoEscapes(Printer):
    def text(self, node: Any) -> str:
        return f"'{node.text}'"


@pytest.mark.parametrize("wrong", [NoGroups, NoEscapes])
def test_a_difference_is_noticed(wrong: type[Printer]) -> None:
    seen = 0
    for seed in range(500):
        text = operand(random.Random(seed))
        try:
            wanted = forms(text)
        except Fault:
            continue
        try:
            seen += forms(wrong().operands(parse_operands(text).nodes)) != wanted
        except Fault:
            seen += 1
    assert seen > 10


# lines

# Directives whose operands are no expressions, with operands that they may have.
WRITTEN = {
    "INCLUDE": ('"ports.inc"', "'a b'"),
    "EMBED": ('"dots.bin"', '"dots.bin", 1, 2'),
    "TARGET": ("chip-5", '"chip"'),
    "SECTION": ("", "tables", "tables, data"),
    "MACRO": ("", "a, b=1, more...", "INSTEAD a={1, 2}"),
    "LOCAL": ("a", "a, b"),
    "IF": ("DEFINED a", "NOT EMPTY", "SAME {a}, b", "a == {b}"),
    "ELSEIF": ("NOT DEFINED .x",),
    **dict.fromkeys(("ELSE", "ENDIF", "ENDM", "ENDFIT", "LEAVE"), ("",)),
}
LABELS = {
    "address": ("", "a: ", "a ", "  .x:", "_9 : "),
    "name": ("a: ", "a ", ".b "),
    "own": ("a: ", "a "),
    "none": ("",),
    "block": ("",),
}
INSTRUCTIONS = ("put", "PUT,Q", "Move", "x9", ".word")


def is_operation(word: str) -> bool:
    return word in DIRECTIVES or word in [name.upper() for name in INSTRUCTIONS]


Statement = tuple[str, str, list[tuple[object, ...]] | str]


def statement(text: str) -> Statement:
    """Label, operation and operands of a line that holds all of them or the last two."""
    (line,) = read_lines(Source("", text), is_operation)
    assert line.fault is None
    cut = cut_statement(line.body)
    return line.label, cut.operation, cut.operands if cut.operation in WRITTEN else forms(cut.operands)


def printed(text: str, choice: random.Random) -> str:
    """A line written anew."""
    (line,) = read_lines(Source("", text), is_operation)
    cut = cut_statement(line.body)
    operands = cut.operands if cut.operation in WRITTEN else Printer().operands(parse_operands(cut.operands).nodes)
    label = f"{line.label}{choice.choice((': ', ' '))}" if line.label else " "
    blank = "" if cut.operation[-1] == "," else choice.choice((" ", "  ", "\t"))
    return f"{label}{cut.operation}{blank}{operands}{choice.choice(('', ' ', ' ;', ' ; it is'))}"


@EXAMPLES
@given(st.randoms(use_true_random=False), st.sampled_from([*DIRECTIVES, *INSTRUCTIONS]))
def test_lines(choice: random.Random, operation: str) -> None:
    label = choice.choice(LABELS[DIRECTIVES[operation].label] if operation in DIRECTIVES else LABELS["address"])
    operands = choice.choice(WRITTEN[operation]) if operation in WRITTEN else ",".join(operand(choice) for _ in range(choice.randrange(3)))
    text = f"{label or ' '}{choice.choice((operation, operation.lower()))} {operands}"
    try:
        wanted = statement(text)
    except Fault:
        return
    name, comma, _ = operation.upper().partition(",")
    assert wanted[:2] == (label.strip(": "), name + comma)
    assert statement(printed(text, choice)) == wanted, text


def test_every_directive_is_written() -> None:
    assert len(DIRECTIVES) > 20
    assert WRITTEN.keys() <= DIRECTIVES.keys()
    assert {directive.label for directive in DIRECTIVES.values()} <= LABELS.keys()
