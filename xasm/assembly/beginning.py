"""The directive that says with which words the code of an instruction begins, where the instruction has several codes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from xasm.assembly.parsing import needed_target
from xasm.source.diagnostics import Fault
from xasm.syntax.expressions import shown
from xasm.syntax.lines import cut_statement

if TYPE_CHECKING:
    from xasm.assembly.assembler import Assembler, Call

EXAMPLE = "the words, a colon, and the instruction: BEGINS 0x12, 0x34: INSTRUCTION"


def begins(assembler: Assembler, call: Call) -> None:
    """Of the codes of the instruction behind the colon, one is taken that begins with these words: `BEGINS 0xAD: LDA lamp`.
    Bits that hold an operand are not compared, and bits that the chip ignores are those of the words."""
    target = needed_target(assembler)
    text = call.statement.operands
    before, colon, behind = text.partition(":")
    if not colon or not before.strip() or not behind.strip():
        raise Fault("begins_wanted", hint=EXAMPLE)
    words = []
    for node in assembler.operands(before)[0].nodes:
        word = assembler.known(node, call.statement.operation)
        if not 0 <= word < 1 << target.word:
            raise Fault("out_of_range", node.start, node.end, value=shown(word), range=f"0..{(1 << target.word) - 1}")
        words.append(word)
    start = len(text) - len(behind.lstrip())
    try:
        statement = cut_statement(text[start:])
    except Fault as fault:
        raise shifted(fault, start) from None
    if statement.operation not in target.mnemonics and assembler.is_operation(statement.operation):
        raise Fault("begins_wanted", start, start + len(statement.word), EXAMPLE)
    try:
        piece = assembler.instruction(statement, tuple(words))
    except Fault as fault:
        if fault.start is None:
            fault.start, fault.end = 0, len(statement.word)
            raise shifted(fault, start) from None
        raise shifted(fault, start + statement.offset) from None
    assembler.add(piece, call, start + statement.offset)


def shifted(fault: Fault, by: int) -> Fault:
    """A fault of a part of the operands, as one of all of them."""
    if fault.start is not None and fault.place is None:
        fault.end = (fault.end or fault.start + 1) + by
        fault.start += by
    return fault
