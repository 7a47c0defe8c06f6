"""A form and the values of its fields to words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from xasm.source.diagnostics import Fault
from xasm.syntax.expressions import Node, Scope
from xasm.target.forms import Patch, Variant
from xasm.target.kinds import Misfit, Page


def encode(variant: Variant, leaves: Sequence[Node], scope: Scope, address: int) -> list[int]:
    """The words of a statement that stands at `address`. `leaves` are its expressions in order.

    Raises Misfit where a value does not fit its field, Fault where an expression has no value; both mark it.
    """
    words = list(variant.words)
    size = len(words)
    for leaf, kind, slots in variant.patches:
        node = leaves[leaf]
        value = node.value(scope)
        try:
            bits = kind.store(value, address, size, slots[0].word)
        except Fault as fault:
            fault.start, fault.end = node.start, node.end
            raise
        for word, shift, width, down in slots:
            words[word] |= (bits >> down & ((1 << width) - 1)) << shift
    return words


def assuming(variants: tuple[Variant, ...], assumed: Mapping[str, int]) -> tuple[Variant, ...]:
    """The variants with other values for what the table assumes."""

    def changed(patch: Patch) -> Patch:
        kind = patch.kind
        if isinstance(kind, Page) and kind.origin in assumed:
            return patch._replace(kind=replace(kind, page=assumed[kind.origin]))
        return patch

    return tuple(variant._replace(patches=tuple(map(changed, variant.patches))) for variant in variants)


def beginning(variants: Sequence[Variant], words: Sequence[int]) -> tuple[Variant, ...]:
    """The variants whose code can begin with these words, whatever their operands are. Bits that the chip ignores become those of
    the words."""
    found = []
    for variant in variants:
        made = list(variant.words)
        if len(words) > len(made):
            continue
        ignored = variant.form.code.ignored if variant.form is not None else (0,) * len(made)
        free = [0] * len(made)
        for patch in variant.patches:
            for slot in patch.slots:
                free[slot.word] |= ((1 << slot.width) - 1) << slot.shift
        fixed = (~(filled | skipped) for filled, skipped in zip(free, ignored, strict=True))
        if all((have ^ word) & mask == 0 for have, word, mask in zip(made, words, fixed, strict=False)):
            for index, word in enumerate(words):
                made[index] |= word & ignored[index]
            found.append(variant._replace(words=tuple(made)))
    return tuple(found)


def fits(variant: Variant, leaves: Sequence[Node], scope: Scope, address: int) -> bool:
    """Whether all values fit; an expression without a value counts as fitting (it is reported when it is encoded)."""
    try:
        encode(variant, leaves, scope, address)
    except Misfit:
        return False
    except Fault:
        return True
    return True


def placed(variants: Sequence[Variant]) -> bool:
    """Whether the words depend on where the statement stands."""
    return any(kind.placed for variant in variants for _, kind, _ in variant.patches)
