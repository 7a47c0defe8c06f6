"""The directive that says which of its codes an instruction has, where it could be written with several."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, NoReturn

from xasm.assembly.parsing import needed_target
from xasm.source.diagnostics import Fault
from xasm.syntax.expressions import shown
from xasm.syntax.lines import Statement, cut_statement
from xasm.target.forms import Variant
from xasm.target.model import Target

if TYPE_CHECKING:
    from xasm.assembly.assembler import Assembler, Call

MOST_TOLD = 8  # forms in a hint


def coded(assembler: Assembler, call: Call) -> None:
    """`CODED 0xAD: instruction`: the instruction in the form whose code begins with that word, or those words. The operands stay
    what they are: the form follows its label wherever that lies."""
    target = needed_target(assembler)
    head, colon, rest = call.statement.operands.partition(":")
    if not colon or not head.strip() or not rest.strip():
        raise Fault("coded_wanted")
    words = tuple(_words(assembler, head, target))
    begin = ahead = len(head) + 1 + len(rest) - len(rest.lstrip())  # where the instruction begins, and then its operands
    try:
        inner = cut_statement(rest.strip())
        if inner.operation not in target.mnemonics:
            hint = "a macro or directive cannot stand here" if assembler.is_operation(inner.operation) else None
            raise Fault("coded_no_instruction", 0, len(inner.word), hint, word=inner.word, chip=target.name)
        ahead += inner.offset
        piece = assembler.instruction(inner, words)
    except Fault as fault:
        if fault.start is None:
            fault.start, fault.end = begin, begin + len(rest.split()[0])
        else:
            fault.start, fault.end = ahead + fault.start, ahead + (fault.end or fault.start + 1)
        raise
    call.statement = inner._replace(offset=call.statement.offset + ahead)  # where its operands stand in the line
    assembler.add(piece, call)


def _words(assembler: Assembler, head: str, target: Target) -> Sequence[int]:
    operands, _ = assembler.operands(head)
    found = []
    for node in operands.nodes:
        word = assembler.known(node, "CODED")
        if not 0 <= word < 1 << target.word:
            raise node.fault("out_of_range", value=shown(word), range=f"0..0x{(1 << target.word) - 1:X}")
        found.append(word)
    return found


def coded_otherwise(variants: Sequence[Variant], words: Sequence[int], statement: Statement, target: Target) -> NoReturn:
    """Raises the fault of a statement no form of which begins with those words; the hint names the forms that there are."""
    forms = dict.fromkeys(variant.form for variant in variants if variant.form is not None)
    known = "; ".join(f"{form.shown} is {form.code_text}" for form in list(forms)[:MOST_TOLD])
    text = " ".join(map(target.word_text, words))
    raise Fault("coded_otherwise", None, None, known, operation=statement.word, words=text)
