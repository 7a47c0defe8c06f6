"""The grammar file and the line cutter say the same: a program read line by line is the program read as one text."""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from functools import cache
from typing import Any

import lark
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.trees import Writer, grow
from xasm.source.diagnostics import Fault
from xasm.source.files import Source
from xasm.syntax import lines
from xasm.syntax.expressions import Node, Nothing
from xasm.syntax.parser import Builder, grammar, parse_operands

EXAMPLES = settings(max_examples=200, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
Row = tuple[int, str, int, str, tuple[Any, ...]]  # line, label, its column, operation, operands


def structure(node: Node, text: str) -> tuple[Any, ...]:
    """What a node is and the text that it stands for, with all below it."""
    own = [getattr(node, name) for kind in type(node).__mro__ for name in getattr(kind, "__slots__", ()) if name not in UNCOMPARED]
    written = "" if isinstance(node, Nothing) else text[node.start : node.end]
    return (type(node).__name__, *own, written, *(structure(child, text) for child in node.children))


UNCOMPARED = ("depth", "end", "start", "children")


# one text


@lark.v_args(inline=True)
class Whole(Builder):
    """Builds the rows of a program; operands as the product builds them."""

    def label(self, word: lark.Token, *_colon: lark.Token) -> tuple[str, int]:
        return str(word), word.column or 0

    def statement(self, word: lark.Token, *rest: Any) -> tuple[str, lark.Token | None, tuple[Node, ...]]:
        joined = "," if word.type == "JOINED" else ""
        return "".join(word.upper().split()) + joined, rest[0] if len(rest) > 1 else None, rest[-1]

    def line(self, *parts: Any) -> tuple[Any, ...]:
        return parts

    def program(self, *found: tuple[Any, ...]) -> list[tuple[Any, ...]]:
        return list(found)


@cache
def reader(text: str) -> lark.Lark:
    """The grammar's `program` rule."""
    return lark.Lark(text, parser="lalr", start=["program"], maybe_placeholders=False, transformer=Whole())


def at_once(program: str, text: str) -> list[Row]:
    """The rows of a program read with a grammar; raises Fault or lark's errors."""
    rows = []
    found: Any = reader(text).parse(program, start="program")
    for number, parts in enumerate(found, 1):
        label, column, word, operands = "", 1, "", []
        for part in parts:
            if len(part) == 2:
                label, column = part
                continue
            word, first, nodes = part
            if first is not None:
                operands += [structure(node, first[1:]) for node in parse_operands(first[1:]).nodes]
            operands += [structure(node, program) for node in nodes]
        if label or word:
            rows.append((number, label, column, word, tuple(operands)))
    return rows


# line by line


def by_lines(program: str, is_operation: Callable[[str], bool] = lambda word: False) -> list[Row]:
    """The rows of a program as the product reads them; raises Fault."""
    rows = []
    for line in lines.read_lines(Source("program", program), is_operation):
        if line.fault is not None:
            raise line.fault
        word, operands = "", ()
        if line.body:
            statement = lines.cut_statement(line.body)
            word = statement.operation
            operands = tuple(structure(node, statement.operands) for node in parse_operands(statement.operands).nodes)
        assert program.split("\n")[line.number - 1][line.column - 1 :].startswith(line.body)
        rows.append((line.number, line.label, line.label_column, word, operands))
    return rows


def differs(program: str, text: str) -> bool:
    """Whether the two readings of a program differ, or only one of them refuses it."""
    try:
        wanted: list[Row] | None = by_lines(program)
    except Fault:
        wanted = None
    try:
        found: list[Row] | None = at_once(program, text)
    except (Fault, lark.UnexpectedInput):
        found = None
    return wanted != found


# programs

NAMES = ("a", "loop", "_b9", ".wait", "X", "H", "ANDY", "low_", "Hex", "b1010", "SHLx", "B")
OPERATIONS = ("put", "PUT,Q", "b,r9", ".n,5", "DB", "x", "H", "NOTE", ".m", "Ah", "LOW", "and")
REGISTERS = ("X", "sp", "AF'", "H'", "B", "Q0'")
ASSIGNS = (":=", ":=", "=", "*=", "* =")
COMMENTS = ("", ";", "; it's", ';"', "; 'a;b' \"c", ";:=", "; label: put 5", ";;''")
BLANKS = ("", "", " ", "  ", "\t", " \t", "\f", "\v ", "\xa0", "\u2003")


def operand(choice: random.Random) -> str:
    """An operand as some maker might print it."""
    pick = choice.randrange(19)
    inner = blank(choice) + operand(choice) + blank(choice) if pick > 9 else ""
    if pick < 6:
        return Writer(choice, 0.1).write(grow(choice, ("a", "main.wait", ".wait", "$", "ANDY"), 2))
    if pick < 8:
        return choice.choice(REGISTERS)
    if pick == 8:
        return choice.choice(("'it''s; \"'", '"a;b\\"c\'"', "''", '""', "';'", '"\\x41;"'))
    if pick == 16:
        return f"{blank(choice)}$5 {choice.choice(('OF', 'of'))}{choice.choice((' 2', chr(39) + ';' + chr(39), '(x)', '%1', ' ' + inner))}"
    if pick == 17:
        return f"{choice.choice(REGISTERS)} {choice.choice(('.wait', 'x B', '$1F', '12', 'main.wait', '$', 'X+1'))}"
    if pick == 18:
        return f"{inner}{blank(choice)}({inner})"
    if pick == 9:
        return choice.choice("+-") if choice.random() < 0.5 else ""
    if pick == 10:
        return choice.choice("#@*/<>") + inner
    if pick == 11:
        return choice.choice(REGISTERS) + choice.choice(("+", "++", "-", ".3", ".b", "+5", "-$1F"))
    if pick == 12:
        return f"{choice.choice(REGISTERS)}.{choice.choice(('0', 'x', '7f'))}"
    if pick == 13:
        return f"[{inner}]"
    if pick == 14:
        return f"({inner},{operand(choice)})"
    return f"({inner})"


def blank(choice: random.Random, least: str = "") -> str:
    return choice.choice(BLANKS) or least


def statement(choice: random.Random) -> str:
    word = choice.choice(OPERATIONS)
    operands = ",".join(blank(choice) + operand(choice) + blank(choice) for _ in range(choice.choice((0, 1, 1, 2, 3))))
    glued = operands[:1] in tuple("#@*/<>[(\"'$%+-~!")  # what needs no blank behind the operation
    return word + (blank(choice) if glued else blank(choice, " ")) + operands


def line(choice: random.Random) -> str:
    """A line that can be read, but for a sign or a comma now and then, whatever the operations mean."""
    name = choice.choice(NAMES)
    body = statement(choice) if choice.random() < 0.8 else ""
    pick = choice.randrange(6)
    if pick == 0:
        text = blank(choice, " ") + body
    elif pick == 1:
        text = name + blank(choice, " ") + body
    elif pick == 2:
        text = blank(choice) + name + blank(choice) + ":" + blank(choice) + body
    elif pick == 3:
        text = f"{name}{blank(choice)}{choice.choice(ASSIGNS)}{blank(choice)}{operand(choice)}"
    elif pick == 4:
        text = f"{blank(choice)}{name}{blank(choice)}:{blank(choice, ' ')}{choice.choice(ASSIGNS)}{blank(choice)}{operand(choice)}"
    else:
        text = ""
    return text + blank(choice, " ") * (not text) + choice.choice(COMMENTS)


@EXAMPLES
@given(st.randoms(use_true_random=False))
def test_both_readings_of_a_program_agree(choice: random.Random) -> None:
    program = "\n".join(line(choice) for _ in range(choice.randrange(1, 6)))
    assert not differs(program, grammar()), program


SIGNS = tuple("()[],.:#@+-*/%&|^~!<>=?$;'\"")
SOUP = (
    *ASSIGNS,
    *NAMES,
    *OPERATIONS,
    *REGISTERS,
    *COMMENTS,
    *SIGNS,
    "<<",
    "'a'",
    '"b;"',
    "H'1F'",
    "low'",
    "OF",
    "0FFH",
    "%10",
    "5",
    "\xe4",
)


@EXAMPLES
@given(st.randoms(use_true_random=False))
def test_both_readings_refuse_the_same_lines(choice: random.Random) -> None:
    start = choice.choice((" ", "\t", "\xa0", "a ", "a:", ".w :", "a;"))  # what is in column 1 else depends on the chip
    text = start + "".join(blank(choice) + choice.choice(SOUP) for _ in range(choice.randrange(1, 9)))
    assert not differs(text, grammar()), text


TRICKY = [
    " DB';' ; it's",
    'a DB"a;b"',
    " PUT,AF' ; it's",
    " PUT,AF'",
    " put LOW';'",
    "a put 5 AND';' ; it's",
    " put 2 OF';'",
    " x,H'1F' 5",
    " x,5 ,6",
]


def test_what_is_easily_cut_wrong() -> None:
    for program in TRICKY:
        assert not differs(program, grammar()), program
    assert ";" in by_lines(TRICKY[0])[0][4][0]


@cache
def programs() -> list[str]:
    """Programs, the same in every run."""
    choice = random.Random(1)
    return ["\n".join(line(choice) for _ in range(4)) for _ in range(1500)] + TRICKY


def test_the_programs_have_everything_and_most_can_be_read() -> None:
    kinds: set[str] = set()
    readable = 0
    labels = set()
    for program in programs()[:500]:
        try:
            rows = by_lines(program)
        except Fault:
            continue
        readable += 1
        for _, label, column, word, operands in rows:
            labels.add((bool(label), column > 1, bool(word), word == ":="))
            todo = list(operands)
            while todo:
                one = todo.pop()
                kinds.add(one[0])
                todo += [part for part in one if isinstance(part, tuple)]
    assert readable > 300
    assert kinds == set("Number Name Here Text Nothing Sign Unary Binary Choose Group Repeated After Dotted Beside".split())
    assert len(labels) == 7  # with and without label, indented or not, alone or not, with :=


DRIFTS = (
    ("label: LABEL [COLON] | INDENTED COLON", "label: LABEL [COLON]"),
    ("label: LABEL [COLON] | INDENTED COLON", "label: LABEL COLON | INDENTED COLON"),
    ("(?=,[A-Za-z0-9_])/", "(?=,[A-Za-z])/"),
    ("FIRST.3: /,[A-Za-z0-9_]+(?=[^\\S\\n]+[^\\s;])/", "FIRST.3: /,[A-Za-z0-9_]+(?=[^\\S\\n]+[^\\s;B])/"),
    ("INDENTED.8: /\\.?", "INDENTED.8: /"),
    ("COMMENT: /;[^\\n]*/", "COMMENT: /;[^'\\n]*/"),
    ("BLANK: /[^\\S\\n]+/", "BLANK: /[ \\t\\f\\v]+/"),
    ("ASSIGN.2: /:=|", "ASSIGN.2: /"),
    ("(?=\\s|[:;=]|$)/", "(?=\\s|[:;]|$)/"),
    ("sum: product", "sum: unary"),
    ("BLANK_LOCAL.3: /(?<=[^\\S\\n])", "BLANK_LOCAL.3: /"),
    ("|'(?:[^'\\n]|'')*'/", "|'[^'\\n]*'/"),
    ("PRIMED.3: /[A-Za-z_]", "PRIMED.3: /[B-Za-z_]"),
    ("DOTTED: /\\.[A-Za-z0-9_]+/", "DOTTED: /\\.[A-Za-z0-9_]/"),
)


@pytest.mark.parametrize(("old", "new"), DRIFTS)
def test_a_grammar_that_drifts_is_noticed(old: str, new: str) -> None:
    drifted = grammar().replace(old, new)
    assert drifted != grammar()
    assert any(differs(program, drifted) for program in programs())


@pytest.mark.parametrize(
    ("name", "pattern"),
    [
        ("LABEL", r"\s*([A-Za-z_][A-Za-z0-9_]*)\s*(:(?!=))?"),
        ("LABEL", r"\s*(\.?[A-Za-z_][A-Za-z0-9_]*)\s*(:)?"),
        ("OPERATION", r":=|\.?[A-Za-z_][A-Za-z0-9_]*"),
        ("CODE", r"[^;]*"),
        ("CODE", lines.CODE.pattern.replace(r"\w+'?", r"\w+")),
        ("CODE", lines.CODE.pattern.replace(lines.OPERATION.pattern, "")),
    ],
)
def test_a_line_cutter_that_drifts_is_noticed(name: str, pattern: str, monkeypatch: pytest.MonkeyPatch) -> None:
    assert getattr(lines, name).pattern != pattern
    monkeypatch.setattr(lines, name, re.compile(pattern))
    assert any(differs(program, grammar()) for program in programs())


def test_an_operation_in_column_1_is_read_as_one_with_a_blank_in_front() -> None:
    """The grammar knows no operation, so it reads the line with a blank."""
    known = {word.upper().partition(",")[0] + "," * ("," in word) for word in OPERATIONS}
    choice = random.Random(2)
    read = 0
    for _ in range(600):
        body = statement(choice) + choice.choice(COMMENTS)
        if not differs(" " + body, grammar()) and "label" not in body:
            try:
                wanted = at_once(" " + body, grammar())
            except (Fault, lark.UnexpectedInput):
                continue
            assert by_lines(body, known.__contains__) == wanted, body
            read += 1
    assert read > 400
