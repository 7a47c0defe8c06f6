"""What assembly hands to linking: pieces in order, and symbols that wait for addresses."""

from __future__ import annotations

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


class SectionStart:
    """A section begins here: behind the last one that was placed in the same space."""

    __slots__ = ("section",)
    size = -1

    def __init__(self, section: Section) -> None:
        self.section = section


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


Piece = Words | Encoded | Space | Alignment | Origin | SectionStart | FitStart


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
    `$`, in section number `section` (in the whole module once that is finished)."""

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
    """One program, placed nowhere yet.

    While it is read, statements go to the present `section`. `finish` strings all sections together; from then on
    `entries` holds everything and `labels` maps a label to the index of the entry it stands before (or to the number of
    entries). `constants` maps names to known values, `equates` to expressions, `variables` names given by `:=` to their
    last value. `defined` says where each name was defined, in that order; `public` and `external` where a name was
    declared so. `brought` maps (source, line) to the sources that the line brought in; `embedded` names files whose
    bytes became data.
    """

    def __init__(self) -> None:
        self.target: Target | None = None
        self.sources: list[Source] = []
        self.sections = [Section("", "", 0, None)]
        self.section = self.sections[0]
        self.entries: list[Entry] = self.section.entries
        self.labels: dict[str, int] = self.section.labels
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

    def finish(self) -> None:
        """Strings the sections together. Programs of one section stay as they are."""
        if len(self.sections) == 1:
            return
        bases = []
        entries: list[Entry] = []
        labels: dict[str, int] = {}
        for section in self.sections:
            if section.place is not None:
                entries.append(Entry(SectionStart(section), section.place, 0, ""))
            base = len(entries)
            bases.append(base)
            entries += section.entries
            labels.update((name, base + index) for name, index in section.labels.items())
        self.entries = entries
        self.labels = labels
        self.equates = {name: equate._replace(position=bases[equate.section] + equate.position) for name, equate in self.equates.items()}
        self.checks = [check._replace(position=bases[check.section] + check.position) for check in self.checks]
        if self.start is not None:
            self.start = self.start._replace(position=bases[self.start.section] + self.start.position)
