"""The directives that decide what is read: conditions, macros, repeats."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from xasm.assembly.macros import NAME, Macro, Parameter, local_names, read_parameters, split_arguments
from xasm.assembly.symbols import of_chip
from xasm.source.diagnostics import MARK, Fault, elsewhere
from xasm.syntax.expressions import WORDS, Nothing, shown

if TYPE_CHECKING:
    from xasm.assembly.assembler import Assembler, Call

TEST = re.compile(r"(NOT\s+)?(DEFINED|EMPTY|SAME)(?=\s|\Z)(.*)\Z", re.IGNORECASE | re.DOTALL)
# A name in a program: plain, local, local with its label in front, or made new by LOCAL.
SYMBOL = re.compile(rf"\.?[A-Za-z_][A-Za-z0-9_]*(?:{MARK}[0-9]+)?(?:(?<!\.)\.[A-Za-z_][A-Za-z0-9_]*)?\Z")


def condition(assembler: Assembler, call: Call) -> bool:
    """The condition behind IF or ELSEIF: an expression that is known, or one of the tests
    `DEFINED name`, `EMPTY text`, `SAME text, text`, each with NOT in front if wanted. Raises Fault."""
    text = call.statement.operands
    match = TEST.match(text)
    if match is None or (match[2].upper() == "DEFINED" and not match[3].strip()):
        operands, _ = assembler.operands(text)
        if len(operands.nodes) != 1:
            given = len(operands.nodes) or "nothing"
            raise Fault("operand_count", directive=call.statement.operation, wanted="one condition", given=given)
        return assembler.known(operands.nodes[0], call.statement.operation) != 0
    test, rest = match[2].upper(), match[3].strip()
    start = match.start(3) + len(match[3]) - len(match[3].lstrip())
    if test == "DEFINED":
        if not SYMBOL.match(rest):
            raise Fault("name_wanted", start, start + max(1, len(rest)), directive="DEFINED", text=rest)
        value = assembler.symbols.is_defined(rest)
    elif test == "EMPTY":
        value = not rest
    else:
        parts = [part for part, _ in split_arguments(rest)]
        if len(parts) != 2:
            given = len(parts) or "nothing"
            raise Fault("operand_count", start, start + max(1, len(rest)), directive="SAME", wanted="two texts", given=given)
        value = parts[0].upper() == parts[1].upper()
    return value != bool(match[1])


def if_(assembler: Assembler, call: Call) -> None:
    try:
        value = condition(assembler, call)
    except Fault:
        assembler.reader.open_condition(call, False)  # so that its ENDIF has its IF
        raise
    assembler.reader.open_condition(call, value)


def elseif(assembler: Assembler, call: Call) -> None:
    assembler.reader.turn(call, lambda: condition(assembler, call))


def else_(assembler: Assembler, call: Call) -> None:
    assembler.reader.turn(call, lambda: True)
    nothing_behind(call)


def endif(assembler: Assembler, call: Call) -> None:
    assembler.reader.close_condition(call)
    nothing_behind(call)


def macro(assembler: Assembler, call: Call) -> None:
    name = call.label
    parameters: tuple[Parameter, ...] = ()
    instead = False
    fault = None
    try:
        parameters, instead = read_parameters(call.statement.operands)
    except Fault as error:
        fault = error  # so that its ENDM has its MACRO
    target = assembler.module.target
    first = assembler.reader.macros.get(name.upper())
    if not name:
        fault = Fault("label_needed", directive="MACRO")
    elif not NAME.match(name):
        fault = Fault("name_wanted", 0, len(name), place=call.label_place, directive="MACRO", text=name)
    elif assembler.is_directive(name.upper()):
        fault = Fault("macro_is_directive", 0, len(name), place=call.label_place, name=name)
    elif target is not None and name.upper() in target.mnemonics and not instead:
        hint = f"to let it stand in for the instruction, say: {name} MACRO INSTEAD ..."
        fault = Fault("macro_is_instruction", 0, len(name), hint, call.label_place, name=name, chip=target.name)
    elif first is not None:
        fault = Fault("defined_twice", 0, len(name), place=call.label_place, name=name, first=elsewhere(first.place, call.place))

    def finish(lines: list[str], number: int) -> None:
        local, kept = local_names(lines, lambda name: local_fault(assembler, name) is None)
        made = Macro(name, parameters, tuple(kept), local, call.place[0], number, instead, call.label_place)
        if fault is None:
            assembler.reader.macros[name.upper()] = made
            assembler.forget()

    assembler.reader.collect(call, finish)
    if fault is not None:
        raise fault


def rept(assembler: Assembler, call: Call) -> None:
    parts = split_arguments(call.statement.operands)
    index = parts[1][0] if len(parts) == 2 else ""
    count = 0
    fault = None
    try:
        if not 1 <= len(parts) <= 2:
            wanted = "a count, and a name for the turn if wanted"
            raise Fault("operand_count", directive="REPT", wanted=wanted, given=len(parts) or "nothing")
        if len(parts) == 2 and not NAME.match(index):
            raise Fault("name_wanted", parts[1][1], parts[1][1] + max(1, len(index)), directive="REPT", text=index)
        operands, _ = assembler.operands(parts[0][0])
        node = operands.nodes[0] if operands.nodes else Nothing(0, 1)
        count = assembler.known(node, "REPT")
        if count < 0:
            raise node.fault("not_negative", directive="REPT", value=shown(count))
    except Fault as error:
        fault = error
        count = 0
    assembler.reader.collect(call, lambda lines, number: assembler.reader.repeat(lines, number, count, index, call))
    if fault is not None:
        raise fault


def endm(assembler: Assembler, call: Call) -> None:
    raise Fault("no_block")


def local(assembler: Assembler, call: Call) -> None:
    """LOCAL that no macro has taken: it stands elsewhere, or declares what is no name. Raises Fault."""
    text = call.statement.operands
    expansions = assembler.reader.expansions
    if expansions and expansions[-1].macro is not None:
        for name, start in split_arguments(text) or [("", 0)]:
            found = local_fault(assembler, name)
            if found is not None:
                found.start, found.end = start, start + max(1, len(name))
                raise found
    inside = any(expansion.macro is not None for expansion in expansions)
    hint = "it belongs to the macro's own lines, not to a repeat or a file in them" if inside else None
    raise Fault("local_outside", hint=hint)


def local_fault(assembler: Assembler, name: str) -> Fault | None:
    """What is wrong with a text as a name that is LOCAL."""
    target = assembler.module.target
    word = name.upper()
    taken = of_chip(name, target) if target is not None else None
    if taken is not None:
        return taken
    if assembler.is_operation(word) or word in WORDS:
        hint = f"in the lines of the macro '{name}' would no longer mean what it does elsewhere"
        return Fault("name_wanted", hint=hint, directive="LOCAL", text=name)
    return None if NAME.match(name) else Fault("name_wanted", directive="LOCAL", text=name)


def leave(assembler: Assembler, call: Call) -> None:
    nothing_behind(call)
    assembler.reader.leave()


def nothing_behind(call: Call) -> None:
    if call.statement.operands:
        raise Fault("no_operands_wanted", 0, len(call.statement.operands), operation=call.statement.operation)
