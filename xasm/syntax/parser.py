"""Operand text to nodes, through the grammar; what was read once is not read twice."""

from __future__ import annotations

import re
from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple

import lark

from xasm.source.cache import recall, remember
from xasm.source.diagnostics import Fault
from xasm.syntax import literals
from xasm.syntax.expressions import (
    NAME_LETTERS,
    WORDS,
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

COMMA_MISSING = "is a comma missing in front of it?"  # a hint
CLOSING = {"RPAR": "')'", "RSQB": "']'"}


class Operands(NamedTuple):
    """What stands after an operation: the nodes, one for each operand, and the names in them.

    `names` holds every symbol or word as written. `fixed` is true when nothing in them waits for an address or a
    symbol. `beside` is the first of two things side by side, which only some chips' notation has.
    """

    nodes: tuple[Node, ...]
    names: frozenset[str]
    fixed: bool
    beside: Beside | None = None


def plain(nodes: tuple[Node, ...]) -> Operands:
    """Operands of nodes."""
    names = set()
    fixed = True
    beside = None
    for operand in nodes:
        for node in operand.walk():
            kind = type(node)
            if kind is Name:
                names.add(node.text)  # type: ignore[attr-defined]
            elif kind is Dotted:
                fixed = False
                names.add(node.name)  # type: ignore[attr-defined]
            elif kind is Here:
                fixed = False
            elif kind is Beside and beside is None:
                beside = node
    return Operands(nodes, frozenset(names), fixed and not names, beside)  # type: ignore[arg-type]


def not_beside(found: Beside, text: str) -> Fault:
    """What is said of two things side by side in a text, where no notation has them."""
    right = found.children[1]
    match = re.compile(r"[\w.$]+|.").match(text, right.start)
    assert match is not None
    missing = None if isinstance(right, Group) else COMMA_MISSING
    return Fault("not_understood", right.start, match.end(), missing, found=match[0])


@lark.v_args(inline=True)
class Builder(lark.Transformer[Any, Any]):
    """Builds nodes while the parser runs, from the leaves up, so that no depth of nesting can hurt."""

    def operands(self, *nodes: Node) -> tuple[Node, ...]:
        if len(nodes) == 1 and type(nodes[0]) is Nothing:
            return ()
        end = -1
        for index, node in enumerate(nodes):
            if type(node) is Nothing:  # no text of its own: it stands where the operand before it ends
                node.start = max(0, nodes[index + 1].start - 1) if end < 0 else end
                node.end = node.start + 1
            end = node.end
        return nodes

    def nothing(self) -> Node:
        return Nothing(0, 0)

    def sign(self, token: lark.Token) -> Node:
        return Sign(token.start_pos or 0, token.end_pos or 0, str(token))

    def after(self, operand: Node, *signs: lark.Token) -> Node:
        return After(operand.start, signs[-1].end_pos or 0, operand, "".join(signs))

    def beside(self, word: lark.Token, right: Node) -> Node:
        return Beside(word.start_pos or 0, right.end, self.name(word), right)

    def indexed(self, value: Node, opening: lark.Token, items: tuple[Node, ...], closing: lark.Token) -> Node:
        return Beside(value.start, closing.end_pos or 0, value, self.round(opening, items, closing))

    def choose(self, condition: Node, _question: object, yes: Node, _colon: object, no: Node) -> Node:
        return Choose(condition.start, no.end, condition, yes, no)

    def binary(self, left: Node, token: lark.Token, right: Node) -> Node:
        return Binary(left.start, right.end, WORDS.get(token.upper(), str(token)), left, right)

    def repeated(self, count: Node, _of: object, value: Node) -> Node:
        return Repeated(count.start, value.end, count, value)

    def unary(self, token: lark.Token, operand: Node) -> Node:
        return Unary(token.start_pos or 0, operand.end, WORDS.get(token.upper(), str(token)), operand)

    def dotted(self, whole: Node, token: lark.Token) -> Node:
        return Dotted(whole.start, token.end_pos or 0, whole, str(token))

    def number(self, token: lark.Token) -> Node:
        start = token.start_pos or 0
        return Number(start, token.end_pos or 0, literals.number(token, start))

    def name(self, token: lark.Token) -> Node:
        return Name(token.start_pos or 0, token.end_pos or 0, str(token))

    def here(self, token: lark.Token) -> Node:
        return Here(token.start_pos or 0, token.end_pos or 0)

    def text(self, token: lark.Token) -> Node:
        start = token.start_pos or 0
        foreign = "" if token.isascii() else next(character for character in token if not character.isascii())
        return Text(start, token.end_pos or 0, literals.text(token, start), foreign)

    def round(self, opening: lark.Token, items: tuple[Node, ...], closing: lark.Token) -> Node:
        return Group(opening.start_pos or 0, closing.end_pos or 0, "(", items)

    def square(self, opening: lark.Token, items: tuple[Node, ...], closing: lark.Token) -> Node:
        return Group(opening.start_pos or 0, closing.end_pos or 0, "[", items)


def grammar() -> str:
    """The text of the grammar."""
    return Path(__file__).with_name("grammar.lark").read_text("utf-8")


def terminal(name: str) -> str:
    """The regular expression of a terminal of the grammar."""
    pattern: str = _parser().get_terminal(name).pattern.to_regexp()
    return pattern


@lru_cache(maxsize=1)
def _parser() -> lark.Lark:
    """The parser. Its tables take lark longer to compute than a small program takes to assemble, so they are remembered."""
    text = grammar()
    key = f"lark {lark.__version__}\n{text}"
    known = recall("grammar", key)
    if known is not None:
        try:
            data, memo = known
            states = data["parser"]["parser"]["states"]
            data["parser"]["parser"]["states"] = {int(state): actions for state, actions in states.items()}
            load: Any = lark.Lark._load_from_dict
            loaded: lark.Lark = load(data, {int(index): item for index, item in memo.items()}, transformer=Builder())
            return loaded
        except Exception:  # written by something else, and lark may stumble over it in any way: compute it again
            pass
    made = lark.Lark(text, parser="lalr", start=["operands"], maybe_placeholders=False, transformer=Builder())
    data, memo = made.memo_serialize([lark.lexer.TerminalDef, lark.grammar.Rule])
    data["options"]["transformer"] = None  # code is never remembered
    remember("grammar", key, [data, memo])
    return made


# The commonest operand of all, a name alone, needs no parser: a label that is used once would cost more than its line.
NAME_ALONE = re.compile(r"\.?[A-Za-z_][A-Za-z0-9_]*\Z")

_known: dict[str, Operands] = {}
MOST_KNOWN = 200_000  # texts remembered; enough for any program, and a bound on memory


def parse_operands(text: str) -> Operands:
    """Reads what stands after an operation, without the comment. Raises Fault with a span in `text`."""
    found = _known.get(text)
    if found is None:
        if NAME_ALONE.match(text) and text.upper() not in WORDS:
            return Operands((Name(0, len(text), text),), frozenset((text,)), False)
        try:
            found = plain(_parser().parse(text, start="operands"))  # type: ignore[arg-type]
        except lark.UnexpectedInput as error:
            raise _explained(error, text) from None
        if len(_known) >= MOST_KNOWN:
            _known.clear()
        _known[text] = found
    return found


def _explained(error: lark.UnexpectedInput, text: str) -> Fault:
    """What the parser stumbled over, in the reader's words."""
    start = error.pos_in_stream or 0
    if isinstance(error, lark.UnexpectedToken) and error.token.type == "$END":
        wanted = [CLOSING[name] for name in sorted(error.accepts or error.expected) if name in CLOSING]
        return Fault("ends_early", len(text), len(text) + 1, wanted=wanted[0] if wanted else "a value")
    if isinstance(error, lark.UnexpectedToken):
        found, end = str(error.token), start + len(error.token)
    else:
        found, end = text[start], start + 1
        if not found.isprintable():
            return Fault("not_understood", start, end, found=f"U+{ord(found):04X}")
        if found.isalnum():
            return Fault("not_understood", start, end, NAME_LETTERS, found=found)
    if found in "\"'":
        return Fault("open_text", start, len(text), quote=literals.QUOTES[found])
    if found == "=":
        return Fault("not_understood", start, end, "equality is written ==", found=found)
    before = text[:start].rstrip()
    missing = before[-1:].isalnum() and (found[0].isalnum() or found[0] in "$.\"'_")
    return Fault("not_understood", start, end, COMMA_MISSING if missing else None, found=found)
