"""How a maker's manual writes what is not an instruction: names of data directives, and habits of notation.

A table states only the difference; the core knows none of these names. `directives:` maps a maker's name to one of ours,
`habits:` names ways of writing from a fixed list.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from xasm.source.diagnostics import Fault
from xasm.syntax.expressions import WORDS
from xasm.target.document import Listing, Mapping, Scalar, Value
from xasm.target.reading import KEYED, Reader, expect, text, truth, word

HABITS = {
    "here_star": "`*` where a value is expected is the address of the statement",
    "quote_char": "`'A` without a closing quote is the code of the character",
    "octal_at": "`@17` is an octal number",
    "remark_star": "a line that begins with `*` is a remark",
}
DIRECTIVE = {"is": True, "first": False, "order": False, "delimited": False}  # keys of a maker's directive, and whether they are needed
UNARY = ("NOT", "HIGH", "LOW")  # words in front of a value; the others stand between two
OPERATORS = (*WORDS, "OF")
NAME = re.compile(r"\.?[A-Z][A-Z0-9]*\Z|=\Z|\*=\Z")
# Marks that stand in for what a habit means; no source can hold them.
TEXT_MARK, OCTAL_MARK, CHARACTER_MARK = "\x02", "\x03", "\x04"
# What may stand behind a whole value: the end, or something that wants a value in front of it.
BEHIND = rf"(?=\s*(?:\Z|[-+*/%,)\]&|^<>=!?:]|(?:{'|'.join(word for word in OPERATORS if word not in UNARY)})\b))"
# Quotes on both sides make a text. Where the first could as well be in front of a single character, as in `'A,'B`, the text
# must be all there is between two commas.
CLOSED = rf"'(?:(?![^']{BEHIND})(?:[^']|'')*+'{BEHIND}|(?:[^']|'')*+'(?=\s*(?:\Z|,)))"
TOKEN = (  # compiled where a chip has habits: that takes longer than a small program
    rf"""(?i)(?P<text>{TEXT_MARK}[^{TEXT_MARK}]*{TEXT_MARK}|"(?:\\.|[^"\\])*"|{CLOSED})|(?P<quote_char>'[^']{BEHIND})"""
    rf"""|(?P<octal_at>@(?=[0-7]))|(?P<here_star>\*{BEHIND})|(?P<word>[\w.$]+)|(?P<closing>[)\]])|(?P<stray>['\"])|\S"""
)
PUT = {"quote_char": CHARACTER_MARK, "octal_at": OCTAL_MARK, "here_star": "$"}


class MakerDirective(NamedTuple):
    """A maker's directive: ours that it is, words put in front of its operands, the order of words in it where that is not
    the chip's, and whether its text may stand between any two equal characters (`/text/`)."""

    name: str
    first: str = ""
    order: str = ""
    delimited: bool = False


def read_directives(reader: Reader, value: Value) -> dict[str, MakerDirective]:
    """`directives: {FCB: DB, FCC: {is: DB, delimited: true}, SETDP: {is: ASSUME, first: "dp,"}}`."""
    found = {}
    mapping = expect(value, Mapping, "'directives'", KEYED)
    for name, item in mapping.items.items():
        place = mapping.keys[name].place
        if not NAME.match(name):
            raise Fault("table_directive_name", place=place, name=name)
        if isinstance(item, Scalar):
            found[name] = MakerDirective(text(item, name).upper())
            continue
        row = expect(item, Mapping, f"'{name}'", KEYED)
        reader.known(row, f"'{name}'", DIRECTIVE)
        items = row.items
        if "is" in items:
            found[name] = MakerDirective(
                text(items["is"], "is").upper(),
                text(items["first"], "first") if "first" in items else "",
                word(items["order"], "order", ("little", "big")) if "order" in items else "",
                truth(items["delimited"], "delimited") if "delimited" in items else False,
            )
    return found


def read_habits(value: Value) -> frozenset[str]:
    return frozenset(word(item, "habits", tuple(HABITS)) for item in expect(value, Listing, "'habits'", "a list of habits").items)


def translated(written: str, habits: frozenset[str]) -> str:
    """Operand text as the grammar reads it, character for character as long as it was written. What stands in a text stays
    as it is, and so do `*` and `@` behind a value, where they mean something else."""
    if not any(sign in written for sign in "'@*"):
        return written
    letters = list(written)
    behind_value = False
    for match in re.finditer(TOKEN, written):
        kind = match.lastgroup
        if kind in PUT:
            behind_value = kind in habits and (kind == "quote_char" or not behind_value)
            if behind_value:
                letters[match.start()] = PUT[kind]
        elif kind == "stray":
            break  # no habit of any maker: the rest is left to the grammar
        else:
            behind_value = kind in ("text", "closing") or (kind == "word" and match[0].upper() not in OPERATORS)
    return "".join(letters)


def delimited(written: str) -> str:
    """A text between two equal characters, as a text in quotes of the same length. Raises Fault."""
    opening = written[:1]
    end = written.find(opening, 1) if opening else -1
    if end < 0:
        raise Fault("open_text", 0, max(1, len(written)), quote=f"'{opening}'" if opening else "delimiter")
    rest = written[end + 1 :]
    if opening in "\"'" and rest.lstrip().startswith(","):
        return written  # a list, as DB takes it
    if rest.strip():
        raise Fault("not_understood", end + 1 + len(rest) - len(rest.lstrip()), len(written.rstrip()), found=rest.strip())
    return TEXT_MARK + written[1:end] + TEXT_MARK
