"""A source line to label and statement text.

`[label[:]]  [operation  [operand, operand ...]]   [; comment]`. Only the cut is made here; what stands after the
operation is read by the grammar when somebody wants it, so that equal texts are read once.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import NamedTuple

from xasm.source.diagnostics import MARK, Fault
from xasm.source.files import Source
from xasm.syntax.expressions import NAME_LETTERS, WORDS

LONGEST_LINE = 65_536  # characters
LABEL = re.compile(rf"\s*(\.?[A-Za-z_][A-Za-z0-9_]*(?:{MARK}[0-9]+)?)\s*(:(?!=))?")
OPERATION = re.compile(r":=|\*?\s*=(?!=)|\.?[A-Za-z_][A-Za-z0-9_]*(?:,[A-Za-z0-9_]+)?")
MACRO = re.compile(r"\s+MACRO(?=\s|;|\Z)", re.IGNORECASE)
OPERATORS = "|".join([*WORDS, "OF"])
JOINED = r"\.?[A-Za-z_][A-Za-z0-9_]*,(?=[A-Za-z0-9_])"
# A statement up to a comment; texts and quoted numbers are stepped over whole. A quote right behind a word belongs to the
# word, as in the name of a second register set, but not behind the operation or an operator. Behind one `"` that nothing
# closes none is closed, so that no second one is tried: the cut takes time in step with the line.
PLAIN = rf"""[^;"'A-Za-z_0-9]|(?i:{OPERATORS})(?=')|[Hh]'[0-9A-Za-z_]*'|\w+'?|'(?:[^']|'')*'|'"""
CODE = re.compile(rf"""(?:{JOINED}|{OPERATION.pattern})?(?:{PLAIN}|"(?:\\.|[^"\\])*+")*(?:"(?:{PLAIN}|")*)?""")


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
    offset in the statement text. In `LOAD,A 5` the operation is `LOAD,` (so that it differs from a plain `LOAD`), the word
    has no comma, and the operands are `A,5`."""

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
    if rest[:1].isalnum() and not rest[0].isascii():
        raise Fault("not_understood", match.end(), match.end() + 1, NAME_LETTERS, found=rest[0])
    name, comma, first = word.partition(",")
    if comma:
        # a comma in place of the blank between them, so that everything keeps its place
        operands = f"{first},{rest[1:]}" if rest[:1].isspace() and rest.strip() else first + rest
        return Statement(name, f"{name.upper()},", operands, len(name) + 1)
    operands = rest.lstrip()
    return Statement(word, "".join(word.upper().split()), operands, len(body) - len(operands))


def read_lines(source: Source, is_operation: Callable[[str], bool], is_remark: Callable[[str], bool] = str.isspace) -> Iterator[Line]:
    """The lines that hold anything. `is_operation` says of a word in capitals whether it is a mnemonic, directive or
    macro by now: such a word in column 1 is no label unless a colon follows. `is_remark` says it of a first character."""
    for number, text in enumerate(source.lines, source.first):
        if len(text) > LONGEST_LINE:
            yield Line(number, "", 1, "", 1, Fault("line_too_long", 0, 1, length=len(text), limit=LONGEST_LINE))
            continue
        quoted = "'" in text or '"' in text
        code = text.rstrip() if quoted else text.partition(";")[0].rstrip()
        if not code:
            continue
        label = ""
        label_column = 1
        begin = 0
        indented = code[0].isspace()
        if not indented and is_remark(code[0]):
            continue
        if not indented or ":" in code:
            match = LABEL.match(code)
            if match is None:
                if not indented and code[0] != ";" and not OPERATION.match(code):
                    yield Line(number, "", 1, "", 1, no_label(code))
                    continue
            elif match[2] or (match.start(1) == 0 and not starts_operation(code, match[1], is_operation)):
                label = match[1]
                label_column = match.start(1) + 1
                begin = match.end()
                if begin < len(code) and not match[2] and not code[match.end(1)].isspace() and code[match.end(1)] not in ":;=":
                    yield Line(number, "", 1, "", 1, no_label(code))
                    continue
        body = code[begin:].lstrip()
        column = len(code) - len(body) + 1
        if quoted:
            match = CODE.match(body)
            body = match[0].rstrip() if match else ""
        if body or label:
            yield Line(number, label, label_column, body, column)


def starts_operation(code: str, word: str, is_operation: Callable[[str], bool]) -> bool:
    """Whether a line that begins with `word` begins with an operation; one may have a comma in it. In front of MACRO any
    word is the name that is being defined."""
    if MACRO.match(code, len(word)):
        return False
    if is_operation(word.upper()):
        return True
    match = OPERATION.match(code)
    return match is not None and match.end() > len(word) and is_operation(match[0].partition(",")[0].upper() + ",")


def no_label(code: str) -> Fault:
    """The fault of a line that begins with what is neither a label nor an operation."""
    word = code.partition(";")[0].split()[0]
    hint = None if word[0].isalnum() or word[0] in "._" else "a remark begins with ';'"
    return Fault("label_not_name", 0, len(word), hint, label=word)
