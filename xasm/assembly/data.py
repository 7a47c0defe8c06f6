"""The directives that put values into memory, or leave it free."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from xasm.assembly.macros import split_arguments
from xasm.assembly.module import Alignment, Data, Encoded, Space, Words
from xasm.assembly.parsing import counted, needed_target, quoted
from xasm.assembly.symbols import Known, Unknown
from xasm.source.diagnostics import Fault
from xasm.source.files import LONGEST_FILE
from xasm.syntax.expressions import Node, Nothing, Number, Repeated, Text, shown
from xasm.target.forms import Patch, Slot, Variant
from xasm.target.kinds import Misfit, Plain, plain

if TYPE_CHECKING:
    from xasm.assembly.assembler import Assembler, Call

MOST_VALUES = 1 << 19  # of one statement


def db(assembler: Assembler, call: Call) -> None:
    data(assembler, call, needed_target(assembler).word)


def dw(assembler: Assembler, call: Call) -> None:
    data(assembler, call, needed_target(assembler).word * 2)


def data(assembler: Assembler, call: Call, bits: int) -> None:
    """Values of `bits` bits each; in a text every character is one."""
    target = needed_target(assembler)
    nodes = counted(assembler, call, 1, 1 << 20, "at least one value")
    kind = plain("a value", "number", bits)
    order = assembler.order or target.order
    leaves = list(values(assembler, nodes, target.top + 1))
    known = known_words(assembler, leaves, kind, cuts(bits, order, target.word))
    if known is not None:
        assembler.add(Words(known, None), call)
        return
    recipe = Data(bits, order, len(leaves))
    assembler.add(Encoded((variant_of(recipe, target.word),), leaves, recipe), call)


def cuts(bits: int, order: str, word: int) -> list[int]:
    """For each word of a value, in order, which of its bits it begins with."""
    count = bits // word
    return [word * (index if order == "little" else count - 1 - index) for index in range(count)]


def variant_of(recipe: Data, word: int) -> Variant:
    """The one way to encode data, in words of `word` bits."""
    bits, order, values = recipe
    patches = []
    if order == "packed":
        kind = plain("a unit", "number", bits)
        each = word // bits
        for index in range(values):
            slot = Slot(index // each, word - bits * (index % each + 1), bits, 0)
            patches.append(Patch(index, kind, (slot,)))
        return Variant(None, (0,) * -(-values // each), tuple(patches))
    kind = plain("a value", "number", bits)
    downs = cuts(bits, order, word)
    for leaf in range(values):
        slots = tuple(Slot(leaf * len(downs) + index, 0, word, down) for index, down in enumerate(downs))
        patches.append(Patch(leaf, kind, slots))
    return Variant(None, (0,) * (values * len(downs)), tuple(patches))


def known_words(assembler: Assembler, leaves: list[Node], kind: Plain, downs: list[int]) -> tuple[int, ...] | None:
    """The words of values that are all known; None when one waits for an address. `downs` says for each word of a value
    which of its bits it begins with. Raises Fault for a value that does not fit."""
    scope = Known(assembler.module, assembler.symbols.local)
    full = (1 << needed_target(assembler).word) - 1
    words: list[int] = []
    for node in leaves:
        try:
            bits = kind.store(node.value(scope), 0, 1, 0)
        except Unknown:
            return None
        except Misfit as fault:
            fault.start, fault.end = node.start, node.end
            raise
        for down in downs:
            words.append(bits >> down & full)
    return tuple(words)


def values(assembler: Assembler, nodes: tuple[Node, ...], most: int) -> Iterator[Node]:
    """The single values of data operands: texts by characters, `count OF value` repeated. Raises Fault for more than
    `most` of them."""
    most = min(most, MOST_VALUES)
    total = 0
    for node in nodes:
        times = 1
        if isinstance(node, Repeated):
            counter, node = node.children
            times = assembler.known(counter, "OF")
            if times < 0:
                raise counter.fault("not_negative", directive="OF", value=shown(times))
        one: list[Node] = [node]
        if isinstance(node, Text):
            one = [Number(node.start, node.end, code) for code in assembler.codes(node)]
        total += times * len(one)
        if total > most:
            raise node.fault("too_many_values", count=total, limit=most)
        for _ in range(times):
            yield from one


def du(assembler: Assembler, call: Call) -> None:
    """Units of a few bits, packed into words, the first one highest."""
    target = needed_target(assembler)
    nodes = counted(assembler, call, 2, 1 << 20, "a number of bits, then values")
    bits = assembler.known(nodes[0], "DU")
    if not 1 <= bits <= target.word or target.word % bits:
        raise nodes[0].fault("bad_unit", value=shown(bits), word=target.word)
    units = list(values(assembler, nodes[1:], (target.top + 1) * (target.word // bits)))
    recipe = Data(bits, "packed", len(units))
    piece = Encoded((variant_of(recipe, target.word),), units, recipe)
    assembler.add(assembler.settled(piece) or piece, call)


def ds(assembler: Assembler, call: Call) -> None:
    needed_target(assembler)
    nodes = counted(assembler, call, 1, 2, "a count, and a filler if wanted")
    leave_free(assembler, call, nodes[0], nodes[1] if len(nodes) > 1 else None)


def leave_free(assembler: Assembler, call: Call, count: Node, filler: Node | None = None) -> None:
    """Leaves as many words free as an expression says, or fills them."""
    try:
        size = max(0, assembler.known(count, "DS"))
    except Unknown:
        size = -1
    assembler.add(Space(count, filler, size), call)


def align(assembler: Assembler, call: Call) -> None:
    needed_target(assembler)
    nodes = counted(assembler, call, 1, 2, "a number of words, and a filler if wanted")
    assembler.add(Alignment(nodes[0], nodes[1] if len(nodes) > 1 else None), call)


def embed(assembler: Assembler, call: Call) -> None:
    """The bytes of a file, from an offset, as many as are asked for; each one is a word."""
    target = needed_target(assembler)
    parts = split_arguments(call.statement.operands)
    if not 1 <= len(parts) <= 3:
        raise Fault("operand_count", directive="EMBED", wanted="a file, and an offset and a count if wanted", given=len(parts) or "nothing")
    path = quoted(call, parts[0][0], 'EMBED "picture.bin"')
    numbers = [number_at(assembler, text, start) for text, start in parts[1:]]
    offset, count = numbers[0] if numbers else 0, numbers[1] if len(numbers) > 1 else None
    content = assembler.reader.embed(path, call, LONGEST_FILE)
    if offset > len(content) or (count is not None and offset + count > len(content)):
        raise Fault("embed_short", path=path, length=len(content), wanted=offset + (count or 0))
    part = content[offset : None if count is None else offset + count]
    if target.word < 8 and any(byte >> target.word for byte in part):
        raise Fault("embed_wide", path=path, bits=target.word)
    assembler.add(Words(part, None), call)


def number_at(assembler: Assembler, text: str, start: int) -> int:
    """A count that stands `start` characters behind the first operand. Raises Fault."""
    try:
        operands, _ = assembler.operands(text)
        node = operands.nodes[0] if operands.nodes else Nothing(0, 1)
        value = assembler.known(node, "EMBED")
        if value < 0:
            raise node.fault("not_negative", directive="EMBED", value=shown(value))
    except Fault as fault:
        if fault.start is not None and fault.end is not None:
            fault.start, fault.end = fault.start + start, fault.end + start
        raise
    return value


def alphabet(assembler: Assembler, call: Call) -> None:
    """Gives the characters of texts other codes from here on: `ALPHABET "0123", 0x30`, `ALPHABET "ab", 7, 9`; ALPHABET
    alone goes back to ASCII."""
    nodes = counted(assembler, call, 0, 1 << 20, "a text and its codes, or nothing")
    if not nodes:
        assembler.alphabet = {}
        return
    text = nodes[0]
    if not isinstance(text, Text):
        raise text.fault("text_wanted", directive="ALPHABET", example='ALPHABET "0123", 0x30')
    codes = [assembler.known(node, "ALPHABET") for node in nodes[1:]] or [0]
    if len(codes) == 1:
        codes = list(range(codes[0], codes[0] + len(text.text)))
    if len(codes) != len(text.text):
        raise text.fault("alphabet_count", count=len(text.text), given=len(codes))
    assembler.alphabet = {**assembler.alphabet, **dict(zip(text.text, codes, strict=True))}
