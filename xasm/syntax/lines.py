"""A source line to label and statement text.

`[label[:]]  [operation  [operand, operand ...]]   [; comment]`. Only the cut is made here; what stands after the
operation is read by the grammar when somebody wants it, so that equal texts are read once.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import NamedTuple

from xasm.source.diagnostics import Fault
from xasm.source.files import Source

LONGEST_LINE = 65_536  # characters
LABEL = re.compile(r"\s*(\.?[A-Za-z_][A-Za-z0-9_]*)\s*(:(?!=))?")
OPERATION = re.compile(r":=|\.?[A-Za-z_][A-Za-z0-9_]*(?:,[A-Za-z][A-Za-z0-9]*)?")
# Everything up to a comment; texts and quoted numbers are stepped over whole.
CODE = re.compile(r"""(?:[^;"'A-Za-z_0-9]|[Hh]'[0-9A-Za-z_]*'|\w+'?|"(?:\\.|[^"\\])*"|'(?:[^']|'')*'|["'])*""")


class Line(NamedTuple):
    """One line: number (from 1), label as written without colon (or ""), its column, statement text without comment
    and outer blanks (or ""), its column. Columns count from 1. `fault` is set when the line cannot be cut."""

    number: int
    label: str
    label_column: int
    body: str
    column: int
    fault: Fault | None = None


class Statement(NamedTuple):
    """A statement text cut at its operation: the word as written, in capitals, and the operands' text with its
    offset in the statement text."""

    word: str
    operation: str
    operands: str
    offset: int


def cut_statement(body: str) -> Statement:
    """Cuts a statement text; raises Fault when it does not begin with a word."""
    match = OPERATION.match(body)
    if match is None:
        raise Fault("not_understood", 0, 1, "an instruction or a directive begins with a letter", found=body[0])
    word = match[0]
    rest = body[match.end() :]
    operands = rest.lstrip()
    return Statement(word, word.upper(), operands, len(body) - len(operands))


def read_lines(source: Source, is_operation: Callable[[str], bool]) -> Iterator[Line]:
    """The lines that hold anything. `is_operation` says of a word in capitals whether it is a mnemonic, directive or
    macro by now: such a word in column 1 is no label unless a colon follows."""
    for number, text in enumerate(source.lines, 1):
        if len(text) > LONGEST_LINE:
            yield Line(number, "", 1, "", 1, Fault("line_too_long", 0, 1, length=len(text), limit=LONGEST_LINE))
            continue
        if "'" in text or '"' in text:
            match = CODE.match(text)
            code = match[0].rstrip() if match else ""
        else:
            code = text.partition(";")[0].rstrip()
        if not code:
            continue
        label = ""
        label_column = 1
        begin = 0
        if code[0] not in " \t\f\v" or ":" in code:
            match = LABEL.match(code)
            if match is None:
                if code[0] not in " \t\f\v":
                    yield Line(number, "", 1, "", 1, Fault("label_not_name", 0, len(code.split()[0]), label=code.split()[0]))
                    continue
            elif match[2] or (match.start(1) == 0 and not is_operation(match[1].upper())):
                label = match[1]
                label_column = match.start(1) + 1
                begin = match.end()
                if begin < len(code) and not match[2] and code[match.end(1)] not in " \t\f\v:":
                    word = code.split()[0]
                    yield Line(number, "", 1, "", 1, Fault("label_not_name", 0, len(word), label=word))
                    continue
        body = code[begin:].lstrip()
        yield Line(number, label, label_column, body, len(code) - len(body) + 1)
