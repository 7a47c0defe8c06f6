"""The directives: what each does, and whether it takes a label.

To add one, write a function of (assembler, call) and its line in DIRECTIVES.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, NamedTuple

from xasm.assembly.module import Alignment, Encoded, Origin, Space
from xasm.assembly.symbols import Unknown
from xasm.source.diagnostics import Fault
from xasm.source.files import Place
from xasm.syntax import literals
from xasm.syntax.expressions import Node, Number, Text, shown
from xasm.target.kinds import plain
from xasm.target.model import Patch, Slot, Target, Variant

if TYPE_CHECKING:
    from xasm.assembly.assembler import Assembler, Call


class Directive(NamedTuple):
    """`label` is "address" (a label in front is one like any other), "name" (it is what the directive names) or
    "none"."""

    run: Callable[[Assembler, Call], None]
    label: str


def counted(assembler: Assembler, call: Call, least: int, most: int, wanted: str) -> tuple[Node, ...]:
    """The operands, when there are as many as the directive takes."""
    operands, _ = assembler.operands(call.statement.operands)
    given = len(operands.nodes)
    if not least <= given <= most:
        raise Fault("operand_count", directive=call.statement.operation, wanted=wanted, given=given or "nothing")
    return operands.nodes


def org(assembler: Assembler, call: Call) -> None:
    (node,) = counted(assembler, call, 1, 1, "one address")
    address = assembler.known(node, "ORG")
    target = needed_target(assembler)
    if not 0 <= address <= target.top:
        space = f"0..{target.hex_address(target.top)}"
        raise node.fault("beyond_space", address=shown(address), chip=target.name, range=space)
    assembler.add(Origin(address), call)


def equ(assembler: Assembler, call: Call) -> None:
    define(assembler, call, assembler.symbols.equate)


def assign(assembler: Assembler, call: Call) -> None:
    if call.label not in assembler.symbols.variables:
        assembler.forget()
    define(assembler, call, assembler.symbols.assign)


def define(assembler: Assembler, call: Call, give: Callable[[str, Node, Place, int, int], None]) -> None:
    """Gives the name in front the value behind; a fault of the name itself is marked at the name."""
    (node,) = counted(assembler, call, 1, 1, "one value")
    try:
        give(call.label, node, call.label_place, call.place[2], call.statement.offset)
    except Fault as fault:
        if fault.code in ("defined_twice", "reserved_word", "operator_word", "local_without_label"):
            fault.place = call.label_place
        raise


def db(assembler: Assembler, call: Call) -> None:
    data(assembler, call, needed_target(assembler).word)


def dw(assembler: Assembler, call: Call) -> None:
    data(assembler, call, needed_target(assembler).word * 2)


def data(assembler: Assembler, call: Call, bits: int) -> None:
    """Values of `bits` bits each; in a text every character is one."""
    target = needed_target(assembler)
    nodes = counted(assembler, call, 1, 1 << 20, "at least one value")
    kind = plain("a byte" if bits == 8 else f"a value of {bits} bits", "number", bits)
    count = bits // target.word
    patches: list[Patch] = []
    leaves: list[Node] = []
    for node in nodes:
        values: list[Node] = [node]
        if isinstance(node, Text):
            values = [Number(node.start, node.end, code) for code in node.codes()]
        for value in values:
            first = len(leaves) * count
            slots = []
            for index in range(count):
                down = target.word * (index if target.order == "little" else count - 1 - index)
                slots.append(Slot(first + index, 0, target.word, down))
            patches.append(Patch(len(leaves), kind, tuple(slots)))
            leaves.append(value)
    piece = Encoded((Variant(None, (0,) * (count * len(leaves)), tuple(patches)),), leaves)
    assembler.add(assembler.settled(piece) or piece, call)


def ds(assembler: Assembler, call: Call) -> None:
    needed_target(assembler)
    nodes = counted(assembler, call, 1, 2, "a count, and a filler if wanted")
    try:
        size = max(0, assembler.known(nodes[0], "DS"))
    except Unknown:
        size = -1
    assembler.add(Space(nodes[0], nodes[1] if len(nodes) > 1 else None, size), call)


def align(assembler: Assembler, call: Call) -> None:
    needed_target(assembler)
    nodes = counted(assembler, call, 1, 2, "a number of words, and a filler if wanted")
    assembler.add(Alignment(nodes[0], nodes[1] if len(nodes) > 1 else None), call)


def include(assembler: Assembler, call: Call) -> None:
    assembler.include(quoted(call, 'INCLUDE "file.inc"'), call)


def target(assembler: Assembler, call: Call) -> None:
    name = call.statement.operands.strip()
    if name[:1] in ('"', "'"):
        name = quoted(call, 'TARGET "NAME"')
    if not name:
        raise Fault("operand_count", directive="TARGET", wanted="the name of a chip", given="nothing")
    try:
        assembler.choose_target(name)
    except Fault as fault:
        assembler.ended = assembler.module.target is None  # nothing that follows could be read
        if fault.start is None and fault.place is None:
            fault.start, fault.end = 0, len(call.statement.operands)
        raise


def check(assembler: Assembler, call: Call) -> None:
    nodes = counted(assembler, call, 1, 2, "a condition, and a text if wanted")
    why = "the condition is 0"
    if len(nodes) > 1:
        if not isinstance(nodes[1], Text):
            raise nodes[1].fault("text_wanted", directive="ASSERT", example='ASSERT a < b, "why"')
        why = nodes[1].text
    assembler.check(call, nodes[0], why)


def end(assembler: Assembler, call: Call) -> None:
    nodes = counted(assembler, call, 0, 1, "a start address or nothing")
    if nodes:
        assembler.module.start = assembler.equate(call, nodes[0])
    assembler.ended = True


def quoted(call: Call, example: str) -> str:
    """The one text in quotes that stands after a directive."""
    written = call.statement.operands.strip()
    quote = written[:1]
    if quote and quote in "\"'" and quote not in written[1:]:
        raise Fault("open_text", 0, len(written), quote=literals.QUOTES[quote])
    if len(written) < 2 or quote not in "\"'" or written.index(quote, 1) != len(written) - 1:
        raise Fault("text_wanted", 0, max(1, len(written)), directive=call.statement.operation, example=example)
    return literals.text(written, 0) if written[0] == "'" else written[1:-1]


def needed_target(assembler: Assembler) -> Target:
    if assembler.module.target is None:
        raise assembler.no_target()
    return assembler.module.target


DIRECTIVES: dict[str, Directive] = {
    "ORG": Directive(org, "none"),
    "EQU": Directive(equ, "name"),
    ":=": Directive(assign, "name"),
    "DB": Directive(db, "address"),
    "DW": Directive(dw, "address"),
    "DS": Directive(ds, "address"),
    "ALIGN": Directive(align, "none"),
    "INCLUDE": Directive(include, "none"),
    "TARGET": Directive(target, "none"),
    "ASSERT": Directive(check, "none"),
    "END": Directive(end, "none"),
}
