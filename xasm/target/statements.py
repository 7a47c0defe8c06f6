"""Single statements to words, through the same shapes and encoding that the assembler uses; for checks and tests."""

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

Spellings = tuple[tuple[str, str | None], ...]  # of each choice: its field and what is written, None for a number


class Alone:
    """A scope for a statement that stands alone: the chip's own names are all there are."""

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
    """What a statement became: its words, the form, the variant and the shape by which it was found, its operation and operands."""

    words: tuple[int, ...]
    form: Form
    variant: Variant
    shape: str
    operation: str
    operands: tuple[Node, ...]


def encoded(target: Target, statement: str, address: int) -> Encoded:
    """A statement that stands at `address`, by the first variant that its values fit. Raises Fault, whose span counts from
    the operands."""
    cut = cut_statement(statement)
    if cut.operation not in target.mnemonics:
        raise Fault("unknown_operation", word=cut.word, chip=target.name)
    operands = parse_operands(cut.operands).nodes
    variants, leaves, text = target.variants(cut.operation, operands)
    for variant in variants:
        try:
            words = encode(variant, leaves, Alone(address, target), address)
        except Misfit:
            if variant is variants[-1]:
                raise
            continue
        assert variant.form is not None
        return Encoded(tuple(words), variant.form, variant, text, cut.operation, operands)
    raise AssertionError("a statement has at least one variant")


def spellings(target: Target, made: Encoded) -> Spellings:
    """How the choices of a statement are spelled, and which names its list has."""
    fixed = [(spelled, text) for spelled, text, variant in ways(made.form, target) if variant == made.variant]
    spelled = next((spelled for spelled, text in fixed if text == made.shape), fixed[0][0])
    patches = made.variant.patches
    if not patches or not isinstance(patches[-1].kind, NameList):
        return spelled
    field = next(name for name, kind in made.form.fields.items() if kind is patches[-1].kind)
    listed = patches[-1].kind.words(made.operands[len(made.form.nodes) - 1 :])
    own = [made.operation] if made.form.bare else []
    return spelled + tuple((field, name) for name in [*own, *(word.text.upper() for word in listed if isinstance(word, Name))])


def ways(form: Form, target: Target) -> list[tuple[Spellings, str, Variant]]:
    """Every way to write the choices of a form, with its shape and variant."""
    choices = [(name, kind) for name, kind in form.fields.items() if isinstance(kind, Choice)]
    options = [[*(spelling for spelling, _ in kind.options), *([None] if kind.other else [])] for _, kind in choices]
    names = [name for name, _ in choices]
    written = 1 + any(isinstance(kind, NameList) and kind.other is not None for kind in form.fields.values())  # as list, as number
    spelled = [tuple(zip(names, way, strict=True)) for way in product(*options) for _ in range(written)]
    made = form_shapes(form, target.notation)
    return [(way, text, variant) for way, (text, _, variant) in zip(spelled, made, strict=True)]
