"""What assembly hands to linking: pieces in order, and symbols that wait for addresses."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

from xasm.source.files import Place, Source
from xasm.syntax.expressions import Node
from xasm.target.model import Form, Target, Variant

# Pieces are shared: equal statements are one object, and where each stands is kept apart in an Entry.


class Words:
    """Words that are known. `words` are integers, `form` the instruction they are (None for data)."""

    __slots__ = ("form", "size", "words")

    def __init__(self, words: tuple[int, ...] | bytes, form: Form | None) -> None:
        self.words = words
        self.size = len(words)
        self.form = form


class Encoded:
    """A statement that waits for addresses: its possible variants, shortest first, and its expressions."""

    __slots__ = ("leaves", "size", "variants")

    def __init__(self, variants: tuple[Variant, ...], leaves: list[Node]) -> None:
        self.variants = variants
        self.leaves = leaves
        self.size = len(variants[0].words)


class Space:
    """`count` words left free, or filled when `fill` is given (DS). `size` is -1 where the count waits for addresses."""

    __slots__ = ("count", "fill", "size")

    def __init__(self, count: Node, fill: Node | None, size: int) -> None:
        self.count = count
        self.fill = fill
        self.size = size


class Alignment:
    """Free or filled words up to the next address that is a multiple of `step` (ALIGN)."""

    __slots__ = ("fill", "step")
    size = -1

    def __init__(self, step: Node, fill: Node | None) -> None:
        self.step = step
        self.fill = fill


class Origin:
    """What follows goes to `address` (ORG)."""

    __slots__ = ("address",)
    size = -1

    def __init__(self, address: int) -> None:
        self.address = address


Piece = Words | Encoded | Space | Alignment | Origin


class Entry(NamedTuple):
    """A piece where it stands in the source. `offset` is where its operands begin, in characters from the place's column;
    `scope` is the plain label before it, to which local names belong."""

    piece: Piece
    place: Place
    offset: int
    scope: str


class Equate(NamedTuple):
    """A name for an expression that is not known yet. `place` is that of the name; the statement begins at column `body`
    of its line and its operands `offset` characters further right. `position` is the index of the entry whose address is `$`."""

    node: Node
    place: Place
    body: int
    offset: int
    scope: str
    position: int


class Check(NamedTuple):
    """An ASSERT: `node` must not be 0 when all addresses are known."""

    node: Node
    why: str
    place: Place
    offset: int
    scope: str
    position: int


@dataclass
class Module:
    """One program, placed nowhere yet.

    `labels` maps a label to the index of the entry it stands before (or to the number of entries); `constants` maps
    names to known values, `equates` to expressions, `variables` names given by `:=` to their last value. `defined` says
    where each name was defined, in that order.
    `brought` maps (source, line) to the sources that the line brought in.
    """

    target: Target | None = None
    sources: list[Source] = field(default_factory=list)
    entries: list[Entry] = field(default_factory=list)
    labels: dict[str, int] = field(default_factory=dict)
    constants: dict[str, int] = field(default_factory=dict)
    equates: dict[str, Equate] = field(default_factory=dict)
    variables: dict[str, Node] = field(default_factory=dict)
    defined: dict[str, Place] = field(default_factory=dict)
    checks: list[Check] = field(default_factory=list)
    start: Equate | None = None
    brought: dict[tuple[Source, int], list[Source]] = field(default_factory=dict)
