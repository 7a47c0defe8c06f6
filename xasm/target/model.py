"""What a chip table says, as data."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property
from hashlib import sha256
from itertools import chain

from xasm.source.diagnostics import Fault
from xasm.source.files import Place
from xasm.syntax.expressions import Name, Node, Number
from xasm.target.bus_parts import Lines, Starters
from xasm.target.forms import WORD_OF_TEXT, Form, Mode, Modes, Row, Variant, form_shapes, listed
from xasm.target.habits import MakerDirective
from xasm.target.kinds import Choice, Kind, NameList
from xasm.target.routes import Routes
from xasm.target.shapes import SELECTORS, Notation, shape
from xasm.target.symbols import OwnNames

BESIDE = re.compile(r"\w \w|[\w)]\(")  # two things side by side in the operands of a form
WHOLE = re.compile(r"(?<![\w)])\(")  # parentheses that are more than a pointer behind a value


@dataclass(frozen=True, slots=True)
class Book:
    """A maker's book: what it is called, which edition, what of the table was read in it."""

    title: str
    edition: str
    read: str


@dataclass(frozen=True, slots=True)
class Clock:
    """The unit of `cycles`, how many clock periods one is, the usual clock as text (`740kHz`), and how many clock periods one
    access of the bus takes at least."""

    unit: str
    periods: int
    typical: str
    access: int = 1


@dataclass(eq=False)
class Target:
    """A chip: one table, used to encode, to decode, to check and to chart.

    `word` and `address` are widths in bits; `order` is "little" or "big"; `start` is the address of the first
    instruction, or of the vector that holds it when `start_vector` is true. `spaces` maps the name of each further
    address space to its width in bits; `lines` are the pins that carry addresses and words, `starters` first programs;
    `directives` maps the maker's names of data directives to ours. `names` are the
    chip's own, `assume` maps what the table assumes about registers to its value until the source says otherwise. `undefined` are the
    first words that begin no instruction, as far as the table says so. `kind_places` maps a kind to where its keys stand, ""
    to its name. `rows` are those of the table; `octal` says that the maker writes octal digits. `forms` and `mnemonics` leave out
    what is undocumented unless `undocumented` is true.
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
    lines: tuple[Lines, ...]
    starters: Starters
    directives: dict[str, MakerDirective]
    habits: frozenset[str]
    names: OwnNames
    assume: dict[str, int]
    kinds: dict[str, Kind]
    modes: dict[str, Modes]
    rows: tuple[Row, ...]
    places: dict[str, Place]
    undefined: frozenset[int] = frozenset()
    kind_places: dict[str, dict[str, Place]] = field(default_factory=dict)
    octal: bool = False
    undocumented: bool = False
    routes: Routes = field(default_factory=Routes)
    _forms: dict[str, tuple[Form, ...]] = field(default_factory=dict, init=False)
    _variants: dict[tuple[str, str], tuple[Variant, ...]] = field(default_factory=dict, init=False)
    _shapes: dict[str, dict[str, list[Variant]]] = field(default_factory=dict, init=False)
    _lists: dict[str, tuple[tuple[int, bool, NameList], ...]] = field(default_factory=dict, init=False)

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

    def address_text(self, address: int) -> str:
        """An address as people read it, with its prefix: in the maker's digits."""
        return self.number_text(address, self.address)

    def number_text(self, value: int, bits: int) -> str:
        """A number of so many bits, with its prefix, in the maker's digits."""
        return f"0o{value:0{(bits + 2) // 3}o}" if self.octal else f"0x{value:0{(bits + 3) // 4}X}"

    def word_text(self, word: int) -> str:
        """A word as people read it."""
        return f"{word:0{(self.word + 2) // 3}o}" if self.octal else self.hex_word(word)

    def hex_address(self, address: int) -> str:
        return f"0x{address:0{(self.address + 3) // 4}X}"

    def hex_word(self, word: int) -> str:
        return f"{word:0{(self.word + 3) // 4}X}"

    @cached_property
    def mark(self) -> str:
        """What tells this table from another version of it: a digest of its text, and of the tables that it extends."""
        sources = {id(place[0]): place[0] for place in [*self.places.values(), *(row.places[""] for row in self.rows)]}
        text = "\n".join(line for source in sources.values() for line in source.lines)
        return sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:32]

    @property
    def symbols(self) -> dict[str, int]:
        """The chip's own names in capitals, with their values."""
        return self.names.values

    def bit(self, byte: int, part: str, node: Node) -> int:
        """The address of a bit of a byte; `part` is its number as written, with the point. Raises Fault that marks the
        node."""
        return self.names.bit(byte, part, node, self.name)

    def with_undocumented(self) -> Target:
        """The same chip with the forms that the maker's book does not list."""
        return replace(self, undocumented=True)

    @cached_property
    def mnemonics(self) -> dict[str, tuple[Row, ...]]:
        """The rows of each mnemonic, in the order of the table."""
        found: dict[str, list[Row]] = {}
        for row in self.rows:
            if self.undocumented or not row.undocumented:
                for mnemonic in row.mnemonics:
                    found.setdefault(mnemonic, []).append(row)
        return {mnemonic: tuple(rows) for mnemonic, rows in found.items()}

    def is_instruction(self, word: str) -> bool:
        """Whether a word in capitals is an instruction, even if a directive of ours has the same name."""
        return word in self.mnemonics and word not in self.directives

    def directive(self, name: str) -> str:
        """What a directive of ours is called in source for this chip: otherwise where an instruction has its name."""
        others = (other for other, maker in self.directives.items() if maker == MakerDirective(name))
        return next(others, name) if name in self.mnemonics else name

    @property
    def hidden(self) -> set[str]:
        """The mnemonics that the chip has only when undocumented ones are wanted, and they are not."""
        return {mnemonic for row in self.rows for mnemonic in row.mnemonics} - self.mnemonics.keys()

    def forms_of(self, mnemonic: str) -> tuple[Form, ...]:
        """The forms of a mnemonic, in the order of the table and of the modes of a row. Raises Fault with a place where a
        row and its modes do not go together."""
        found = self._forms.get(mnemonic)
        if found is None:
            made = (form for row in self.mnemonics[mnemonic] for form in row.forms())
            found = self._forms[mnemonic] = tuple(form for form in made if self.undocumented or not form.undocumented)
        return found

    @cached_property
    def forms(self) -> tuple[Form, ...]:
        """All forms in the order of the table. A table with modes has many: whoever can ask for a mnemonic does."""
        return tuple(form for form in self.all_forms() if self.undocumented or not form.undocumented)

    def all_forms(self) -> Iterator[Form]:
        """The forms of all rows, undocumented ones among them."""
        for row in self.rows:
            yield from row.forms()

    @cached_property
    def reserved(self) -> frozenset[str]:
        """Words that mean a register, flag or the like in operands, in capitals."""
        words: set[str] = set()
        kinds: dict[int, Kind] = {}
        modes = (mode for modes in self.modes.values() for mode in modes.modes)
        parts: Iterator[Row | Mode] = chain(self.rows, modes)
        for part in parts:
            if self.undocumented or not part.undocumented:
                words |= part.words()
                kinds |= {id(kind): kind for kind in part.fields.values()}
        for kind in kinds.values():
            if isinstance(kind, (Choice, NameList)):
                for spelling, _ in kind.options:
                    words.update(WORD_OF_TEXT.findall(spelling))
        return frozenset(word.upper() for word in words)

    @cached_property
    def notation(self) -> Notation:
        asms = [row.asm for row in self.rows] + [f" {mode.asm}" for modes in self.modes.values() for mode in modes.modes]
        operands = [asm.partition(" ")[2] for asm in asms]
        lists = (kind.apart == " " for kind in self.kinds.values() if isinstance(kind, NameList))
        beside = any(lists) or any(map(BESIDE.search, operands))
        signs = {sign for sign in SELECTORS if any(re.search(rf"[\s,#\[(]{sign}", asm) for asm in asms)}
        return Notation(self.reserved, frozenset(signs), any(map(WHOLE.search, asms)), beside)

    def variants(self, mnemonic: str, operands: tuple[Node, ...]) -> tuple[tuple[Variant, ...], list[Node], str]:
        """The forms that could encode a statement, shortest first, its expressions in order, and its shape.

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
            found, leaves, text = self._with_list(mnemonic, operands)
        if not found:
            raise self._no_form(mnemonic, operands)
        return found, leaves, text

    def variants_of(self, mnemonic: str, text: str) -> tuple[Variant, ...]:
        """The forms of a mnemonic in capitals whose operands have a shape, as `variants` gave it; empty where there are none."""
        return self._candidates(mnemonic, text) if mnemonic in self.mnemonics else ()

    def _with_list(self, mnemonic: str, operands: tuple[Node, ...]) -> tuple[tuple[Variant, ...], list[Node], str]:
        """The forms of a statement whose last operands, or all of whose words, are a list of names, which is one expression
        then. Raises Fault for a list that holds what it cannot: of several the one that came furthest."""
        lists = self._lists.get(mnemonic)
        if lists is None:
            different = {
                (len(form.nodes) - 1, form.bare, kind): None
                for form in self.forms_of(mnemonic)
                for kind in form.fields.values()
                if isinstance(kind, NameList)
            }
            lists = self._lists[mnemonic] = tuple(sorted(different, key=lambda one: -one[0]))
        wrong: Fault | None = None
        for before, bare, kind in lists:
            text, leaves = shape(operands[:before], self.notation)
            text = listed(text, kind)
            nodes = kind.words(operands[before:])
            if bare and len(nodes) >= len(operands):
                nodes = (Name(0, 0, mnemonic), *nodes)
            variants = self._candidates(mnemonic, text) if nodes else ()
            if variants:
                try:
                    names = kind.joined(nodes)
                except Fault as fault:
                    wrong = fault if wrong is None or (fault.start or 0) > (wrong.start or 0) else wrong
                    continue
                return variants, [*leaves, Number(nodes[0].start, nodes[-1].end, names)], text
        if wrong is not None:
            raise wrong
        return (), [], ""

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
        for rank, form in enumerate(self.forms_of(mnemonic)):
            for text, choices, variant in form_shapes(form, self.notation):
                shapes.setdefault(text, []).append((form.size, choices, rank, variant))
        return {text: [entry[3] for entry in sorted(entries, key=lambda entry: entry[:3])] for text, entries in shapes.items()}

    def _no_form(self, mnemonic: str, operands: tuple[Node, ...]) -> Fault:
        forms = list(dict.fromkeys(form.shown for form in self.forms_of(mnemonic)))
        if not operands:
            start, end = None, None
        else:
            start, end = operands[0].start, operands[-1].end or operands[0].end
        if forms == [mnemonic]:
            return Fault("no_operands_wanted", start, end, operation=mnemonic)
        known = "; ".join(forms[:16]) + (f"; and {len(forms) - 16} more" if len(forms) > 16 else "")
        return Fault("no_form", start, end, f"its forms: {known}", operation=mnemonic.rstrip(","))
