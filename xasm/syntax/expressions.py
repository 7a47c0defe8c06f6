"""Nodes of expressions and operands, and what they are worth.

The parser builds trees of these for everything that stands after an operation. A node knows its span
(`start`, `end`: offsets in characters into the operand text) and its `depth`. `value(scope)` gives the exact
integer; notations that only a chip's table can read (`#x`, `[x]`, `x+`) have none and raise Fault.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any, Protocol

from xasm.source.diagnostics import Fault

MOST_BITS = 512  # of any value; exact integers need a bound somewhere
NAME_LETTERS = "the letters of names are A-Z, a-z and '_'"  # a hint
DEEPEST = 200  # levels of one expression


class Scope(Protocol):
    """Where names get their values from."""

    def symbol(self, name: str, node: Node) -> int:
        """The value of a symbol as written (`loop`, `.wait`, `main.wait`); raises Fault if it has none."""

    def here(self, node: Node) -> int:
        """The address of the statement."""

    def bit(self, byte: int, part: str, node: Node) -> int:
        """The address of a bit of a byte; `part` is its number as written, with the point. Raises Fault if it has none."""


class Node:
    """Common part of all nodes."""

    __slots__ = ("depth", "end", "start")
    depth: int
    start: int
    end: int
    children: tuple[Node, ...] = ()

    def __init__(self, start: int, end: int) -> None:
        self.start = start
        self.end = end
        self.depth = 1 + max((child.depth for child in self.children), default=0)
        if self.depth > DEEPEST:
            raise Fault("too_deep", start, start + 1, limit=DEEPEST)

    def value(self, scope: Scope) -> int:
        raise self.fault("no_value", what="this")

    def fault(self, code: str, hint: str | None = None, **values: Any) -> Fault:
        """A fault that marks this node."""
        return Fault(code, self.start, self.end, hint, **values)

    def renamed(self, names: Mapping[str, Node]) -> Node:
        """The same tree with the given names replaced."""
        return self

    def moved(self, start: int, end: int) -> Node:
        """The same leaf at another span; other nodes stay as they are."""
        return self

    def walk(self) -> Iterator[Node]:
        """This node and all below it."""
        yield self
        for child in self.children:
            yield from child.walk()


class Number(Node):
    __slots__ = ("number",)

    def __init__(self, start: int, end: int, number: int) -> None:
        self.start, self.end, self.depth = start, end, 1
        self.number = number

    def value(self, scope: Scope) -> int:
        return self.number

    def moved(self, start: int, end: int) -> Node:
        return Number(start, end, self.number)


class Name(Node):
    """A symbol or a word of the chip: `loop`, `.wait`, `HL`, `AF'`."""

    __slots__ = ("text",)

    def __init__(self, start: int, end: int, text: str) -> None:
        self.start, self.end, self.depth = start, end, 1
        self.text = text

    def value(self, scope: Scope) -> int:
        return scope.symbol(self.text, self)

    def renamed(self, names: Mapping[str, Node]) -> Node:
        found = names.get(self.text)
        return self if found is None else found.moved(self.start, self.end)

    def moved(self, start: int, end: int) -> Node:
        return Name(start, end, self.text)


class Here(Node):
    """`$`, the address of this statement."""

    __slots__ = ()

    def value(self, scope: Scope) -> int:
        return scope.here(self)


class Text(Node):
    """A text in quotes; `text` is what stands between them, escapes and doubled quotes resolved."""

    __slots__ = ("foreign", "text")

    def __init__(self, start: int, end: int, text: str, foreign: str = "") -> None:
        super().__init__(start, end)
        self.text = text
        self.foreign = foreign  # the first character that was written as itself and has no ASCII code

    def codes(self) -> list[int]:
        """The ASCII codes of the text, codes given as escapes as they are; raises Fault for any other character."""
        if self.foreign:
            raise self.fault("not_ascii", character=self.foreign)
        return [ord(character) for character in self.text]

    def value(self, scope: Scope) -> int:
        if len(self.text) != 1:
            raise self.fault("text_not_value", count=len(self.text))
        return self.codes()[0]


class Nothing(Node):
    """An operand left empty, as before the comma in `,X`."""

    __slots__ = ()

    def value(self, scope: Scope) -> int:
        raise self.fault("value_missing", where="here")


class Sign(Node):
    """A sign that stands alone, as the `+` of `*table,R1,+`."""

    __slots__ = ("sign",)

    def __init__(self, start: int, end: int, sign: str) -> None:
        super().__init__(start, end)
        self.sign = sign

    def value(self, scope: Scope) -> int:
        raise self.fault("value_missing", where=f"behind '{self.sign}'")


class Unary(Node):
    __slots__ = ("children", "sign")

    def __init__(self, start: int, end: int, sign: str, operand: Node) -> None:
        self.children = (operand,)
        self.sign = sign
        super().__init__(start, end)

    def value(self, scope: Scope) -> int:
        compute = UNARY.get(self.sign)
        if compute is None:
            raise Fault("not_understood", self.start, self.start + 1, found=self.sign)
        return compute(self.children[0].value(scope))

    def renamed(self, names: Mapping[str, Node]) -> Node:
        return Unary(self.start, self.end, self.sign, self.children[0].renamed(names))


class Binary(Node):
    __slots__ = ("children", "sign")

    def __init__(self, start: int, end: int, sign: str, left: Node, right: Node) -> None:
        self.children = (left, right)
        self.sign = sign
        super().__init__(start, end)

    def value(self, scope: Scope) -> int:
        left, right = self.children
        if self.sign == "&&":
            return int(left.value(scope) != 0 and right.value(scope) != 0)
        if self.sign == "||":
            return int(left.value(scope) != 0 or right.value(scope) != 0)
        a = left.value(scope)
        b = right.value(scope)
        if self.sign in "/%" and b == 0:
            raise right.fault("divide_by_zero")
        if self.sign in ("<<", ">>") and not 0 <= b <= MOST_BITS:
            raise right.fault("bad_shift", count=shown(b), limit=MOST_BITS)
        result = BINARY[self.sign](a, b)
        if result.bit_length() > MOST_BITS:
            raise self.fault("number_too_big", limit=MOST_BITS)
        return result

    def renamed(self, names: Mapping[str, Node]) -> Node:
        left, right = self.children
        return Binary(self.start, self.end, self.sign, left.renamed(names), right.renamed(names))


class Choose(Node):
    """`condition ? yes : no`; only the part that is taken is computed."""

    __slots__ = ("children",)

    def __init__(self, start: int, end: int, condition: Node, yes: Node, no: Node) -> None:
        self.children = (condition, yes, no)
        super().__init__(start, end)

    def value(self, scope: Scope) -> int:
        condition, yes, no = self.children
        return yes.value(scope) if condition.value(scope) else no.value(scope)

    def renamed(self, names: Mapping[str, Node]) -> Node:
        return Choose(self.start, self.end, *(child.renamed(names) for child in self.children))


class Group(Node):
    """Operands in brackets, `(x)`, `(x,Y)` or `[x]`; round ones around one expression are worth it."""

    __slots__ = ("bracket", "children")

    def __init__(self, start: int, end: int, bracket: str, items: tuple[Node, ...]) -> None:
        self.children = items
        self.bracket = bracket
        super().__init__(start, end)

    def value(self, scope: Scope) -> int:
        if self.bracket != "(" or len(self.children) != 1:
            raise self.fault("no_value", what=f"'{self.bracket}'")
        return self.children[0].value(scope)

    def renamed(self, names: Mapping[str, Node]) -> Node:
        return Group(self.start, self.end, self.bracket, tuple(child.renamed(names) for child in self.children))


class Repeated(Node):
    """`count OF value`, in data."""

    __slots__ = ("children",)

    def __init__(self, start: int, end: int, count: Node, value: Node) -> None:
        self.children = (count, value)
        super().__init__(start, end)

    def value(self, scope: Scope) -> int:
        raise self.fault("repeated_value")

    def renamed(self, names: Mapping[str, Node]) -> Node:
        return Repeated(self.start, self.end, *(child.renamed(names) for child in self.children))


class Beside(Node):
    """Two things side by side, which some makers write: a word and a value, `VIA table`, two words, `WIND BELL`, a value and
    a pointer in brackets, `5(X)`. Of three, the last two are one."""

    __slots__ = ("children",)

    def __init__(self, start: int, end: int, left: Node, right: Node) -> None:
        self.children = (left, right)
        super().__init__(start, end)

    def value(self, scope: Scope) -> int:
        right = self.children[1]
        raise Fault("not_understood", right.start, right.end, found="(" if isinstance(right, Group) else "this")

    def renamed(self, names: Mapping[str, Node]) -> Node:
        return Beside(self.start, self.end, *(child.renamed(names) for child in self.children))


class After(Node):
    """Signs behind an operand: `X+`, `X++`, `X-`."""

    __slots__ = ("children", "signs")

    def __init__(self, start: int, end: int, operand: Node, signs: str) -> None:
        self.children = (operand,)
        self.signs = signs
        super().__init__(start, end)

    def value(self, scope: Scope) -> int:
        raise Fault("value_missing", self.end - 1, self.end, where=f"behind '{self.signs[-1]}'")

    def renamed(self, names: Mapping[str, Node]) -> Node:
        return After(self.start, self.end, self.children[0].renamed(names), self.signs)


class Dotted(Node):
    """A part after a point: the bit in `P1.3`, the local label in `main.wait`."""

    __slots__ = ("children", "part")

    def __init__(self, start: int, end: int, whole: Node, part: str) -> None:
        self.children = (whole,)
        self.part = part
        super().__init__(start, end)

    @property
    def name(self) -> str:
        """The full name of a local label, `main.wait`; empty where this is none."""
        whole = self.children[0]
        return whole.text + self.part if isinstance(whole, Name) and not self.part[1].isdigit() else ""

    def value(self, scope: Scope) -> int:
        if self.name:
            return scope.symbol(self.name, self)
        if self.part[1].isdigit():
            return scope.bit(self.children[0].value(scope), self.part, self)
        raise self.fault("no_value", what=f"'{self.part}'")

    def renamed(self, names: Mapping[str, Node]) -> Node:
        if not self.name:
            return Dotted(self.start, self.end, self.children[0].renamed(names), self.part)
        found = names.get(self.name)
        return self if found is None else found.moved(self.start, self.end)


def divide(a: int, b: int) -> int:
    """Division as in C: towards zero."""
    quotient = abs(a) // abs(b)
    return quotient if (a < 0) == (b < 0) else -quotient


UNARY: dict[str, Callable[[int], int]] = {
    "+": lambda a: a,
    "-": lambda a: -a,
    "~": lambda a: ~a,
    "!": lambda a: int(a == 0),
    ">": lambda a: a >> 8 & 0xFF,  # HIGH: bits 8..15
    "<": lambda a: a & 0xFF,  # LOW: bits 0..7
}

BINARY: dict[str, Callable[[int, int], int]] = {
    "+": lambda a, b: a + b,
    "-": lambda a, b: a - b,
    "*": lambda a, b: a * b,
    "/": divide,
    "%": lambda a, b: a - b * divide(a, b),
    "<<": lambda a, b: a << b,
    ">>": lambda a, b: a >> b,
    "&": lambda a, b: a & b,
    "|": lambda a, b: a | b,
    "^": lambda a, b: a ^ b,
    "==": lambda a, b: int(a == b),
    "!=": lambda a, b: int(a != b),
    "<": lambda a, b: int(a < b),
    ">": lambda a, b: int(a > b),
    "<=": lambda a, b: int(a <= b),
    ">=": lambda a, b: int(a >= b),
}

WORDS = {"AND": "&", "OR": "|", "XOR": "^", "MOD": "%", "SHL": "<<", "SHR": ">>", "NOT": "~", "HIGH": ">", "LOW": "<"}


def shown(value: int) -> str:
    """A value as messages print it: decimal, from 10 on with the hexadecimal form, huge ones shortened."""
    if value.bit_length() > 64:
        return f"a number of {value.bit_length()} bits"
    if -10 < value < 10:
        return str(value)
    return f"{value} (0x{value:X})" if value > 0 else f"{value} (-0x{-value:X})"
