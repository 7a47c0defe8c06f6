"""Modules back out of their files: every value is looked at before anything is made of it."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any, NoReturn, TypeVar

from xasm.assembly.data import variant_of
from xasm.assembly.module import (
    Alignment,
    Check,
    Data,
    Encoded,
    Entry,
    Equate,
    FitStart,
    Instruction,
    Module,
    Origin,
    Piece,
    Section,
    Space,
    Stamp,
    Words,
)
from xasm.assembly.stamps import BITS, LONGEST_TEXT
from xasm.formats.modules import VERSION
from xasm.source.diagnostics import Fault
from xasm.source.files import Place, Source, whole
from xasm.syntax.expressions import MOST_BITS, Node
from xasm.syntax.trees import node_of
from xasm.target.encode import assuming, beginning
from xasm.target.forms import Form, Variant
from xasm.target.model import Target

Load = Callable[[str, bool], Target]
Kind = TypeVar("Kind")


class Damaged(Exception):
    """The module is not as it should be; the text says where."""


def read_module(data: bytes, shown: str, load: Load) -> Module:
    """The module of a file's content. `shown` is the file, as messages name it; `load` finds a chip by its name, with its
    undocumented instructions if wanted, and raises Fault. Raises Fault: not_a_module, module_version, module_table,
    module_broken."""
    try:
        top = json.loads(data)
    except (ValueError, RecursionError) as error:
        why = "it is nested too deep" if isinstance(error, RecursionError) else "it is no JSON text"
        raise Fault("not_a_module", place=whole(shown), why=why) from None
    if not isinstance(top, dict) or top.get("xasm") != "module":
        raise Fault("not_a_module", place=whole(shown), why='it does not say {"xasm": "module"}')
    if top.get("version") != VERSION:
        raise Fault("module_version", place=whole(shown), found=json.dumps(top.get("version"))[:20], known=VERSION)
    try:
        target = load(text(top["target"], "target"), bool(top["undocumented"]))
        if top["table"] != target.mark:
            raise Fault("module_table", place=whole(shown), chip=target.name)
        return _Reader(top, target).module()
    except Damaged as damaged:
        raise Fault("module_broken", place=whole(shown), why=str(damaged)) from None
    except KeyError as missing:
        raise Fault("module_broken", place=whole(shown), why=f"{missing} is missing") from None
    except (ValueError, RecursionError) as error:
        raise Fault("module_broken", place=whole(shown), why=str(error)[:100]) from None
    except Fault as fault:
        fault.place = fault.place or whole(shown)
        raise


def broken(what: str) -> NoReturn:
    raise Damaged(f"'{what}' is not as it should be")


def expect(value: Any, kind: type[Kind], what: str) -> Kind:
    """The value, when it is of that kind; truth values are no numbers."""
    if not isinstance(value, kind) or (kind is int and isinstance(value, bool)):
        broken(what)
    return value


def text(value: Any, what: str) -> str:
    return expect(value, str, what)


def row(value: Any, length: int, what: str) -> list[Any]:
    """A list of so many values."""
    if len(expect(value, list, what)) != length:
        broken(what)
    return list(value)


def within(value: Any, low: int, high: int, what: str) -> int:
    """A number between two, both among them."""
    if not low <= expect(value, int, what) <= high:
        broken(what)
    return int(value)


class _Reader:
    def __init__(self, top: dict[str, Any], target: Target) -> None:
        self.top = top
        self.target = target
        self.sources: list[Source] = []
        self.module_ = Module(text(top["path"], "path"))

    def get(self, key: str, kind: type[Kind]) -> Kind:
        return expect(self.top[key], kind, key)

    def module(self) -> Module:
        module = self.module_
        module.target = self.target
        for one in self.get("sources", list):
            self.sources.append(self.source(one))
        module.sources = [self.source_at(number, "files") for number in self.get("files", list)]
        if not module.sources:
            broken("files")
        pieces = [self.piece(one) for one in self.get("pieces", list)]
        module.sections = [self.section(one, number, pieces) for number, one in enumerate(self.get("sections", list))]
        if not module.sections:
            broken("sections")
        module.section = module.sections[0]
        for name, value in self.get("constants", dict).items():
            module.constants[name] = self.value(value, "constants")
        for name, value in self.get("equates", dict).items():
            module.equates[name] = self.equate(value, "equates")
        for name, value in self.get("variables", dict).items():
            module.variables[name] = node_of(value)
        for key, names in (("defined", module.defined), ("public", module.public), ("external", module.external)):
            for one in self.get(key, list):
                name, *at = row(one, 4, key)
                names[text(name, key)] = self.place(at, key)
        for one in self.get("checks", list):
            node, why, source, line, column, offset, scope, position, section = row(one, 9, "checks")
            place = self.place([source, line, column], "checks")
            where = self.position(position, section, "checks")
            module.checks.append(Check(node_of(node), text(why, "checks"), place, self.offset(offset), text(scope, "checks"), *where))
        if self.top["start"] is not None:
            module.start = self.equate(self.top["start"], "start")
        for one in self.get("brought", list):
            self.brought(*row(one, 3, "brought"))
        module.embedded = [text(path, "embedded") for path in self.get("embedded", list)]
        for section in module.sections:
            for name in section.labels:
                if name not in module.defined:
                    broken("labels")
        return module

    def brought(self, source: Any, line: Any, numbers: Any) -> None:
        """Notes what a line brought in; each text was brought in once, by the place that it names."""
        key = (self.source_at(source, "brought"), expect(line, int, "brought"))
        found = [self.source_at(number, "brought") for number in expect(numbers, list, "brought")]
        if key in self.module_.brought or len({id(one) for one in found}) < len(found):
            broken("brought")
        if any(one.parent is None or one.parent[:2] != key for one in found):
            broken("brought")
        self.module_.brought[key] = found

    def source(self, value: Any) -> Source:
        value = expect(value, dict, "sources")
        lines = [text(line, "lines") for line in expect(value["lines"], list, "lines")]
        source = Source(text(value["path"], "path"), "", None, text(value["role"], "role"))
        source.lines = lines
        source.first = within(value["first"], 1, 1 << 31, "first")
        if value["parent"] is not None:
            source.parent = self.place(value["parent"], "parent")
        return source

    def source_at(self, number: Any, what: str) -> Source:
        return self.sources[within(number, 0, len(self.sources) - 1, what)]

    def place(self, value: Any, what: str) -> Place:
        source, line, column = row(value, 3, what)
        return self.source_at(source, what), within(line, 0, 1 << 31, what), within(column, 0, 1 << 31, what)

    def offset(self, value: Any) -> int:
        return within(value, 0, 1 << 31, "offset")

    def value(self, value: Any, what: str) -> int:
        if expect(value, int, what).bit_length() > MOST_BITS:
            broken(what)
        return int(value)

    def position(self, position: Any, section: Any, what: str) -> tuple[int, int]:
        """An index among the entries of a section (or behind the last), and the section's number."""
        number = within(section, 0, len(self.module_.sections) - 1, what)
        return within(position, 0, len(self.module_.sections[number].entries), what), number

    def section(self, value: Any, number: int, pieces: list[Piece]) -> Section:
        value = expect(value, dict, "sections")
        space = text(value["space"], "space")
        if space and space not in self.target.spaces:
            broken("space")
        place = None if value["place"] is None else self.place(value["place"], "sections")
        if (place is None) != (number == 0):
            broken("sections")
        section = Section(text(value["name"], "name"), space, number, place)
        for one in expect(value["entries"], list, "entries"):
            piece, source, line, column, offset, scope = row(one, 6, "entries")
            found = pieces[within(piece, 0, len(pieces) - 1, "entries")]
            section.entries.append(Entry(found, self.place([source, line, column], "entries"), self.offset(offset), text(scope, "entries")))
        for index, entry in enumerate(section.entries):
            piece = entry.piece
            if isinstance(piece, FitStart) and index + 1 + piece.count > len(section.entries):
                broken("fit")
            if isinstance(piece, Origin) and piece.address > self.target.top_of(space):
                broken("origin")
        for name, index in expect(value["labels"], dict, "labels").items():
            section.labels[name] = within(index, 0, len(section.entries), "labels")
        return section

    def piece(self, value: Any) -> Piece:
        kind, *rest = expect(value, list, "pieces")
        makers: dict[str, Callable[..., Piece]] = {
            "words": self.words,
            "encoded": self.encoded,
            "stamp": self.stamp,
            "space": self.space,
            "align": lambda step, fill: Alignment(node_of(step), self.optional(fill)),
            "origin": lambda address: Origin(within(address, 0, 1 << 32, "origin")),
            "fit": self.fit,
        }
        lengths = {"words": 2, "encoded": 2, "stamp": 3, "space": 3, "align": 2, "origin": 1, "fit": 4}
        if not isinstance(kind, str) or lengths.get(kind) != len(rest):
            broken("pieces")
        return makers[kind](*rest)

    def words(self, digits: Any, form: Any) -> Words:
        each = (self.target.word + 3) // 4
        if len(text(digits, "words")) % each:
            broken("words")
        words = tuple(int(digits[at : at + each], 16) for at in range(0, len(digits), each))
        if any(word >> self.target.word for word in words) or not digits.isalnum():
            broken("words")
        return Words(words, None if form is None else self.form(form, len(words)))

    def form(self, value: Any, size: int) -> Form:
        mnemonic, number = row(value, 2, "form")
        if text(mnemonic, "form") not in self.target.mnemonics:
            broken("form")
        forms = self.target.forms_of(mnemonic)
        form = forms[within(number, 0, len(forms) - 1, "form")]
        if form.size != size:
            broken("form")
        return form

    def encoded(self, recipe: Any, leaves: Any) -> Encoded:
        nodes = [node_of(leaf) for leaf in expect(leaves, list, "encoded")]
        parts = expect(recipe, list, "encoded")
        made: Instruction | Data
        if parts and isinstance(parts[0], str):
            made, variants = self.instruction(*row(parts, 4, "encoded"))
        else:
            made = self.data(*row(parts, 3, "encoded"))
            variants = (variant_of(made, self.target.word),)
        if any(patch.leaf >= len(nodes) for variant in variants for patch in variant.patches):
            broken("encoded")
        return Encoded(variants, nodes, made)

    def instruction(self, mnemonic: str, operands: Any, registers: Any, words: Any) -> tuple[Instruction, tuple[Variant, ...]]:
        assumed = {name: self.value(value, "assumed") for name, value in expect(registers, dict, "assumed").items()}
        if not assumed.keys() <= self.target.assume.keys():
            broken("assumed")
        begins = tuple(within(word, 0, (1 << self.target.word) - 1, "begins") for word in expect(words, list, "begins"))
        shape = text(operands, "shape")
        variants = self.target.variants_of(mnemonic, shape)
        variants = assuming(beginning(variants, begins) if begins else variants, assumed)
        if not variants:
            broken("shape")
        return Instruction(mnemonic, shape, tuple(assumed.items()), begins), variants

    def data(self, bits: Any, order: Any, count: Any) -> Data:
        word = self.target.word
        made = Data(within(bits, 1, 2 * word, "bits"), text(order, "order"), within(count, 1, 1 << 20, "count"))
        packed = made.order == "packed"
        if (not packed and (made.order not in ("little", "big") or made.bits % word)) or (packed and word % made.bits):
            broken("order")
        return made

    def stamp(self, kind: Any, nodes: Any, size: Any) -> Stamp:
        made = tuple(node_of(node) for node in expect(nodes, list, "stamp"))
        if text(kind, "stamp") not in BITS or not (1 if kind == "TEXT" else 2) <= len(made) <= (3 if kind == "CHECKSUM" else 2):
            broken("stamp")
        return Stamp(kind, made, within(size, 1, LONGEST_TEXT, "stamp"))

    def space(self, count: Any, fill: Any, size: Any) -> Space:
        return Space(node_of(count), self.optional(fill), within(size, -1, 1 << MOST_BITS, "space"))

    def fit(self, page: Any, move: Any, fill: Any, count: Any) -> FitStart:
        piece = FitStart(within(page, 1, 1 << 64, "fit"), expect(move, bool, "fit"), self.optional(fill))
        piece.count = within(count, 0, 1 << 31, "fit")
        return piece

    def optional(self, value: Any) -> Node | None:
        return None if value is None else node_of(value)

    def equate(self, value: Any, what: str) -> Equate:
        node, source, line, column, body, offset, scope, position, section = row(value, 9, what)
        place = self.place([source, line, column], what)
        where = self.position(position, section, what)
        return Equate(node_of(node), place, self.offset(body), self.offset(offset), text(scope, what), *where)
