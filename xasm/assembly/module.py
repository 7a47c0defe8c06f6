"""What assembly hands to linking: pieces in order, section by section, and names that wait for addresses."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from xasm.source.files import Place, Source
from xasm.syntax.expressions import Node
from xasm.target.forms import Form, Variant
from xasm.target.model import Target

# Pieces are shared: equal statements are one object, and where each stands is kept apart in an Entry.


class Words:
    """Words that are known. `words` are integers, `form` the instruction they are (None for data)."""

    __slots__ = ("form", "size", "words")

    def __init__(self, words: tuple[int, ...] | bytes, form: Form | None) -> None:
        self.words = words
        self.size = len(words)
        self.form = form


class Instruction(NamedTuple):
    """What variants of an instruction are made from: its mnemonic, the shape of its operands (`target/shapes.py`), what was
    assumed about registers where that is not what the table does, and the words that its code must begin with (CODED)."""

    mnemonic: str
    shape: str
    assumed: tuple[tuple[str, int], ...] = ()
    begins: tuple[int, ...] = ()


class Data(NamedTuple):
    """What the one variant of data is made from: the bits of a value, the order of its words ("little", "big"; "packed":
    several values share a word, the first one highest), how many values there are."""

    bits: int
    order: str
    values: int


class Encoded:
    """A statement that waits for addresses: its possible variants, shortest first, its expressions, and what the variants
    are made from, so that a module can be written to a file."""

    __slots__ = ("leaves", "recipe", "size", "variants")

    def __init__(self, variants: tuple[Variant, ...], leaves: list[Node], recipe: Instruction | Data) -> None:
        self.variants = variants
        self.leaves = leaves
        self.recipe = recipe
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


class Stamp:
    """Words that are filled in when everything is linked (STAMP): the kind, its expressions, how many words."""

    __slots__ = ("kind", "nodes", "size")

    def __init__(self, kind: str, nodes: tuple[Node, ...], size: int) -> None:
        self.kind = kind
        self.nodes = nodes
        self.size = size


class Origin:
    """What follows goes to `address` (ORG)."""

    __slots__ = ("address",)
    size = -1

    def __init__(self, address: int) -> None:
        self.address = address


class SectionStart:
    """Section number `number` of a program begins here, in address space `space`."""

    __slots__ = ("number", "space")
    size = -1

    def __init__(self, number: int, space: str) -> None:
        self.number = number
        self.space = space


class FitStart:
    """A block that must lie in one page of `page` words begins (FIT). `count` entries follow up to its end. With `move` it
    goes to the next page where it would cross a border; `fill` is what the words then lost hold."""

    __slots__ = ("count", "fill", "move", "page")
    size = -1

    def __init__(self, page: int, move: bool, fill: Node | None) -> None:
        self.page = page
        self.move = move
        self.fill = fill
        self.count = 0


Piece = Words | Encoded | Stamp | Space | Alignment | Origin | SectionStart | FitStart


class Entry(NamedTuple):
    """A piece where it stands in the source. `offset` is where its operands begin, in characters from the place's column;
    `scope` is the plain label before it, to which local names belong."""

    piece: Piece
    place: Place
    offset: int
    scope: str


class Equate(NamedTuple):
    """A name for an expression that is not known yet. `place` is that of the name; the statement begins at column `body`
    of its line and its operands `offset` characters further right. `position` is the index of the entry whose address is
    `$`, in section number `section` of its module."""

    node: Node
    place: Place
    body: int
    offset: int
    scope: str
    position: int
    section: int


class Check(NamedTuple):
    """An ASSERT: `node` must not be 0 when all addresses are known."""

    node: Node
    why: str
    place: Place
    offset: int
    scope: str
    position: int
    section: int


class Section:
    """A part of a program that is placed as one: its name ("" for the one that a program begins with), the address space
    it lies in ("" for that of the program), where it was first named, its entries, and the index in them of each label."""

    __slots__ = ("entries", "labels", "name", "number", "place", "space")

    def __init__(self, name: str, space: str, number: int, place: Place | None) -> None:
        self.name = name
        self.space = space
        self.number = number
        self.place = place
        self.entries: list[Entry] = []
        self.labels: dict[str, int] = {}


class Module:
    """What one source file became, placed nowhere yet.

    Statements go to the present `section`. `constants` maps names to known values, `equates` to expressions, `variables`
    names given by `:=` to their last value. `defined` says where each name was defined, in that order; `public` and
    `external` where a name was declared so. `brought` maps (source, line) to the sources that the line brought in;
    `embedded` names files whose bytes became data. `path` is the file, as messages name it.
    """

    def __init__(self, path: str = "") -> None:
        self.path = path
        self.target: Target | None = None
        self.sources: list[Source] = []
        self.sections = [Section("", "", 0, None)]
        self.section = self.sections[0]
        self.constants: dict[str, int] = {}
        self.equates: dict[str, Equate] = {}
        self.variables: dict[str, Node] = {}
        self.defined: dict[str, Place] = {}
        self.public: dict[str, Place] = {}
        self.external: dict[str, Place] = {}
        self.checks: list[Check] = []
        self.start: Equate | None = None
        self.brought: dict[tuple[Source, int], list[Source]] = {}
        self.embedded: list[str] = []

    @property
    def position(self) -> int:
        """The index of the next entry in the present section."""
        return len(self.section.entries)

    def entries(self) -> Iterator[Entry]:
        """All entries, section by section."""
        for section in self.sections:
            yield from section.entries

    def read(self) -> Iterator[Source]:
        """Every text that was read, files brought in and lines made by macros among them."""
        yield from self.sources
        for brought in self.brought.values():
            yield from brought
