"""What a chip table says, as data."""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

from xasm.source.diagnostics import Fault
from xasm.source.files import Place
from xasm.syntax.expressions import Name, Node
from xasm.syntax.lines import cut_statement
from xasm.syntax.parser import parse_operands
from xasm.target.habits import MakerDirective
from xasm.target.kinds import Choice, Kind
from xasm.target.shapes import SELECTORS, Notation, shape

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
    """The words of a form: for each word the mask of its fixed bits and their value; slots of each field."""

    masks: tuple[int, ...]
    match: tuple[int, ...]
    slots: dict[str, tuple[Slot, ...]]
    operands: frozenset[int]  # which words hold a whole field, or a part of one, and nothing else


@dataclass(eq=False)
class Form:
    """One row: a legal form of an instruction.

    `asm` as the maker prints it, `code_text` as typed, `fields` maps a field's name to its kind. `cycles`, `taken`
    and `cross` are in the unit of the table's clock; `taken` and `cross` are None where the book has no such rule.
    `flow` is one of FLOWS; `target` names the field that holds where control goes, or None. `places` maps the row's
    keys to where they stand in the file, "" to the row itself.
    """

    asm: str
    code_text: str
    code: Code
    fields: dict[str, Kind]
    cycles: int
    taken: int | None
    cross: int | None
    flow: str
    target: str | None
    alias: bool
    note: str
    places: dict[str, Place]

    @cached_property
    def mnemonic(self) -> str:
        return self.asm.split(None, 1)[0].upper()

    @property
    def size(self) -> int:
        """Length in words."""
        return len(self.code.masks)

    @cached_property
    def nodes(self) -> tuple[Node, ...]:
        """The operands of `asm`, read by the grammar of user source; raises Fault."""
        return parse_operands(cut_statement(self.asm).operands).nodes

    def cycles_text(self) -> str:
        """As listings and cards print it: `4`, `7/12` (condition not met/met), `4+1` (page border crossed)."""
        text = str(self.cycles)
        if self.taken not in (None, self.cycles):
            text += f"/{self.taken}"
        if self.cross is not None:
            text += f"+{self.cross}"
        return text


@dataclass(frozen=True, slots=True)
class Book:
    """A maker's book: what it is called, which edition, what of the table was read in it."""

    title: str
    edition: str
    read: str


@dataclass(frozen=True, slots=True)
class Clock:
    """The unit of `cycles`, how many clock periods one is, and the usual clock as text (`740kHz`)."""

    unit: str
    periods: int
    typical: str


@dataclass(eq=False)
class Target:
    """A chip: one table, used to encode, to decode, to check and to chart.

    `word` and `address` are widths in bits; `order` is "little" or "big"; `start` is the address of the first
    instruction, or of the vector that holds it when `start_vector` is true. `spaces` maps the name of each further
    address space to its width in bits; `directives` maps the maker's names of data directives to ours.
    """

    name: str
    also: tuple[str, ...]
    title: str
    books: tuple[Book, ...]
    word: int
    address: int
    order: str
    start: int
    start_vector: bool
    clock: Clock
    count: dict[str, int]
    conventions: str
    spaces: dict[str, int]
    directives: dict[str, MakerDirective]
    habits: frozenset[str]
    kinds: dict[str, Kind]
    forms: tuple[Form, ...]
    places: dict[str, Place]
    _variants: dict[tuple[str, str], tuple[Variant, ...]] = field(default_factory=dict)
    _shapes: dict[str, dict[str, list[Variant]]] = field(default_factory=dict)

    @property
    def top(self) -> int:
        """The highest address."""
        return (1 << self.address) - 1

    @property
    def cell(self) -> int:
        """Bytes that one word takes in a file."""
        return (self.word + 7) // 8

    def top_of(self, space: str) -> int:
        """The highest address of a space; "" is that of the program."""
        return (1 << self.spaces[space]) - 1 if space else self.top

    def hex_address(self, address: int) -> str:
        return f"0x{address:0{(self.address + 3) // 4}X}"

    def hex_word(self, word: int) -> str:
        return f"{word:0{(self.word + 3) // 4}X}"

    @cached_property
    def mnemonics(self) -> dict[str, tuple[Form, ...]]:
        """The forms of each mnemonic, in the order of the table."""
        found: dict[str, list[Form]] = {}
        for form in self.forms:
            found.setdefault(form.mnemonic, []).append(form)
        return {mnemonic: tuple(forms) for mnemonic, forms in found.items()}

    @cached_property
    def reserved(self) -> frozenset[str]:
        """Words that mean a register, flag or the like in operands, in capitals."""
        words: set[str] = set()
        for form in self.forms:
            _, _, operands = form.asm.partition(" ")
            words.update(word.upper() for word in WORD_OF_TEXT.findall(operands) if word not in form.fields)
        for kind in self.kinds.values():
            if isinstance(kind, Choice):
                for spelling, _ in kind.options:
                    words.update(word.upper() for word in WORD_OF_TEXT.findall(spelling))
        return frozenset(words)

    @cached_property
    def notation(self) -> Notation:
        asms = [form.asm for form in self.forms]
        signs = {sign for sign in SELECTORS if any(re.search(rf"[\s,#\[(]{sign}", asm) for asm in asms)}
        return Notation(self.reserved, frozenset(signs), any("(" in asm for asm in asms))

    def variants(self, mnemonic: str, operands: tuple[Node, ...]) -> tuple[tuple[Variant, ...], list[Node]]:
        """The forms that could encode a statement, shortest first, and its expressions in order.

        Raises Fault when the mnemonic has no form of that shape; `mnemonic` is in capitals and known.
        """
        notation = self.notation
        text, leaves = shape(operands, notation)
        found = self._candidates(mnemonic, text)
        if not found and notation.signs:
            # a sign that selects forms elsewhere is the operator HIGH or LOW here
            text, leaves = shape(operands, notation._replace(signs=frozenset()))
            found = self._candidates(mnemonic, text)
        if not found:
            raise self._no_form(mnemonic, operands)
        return found, leaves

    def _candidates(self, mnemonic: str, text: str) -> tuple[Variant, ...]:
        key = (mnemonic, text)
        found = self._variants.get(key)
        if found is None:
            shapes = self._shapes.get(mnemonic)
            if shapes is None:
                shapes = self._shapes[mnemonic] = self._mnemonic_shapes(mnemonic)
            found = tuple(shapes.get(text, ()))
            if found:
                self._variants[key] = found
        return found

    def _mnemonic_shapes(self, mnemonic: str) -> dict[str, list[Variant]]:
        """All shapes of a mnemonic's forms, each with its variants, best first."""
        shapes: dict[str, list[tuple[int, int, int, Variant]]] = {}
        for rank, form in enumerate(self.mnemonics[mnemonic]):
            for text, choices, variant in form_shapes(form, self.notation):
                shapes.setdefault(text, []).append((form.size, choices, rank, variant))
        return {text: [entry[3] for entry in sorted(entries, key=lambda entry: entry[:3])] for text, entries in shapes.items()}

    def _no_form(self, mnemonic: str, operands: tuple[Node, ...]) -> Fault:
        forms = [form.asm for form in self.mnemonics[mnemonic]]
        if not operands:
            start, end = None, None
        else:
            start, end = operands[0].start, operands[-1].end or operands[0].end
        if forms == [mnemonic]:
            return Fault("no_operands_wanted", start, end, operation=mnemonic)
        listed = "; ".join(forms[:16]) + (f"; and {len(forms) - 16} more" if len(forms) > 16 else "")
        return Fault("no_form", start, end, f"its forms: {listed}", operation=mnemonic)


def form_shapes(form: Form, notation: Notation) -> list[tuple[str, int, Variant]]:
    """Every shape in which a form can be written: shape text, how many choices were made for it, variant.

    A choice is a literal for each of its spellings and an expression where it takes numbers as well.
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
        text, leaves = shape(operands, notation, left)
        patches = []
        for index, leaf in enumerate(leaves):
            if not isinstance(leaf, Name) or leaf.text not in form.fields:
                raise Fault("table_asm", place=form.places["asm"], why="every number in it must be a field")
            patches.append(Patch(index, form.fields[leaf.text], form.code.slots[leaf.text]))
        found.append((text, len(names), Variant(form, tuple(words), tuple(patches))))
    return found


def _spelled(spelling: str) -> Node:
    return parse_operands(spelling).nodes[0]


def fill(words: list[int], slots: tuple[Slot, ...], bits: int) -> None:
    """Puts the bits of a field into its slots, which must be 0."""
    for word, shift, width, down in slots:
        words[word] |= ((bits >> down) & ((1 << width) - 1)) << shift


def gather(words: tuple[int, ...], slots: tuple[Slot, ...]) -> int:
    """The bits of a field, out of its slots."""
    bits = 0
    for word, shift, width, down in slots:
        bits |= ((words[word] >> shift) & ((1 << width) - 1)) << down
    return bits
