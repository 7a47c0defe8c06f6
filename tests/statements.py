"""Single statements to words and back, through the same code that the assembler and the decoder use."""

from __future__ import annotations

from itertools import product
from typing import NamedTuple

from xasm.source.diagnostics import Fault
from xasm.syntax.expressions import Name, Node
from xasm.syntax.lines import cut_statement
from xasm.syntax.parser import parse_operands
from xasm.target.encode import encode
from xasm.target.forms import Form, Variant, form_shapes
from xasm.target.kinds import Choice, Misfit, NameList
from xasm.target.model import Target
from xasm.target.shapes import shape

Spellings = tuple[tuple[str, str | None], ...]  # of each choice: its field and what is written, None for a number


class NoNames:
    """A scope for statements of numbers, and of the chip's own names."""

    def __init__(self, address: int, target: Target) -> None:
        self.address = address
        self.target = target

    def symbol(self, name: str, node: Node) -> int:
        if name.upper() not in self.target.symbols:
            raise node.fault("undefined", name=name)
        return self.target.symbols[name.upper()]

    def here(self, node: Node) -> int:
        return self.address

    def bit(self, byte: int, part: str, node: Node) -> int:
        return self.target.bit(byte, part, node)


class Encoded(NamedTuple):
    """What a statement became: its words, the form, how its choices are spelled and which names its list has."""

    words: tuple[int, ...]
    form: Form
    spellings: Spellings


def variants(target: Target, statement: str) -> tuple[tuple[Variant, ...], list[Node], str]:
    """The variants that could encode a statement, its expressions, and its shape. Raises Fault."""
    cut = cut_statement(statement)
    if cut.operation not in target.mnemonics:
        raise Fault("unknown_operation", word=cut.word, chip=target.name)
    operands = parse_operands(cut.operands).nodes
    found, leaves, _ = target.variants(cut.operation, operands)
    return found, leaves, shape(operands, target.notation)[0]


def encoded(target: Target, statement: str, address: int) -> Encoded:
    """A statement that stands at `address`, by the first variant that its values fit. Raises Fault."""
    found, leaves, text = variants(target, statement)
    for variant in found:
        try:
            words = encode(variant, leaves, NoNames(address, target), address)
        except Misfit:
            if variant is found[-1]:
                raise
            continue
        assert variant.form is not None
        fixed = [(spellings, other) for spellings, other, code in shapes(variant.form, target) if code == variant]
        spellings = next((spellings for spellings, other in fixed if other == text), fixed[0][0])
        return Encoded(tuple(words), variant.form, spellings + names_of(statement, variant))
    raise AssertionError("a statement has at least one variant")


def names_of(statement: str, variant: Variant) -> Spellings:
    """The names in the list of a statement, where it has one."""
    if variant.form is None or not variant.patches or not isinstance(variant.patches[-1].kind, NameList):
        return ()
    field = next(name for name, kind in variant.form.fields.items() if kind is variant.patches[-1].kind)
    cut = cut_statement(statement)
    words = variant.patches[-1].kind.words(parse_operands(cut.operands).nodes[len(variant.form.nodes) - 1 :])
    own = [cut.operation] if variant.form.bare else []
    return tuple((field, name) for name in [*own, *(word.text.upper() for word in words if isinstance(word, Name))])


_shapes: dict[Form, list[tuple[Spellings, str, Variant]]] = {}


def shapes(form: Form, target: Target) -> list[tuple[Spellings, str, Variant]]:
    """Every way to write the choices of a row, with its shape and variant."""
    if form not in _shapes:
        choices = [(name, kind) for name, kind in form.fields.items() if isinstance(kind, Choice)]
        options = [[*(spelling for spelling, _ in kind.options), *([None] if kind.other else [])] for _, kind in choices]
        names = [name for name, _ in choices]
        written = 1 + any(isinstance(kind, NameList) and kind.other is not None for kind in form.fields.values())  # as list, as number
        ways = [tuple(zip(names, way, strict=True)) for way in product(*options) for _ in range(written)]
        made = form_shapes(form, target.notation)
        _shapes[form] = [(way, text, variant) for way, (text, _, variant) in zip(ways, made, strict=True)]
    return _shapes[form]
