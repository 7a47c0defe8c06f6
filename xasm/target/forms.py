"""The rows of a table and the forms they stand for, as data; and every shape in which a form can be written."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from xasm.source.diagnostics import Fault
from xasm.source.files import Place
from xasm.syntax.expressions import Name, Node
from xasm.syntax.lines import Statement, cut_statement
from xasm.syntax.parser import parse_operands
from xasm.target.kinds import Choice, Kind, NameList
from xasm.target.shapes import Notation, shape

WORD_OF_TEXT = re.compile(r"[A-Za-z_][A-Za-z0-9_]*'?")
FLOWS = ("next", "jump", "branch", "call", "call_if", "return", "return_if", "skip", "repeat", "trap", "halt")
MOST_SHAPES = 100_000  # shapes of one form; more is a mistake in the table


class Slot(NamedTuple):
    """Where `width` bits of a field lie: bit `shift` upward of word `word`; they are bits `down` upward of the value."""

    word: int
    shift: int
    width: int
    down: int


class Patch(NamedTuple):
    """A field still to be filled: which expression of the statement, its kind, its slots."""

    leaf: int
    kind: Kind
    slots: tuple[Slot, ...]


class Variant(NamedTuple):
    """One form that fits a statement's shape: `words` with everything literal filled in, and what to fill."""

    form: Form | None  # None for data
    words: tuple[int, ...]
    patches: tuple[Patch, ...]


@dataclass(frozen=True, slots=True)
class Code:
    """The words of a form: for each word the mask of its fixed bits, their value, and the mask of bits that the chip
    ignores; slots of each field."""

    masks: tuple[int, ...]
    match: tuple[int, ...]
    ignored: tuple[int, ...]
    slots: dict[str, tuple[Slot, ...]]
    operands: frozenset[int]  # which words are no part of the opcode: those of a whole field or of a mode, or of field bits only


@dataclass(eq=False)
class Row:
    """A row as it stands in the table.

    `asm` as the maker prints it, `code_text` as typed, `fields` maps a field's name to its kind. `cycles`, `taken`
    and `cross` are in the unit of the table's clock; `taken` and `cross` are None where the book has no such rule.
    `flow` is one of FLOWS; `target` names the field that holds where control goes, or None, and `behind` says how many words
    behind that place. `over` is how many words a skip passes over (None: the following instruction), `always` tells that it
    does so without condition; `flow_with` maps operands (a name, or field=name) to the flow in their presence. `places` maps
    the row's keys to where they stand in the file, "" to the row itself.
    """

    asm: str
    code_text: str
    fields: dict[str, Kind]
    cycles: int
    taken: int | None
    cross: int | None
    flow: str
    target: str | None
    behind: int
    alias: bool
    undocumented: bool
    note: str
    over: int | None
    always: bool
    flow_with: dict[str, str]
    places: dict[str, Place]

    @cached_property
    def statement(self) -> Statement:
        """`asm` cut like a statement of the source; all of it is operands where it is a list."""
        return Statement("", "", self.asm, 0) if self.bare else cut_statement(self.asm)

    @property
    def bare(self) -> bool:
        """Whether `asm` is nothing but a list, the first name of which is the operation."""
        return self.asm in self.fields

    @property
    def shown(self) -> str:
        """`asm` as messages print it."""
        return self.fields[self.asm].range_text() if self.bare else self.asm

    @property
    def mnemonics(self) -> tuple[str, ...]:
        """The operations of statements that the row stands for, in capitals, with the comma behind them where they have one."""
        kind = self.fields.get(self.asm)
        return tuple(name for name, _ in kind.options) if isinstance(kind, NameList) else (self.statement.operation,)

    @property
    def mnemonic(self) -> str:
        """The first of them."""
        return self.mnemonics[0]

    @property
    def modes(self) -> dict[str, Modes]:
        """The operands of the row that can be written in several ways, by their names in it."""
        return {}

    def forms(self) -> tuple[Form, ...]:
        """The legal forms that the row stands for. Raises Fault with a place where modes do not go with the row."""
        raise NotImplementedError

    def words(self) -> set[str]:
        """The words in the operands that are no fields."""
        return {word for word in WORD_OF_TEXT.findall(self.statement.operands) if word not in self.fields and word not in self.modes}

    def cycles_text(self, words: Sequence[int] = ()) -> str:
        """As listings and cards print it: `4`, `7/12` (condition not met/met), `4+1` (page border crossed). What the names in
        a list add is known with the words of an instruction only; without them it is `5+n`."""
        more = self.added(words)
        text = str(self.cycles + more)
        if self.taken not in (None, self.cycles):
            text += f"/{(self.taken or 0) + more}"
        if self.cross is not None:
            text += f"+{self.cross}"
        timed = any(isinstance(kind, NameList) and kind.times for kind in self.fields.values())
        return text + "+n" if timed and not words else text

    def added(self, words: Sequence[int]) -> int:
        """The cycles that the names in the list of an instruction add."""
        return 0


@dataclass(eq=False)
class Form(Row):
    """A legal form of an instruction: a row, or one way to write a row. `row` is the row and `chosen` the modes where it is
    one way of several."""

    code: Code
    row: Row | None = None
    chosen: tuple[Mode, ...] = ()

    def forms(self) -> tuple[Form, ...]:
        return (self,)

    @property
    def size(self) -> int:
        """Length in words."""
        return len(self.code.masks)

    def added(self, words: Sequence[int]) -> int:
        lists = [(kind, self.code.slots[name]) for name, kind in self.fields.items() if isinstance(kind, NameList)] if words else []
        return sum(kind.time(gather(words, slots)) for kind, slots in lists)

    @cached_property
    def nodes(self) -> tuple[Node, ...]:
        """The operands of `asm`, read by the grammar of user source; raises Fault."""
        return parse_operands(self.statement.operands).nodes


@dataclass(eq=False)
class Mode:
    """One way to write an operand, or several operands: what it puts into `asm` and into `code`, its fields, and what it
    adds to the times of a row. `to` is the field that holds where control goes, "none", or None where it does not say."""

    asm: str
    code_text: str
    fields: dict[str, Kind]
    cycles: int
    taken: int | None
    cross: int | None
    to: str | None
    alias: bool
    undocumented: bool
    note: str
    places: dict[str, Place]

    def words(self) -> set[str]:
        """The words that are no fields."""
        return {word for word in WORD_OF_TEXT.findall(self.asm) if word not in self.fields}

    def cycles_text(self) -> str:
        """What is added: `+4`, `+0/2` (condition not met/met)."""
        text = f"+{self.cycles}"
        if self.taken not in (None, self.cycles):
            text += f"/{self.taken}"
        return text if self.cross is None else f"{text}+{self.cross}"


@dataclass(eq=False)
class Modes:
    """A kind of the table that is a choice of modes. `common` are the fields that all have, `every` those that any has,
    `open` those whose bits stand in the code of the row."""

    name: str
    modes: tuple[Mode, ...]
    open: frozenset[str]

    @cached_property
    def every(self) -> frozenset[str]:
        return frozenset().union(*(mode.fields for mode in self.modes))

    @cached_property
    def common(self) -> frozenset[str]:
        return self.every.intersection(*(mode.fields for mode in self.modes))


def list_mark(kind: Kind) -> str:
    """What stands for a list in a shape."""
    return f"{{{kind.name}}}"


def form_shapes(form: Form, notation: Notation) -> list[tuple[str, int, Variant]]:
    """Every shape in which a form can be written: shape text, how many choices were made for it, variant.

    A choice is a literal for each of its spellings and an expression where it takes numbers as well. A list is one mark,
    and an expression where it takes numbers as well.
    """
    choices = [(name, kind) for name, kind in form.fields.items() if isinstance(kind, Choice)]
    spellings: list[list[tuple[Node | None, int]]] = []
    for _, kind in choices:
        options: list[tuple[Node | None, int]] = [(_spelled(spelling), bits) for spelling, bits in kind.options]
        spellings.append([*options, (None, 0)] if kind.other else options)
    found = []
    total = 1
    for options in spellings:
        total *= len(options)
    if total > MOST_SHAPES:
        raise Fault("table_asm", place=form.places["asm"], why=f"it can be written in more than {MOST_SHAPES:,} ways")
    for chosen in itertools.product(*spellings):
        words = list(form.code.match)
        names: dict[str, Node] = {}
        for (name, _), (node, bits) in zip(choices, chosen, strict=True):
            if node is not None:
                names[name] = node
                fill(words, form.code.slots[name], bits)
        left = [name for name in form.fields if name not in names]
        operands = tuple(node.renamed(names) for node in form.nodes) if names else form.nodes
        for text, patches in _written(form, operands, notation, left):
            found.append((text, len(names), Variant(form, tuple(words), patches)))
    return found


def _written(form: Form, operands: tuple[Node, ...], notation: Notation, left: list[str]) -> Iterator[tuple[str, tuple[Patch, ...]]]:
    """The shapes of a form whose choices are made; `left` are the fields that are still to be filled."""
    last = operands[-1] if operands else None
    kind = form.fields.get(last.text) if isinstance(last, Name) and last.text in left else None
    if not isinstance(kind, NameList):
        text, leaves = shape(operands, notation, left)
        yield text, tuple(_patches(form, leaves))
        return
    text, leaves = shape(operands[:-1], notation, left)
    yield listed(text, kind), tuple(_patches(form, [*leaves, operands[-1]]))
    if kind.other is not None:
        text, leaves = shape(operands, notation, left)
        patches = list(_patches(form, leaves))
        yield text, (*patches[:-1], patches[-1]._replace(kind=kind.other))


def listed(before: str, kind: NameList) -> str:
    """The shape of operands that end in a list; `before` is the shape of those in front of it."""
    return f"{before},{list_mark(kind)}" if before else list_mark(kind)


def _patches(form: Form, leaves: Iterable[Node]) -> Iterator[Patch]:
    for index, leaf in enumerate(leaves):
        if not isinstance(leaf, Name) or leaf.text not in form.fields:
            raise Fault("table_asm", place=form.places["asm"], why="every number in it must be a field")
        yield Patch(index, form.fields[leaf.text], form.code.slots[leaf.text])


def _spelled(spelling: str) -> Node:
    return parse_operands(spelling).nodes[0]


def fill(words: list[int], slots: tuple[Slot, ...], bits: int) -> None:
    """Puts the bits of a field into its slots, which must be 0."""
    for word, shift, width, down in slots:
        words[word] |= ((bits >> down) & ((1 << width) - 1)) << shift


def gather(words: Sequence[int], slots: tuple[Slot, ...]) -> int:
    """The bits of a field, out of its slots."""
    bits = 0
    for word, shift, width, down in slots:
        bits |= ((words[word] >> shift) & ((1 << width) - 1)) << down
    return bits
