"""What directives share: their operands, and the chip they need."""

from __future__ import annotations

from typing import TYPE_CHECKING

from xasm.source.diagnostics import Fault
from xasm.syntax import literals
from xasm.syntax.expressions import Node
from xasm.target.model import Target

if TYPE_CHECKING:
    from xasm.assembly.assembler import Assembler, Call


def counted(assembler: Assembler, call: Call, least: int, most: int, wanted: str) -> tuple[Node, ...]:
    """The operands, when there are as many as the directive takes."""
    operands, _ = assembler.operands(call.statement.operands)
    given = len(operands.nodes)
    if not least <= given <= most:
        raise Fault("operand_count", directive=call.statement.operation, wanted=wanted, given=given or "nothing")
    return operands.nodes


def quoted(call: Call, text: str, example: str) -> str:
    """The one text in quotes that stands after a directive, or in a part of its operands."""
    written = text.strip()
    quote = written[:1]
    if quote and quote in "\"'" and quote not in written[1:]:
        raise Fault("open_text", 0, len(written), quote=literals.QUOTES[quote])
    if len(written) < 2 or quote not in "\"'" or written.index(quote, 1) != len(written) - 1:
        raise Fault("text_wanted", 0, max(1, len(written)), directive=call.statement.operation, example=example)
    return literals.text(written, 0) if written[0] == "'" else written[1:-1]


def label_unwanted(directive: str) -> Fault:
    """The fault of a directive with a label in front that it cannot have."""
    return Fault("label_unwanted", hint="put the label on a line of its own", directive=directive)


def needed_target(assembler: Assembler) -> Target:
    """The chip; raises Fault while none is named."""
    if assembler.module.target is None:
        raise assembler.no_target()
    return assembler.module.target
