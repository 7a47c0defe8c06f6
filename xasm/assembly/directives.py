"""The directives: what each does, and whether it takes a label.

To add one, write a function of (assembler, call) and its line in DIRECTIVES. Those that fill memory are in `data.py`, those
that decide what is read in `control.py`.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import TYPE_CHECKING, NamedTuple

from xasm.assembly import assumptions, control, data, stamps
from xasm.assembly.coded import coded
from xasm.assembly.module import FitStart, Origin, Section
from xasm.assembly.parsing import counted, needed_target, quoted
from xasm.source.diagnostics import MARK, Fault
from xasm.source.files import Place
from xasm.syntax.expressions import Binary, Here, Name, Node, Text, shown

if TYPE_CHECKING:
    from xasm.assembly.assembler import Assembler, Call

SECTION = re.compile(r"([A-Za-z_][A-Za-z0-9_]*)\s*(?:,\s*([A-Za-z_][A-Za-z0-9_]*)\s*)?\Z")


class Directive(NamedTuple):
    """`label` is "address" (a label in front is one like any other), "name" (it is what the directive names), "own" (the
    directive looks at it itself), "none", or "block" (none, and what the directive opens or closes is so all the same)."""

    run: Callable[[Assembler, Call], None]
    label: str


def org(assembler: Assembler, call: Call) -> None:
    (node,) = counted(assembler, call, 1, 1, "one address")
    target = needed_target(assembler)
    if isinstance(node, Binary) and node.sign == "+" and isinstance(node.children[0], Here):
        data.leave_free(assembler, call, node.children[1])  # so many words further on
        return
    if assembler.fits:
        raise Fault("fit_open", directive="ORG")
    address = assembler.known(node, "ORG")
    top = target.top_of(assembler.module.section.space)
    if not 0 <= address <= top:
        space = f"0..{target.address_text(top)}"
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
        if fault.code in ("defined_twice", "reserved_word", "chip_name", "operator_word", "local_without_label"):
            fault.place = call.label_place
        raise


def include(assembler: Assembler, call: Call) -> None:
    assembler.reader.include(quoted(call, call.statement.operands, 'INCLUDE "file.inc"'), call)


def target(assembler: Assembler, call: Call) -> None:
    name = call.statement.operands.strip()
    if name[:1] in ('"', "'"):
        name = quoted(call, name, 'TARGET "NAME"')
    if not name:
        raise Fault("operand_count", directive="TARGET", wanted="the name of a chip", given="nothing")
    try:
        assembler.choose_target(name)
    except Fault as fault:
        assembler.reader.ended = assembler.module.target is None  # nothing that follows could be read
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
    assembler.reader.ended = True


def section(assembler: Assembler, call: Call) -> None:
    """Goes on with a part of the program that is placed as one; `SECTION` alone goes back to the first."""
    target = needed_target(assembler)
    module = assembler.module
    text = call.statement.operands
    match = SECTION.match(text)
    if text and match is None:
        raise Fault("name_wanted", 0, len(text), directive="SECTION", text=text)
    name, space = (match[1], (match[2] or "").lower()) if match else ("", "")
    if assembler.fits:
        raise Fault("fit_open", directive="SECTION")
    found = assembler.sections.get(name)
    if space in ("program", ""):
        space = "" if found is None or space else found.space
    elif space not in target.spaces:
        known = ", ".join(["program", *target.spaces])
        raise Fault("no_space", match.start(2), match.end(2), space=space, chip=target.name, known=known)  # type: ignore[union-attr]
    if found is None:
        found = Section(name, space, len(module.sections), call.place)
        module.sections.append(found)
        assembler.sections[name] = found
    elif found.space != space:
        raise Fault("section_space", 0, len(text), name=name, space=found.space or "program")
    module.section = found


def public(assembler: Assembler, call: Call) -> None:
    declare(assembler, call, assembler.module.public)


def extern(assembler: Assembler, call: Call) -> None:
    declare(assembler, call, assembler.module.external)


def declare(assembler: Assembler, call: Call, names: dict[str, Place]) -> None:
    """Notes names that other files see, or that come from them."""
    source, line, column = call.place
    for node in counted(assembler, call, 1, 1 << 16, "at least one name"):
        if not isinstance(node, Name) or node.text[0] == ".":
            raise node.fault("name_wanted", directive=call.statement.operation, text=call.statement.operands)
        if MARK in node.text:
            hint = "a name that is LOCAL is known in its macro only"
            raise node.fault("name_wanted", hint, directive=call.statement.operation, text=node.text)
        names.setdefault(node.text, (source, line, column + call.statement.offset + node.start))


def fit(assembler: Assembler, call: Call) -> None:
    """The block up to ENDFIT must lie in one page: `FIT 256`, or `FIT 256, MOVE` to go to the next page if need be."""
    needed_target(assembler)
    piece = FitStart(0, False, None)
    assembler.fits.append((piece, assembler.module.position, call))  # with a mistake, too, so that its ENDFIT has its FIT
    nodes = counted(assembler, call, 1, 3, "a page size, and MOVE and a filler if wanted")
    piece.page = assembler.known(nodes[0], "FIT")
    if piece.page < 1:
        raise nodes[0].fault("bad_page", value=shown(piece.page))
    piece.move = len(nodes) > 1
    if piece.move and not (isinstance(nodes[1], Name) and nodes[1].text.upper() == "MOVE"):
        raise nodes[1].fault("word_wanted", word="MOVE", example="FIT 256, MOVE")
    piece.fill = nodes[2] if len(nodes) > 2 else None
    assembler.add(piece, call)


def endfit(assembler: Assembler, call: Call) -> None:
    opened = assembler.fits.pop() if assembler.fits else None
    if opened is not None:
        opened[0].count = assembler.module.position - opened[1] - 1
    control.nothing_behind(call)
    if opened is None:
        raise Fault("no_fit")


DIRECTIVES: dict[str, Directive] = {
    "ORG": Directive(org, "none"),
    "EQU": Directive(equ, "name"),
    ":=": Directive(assign, "name"),
    "DB": Directive(data.db, "address"),
    "DW": Directive(data.dw, "address"),
    "DU": Directive(data.du, "address"),
    "DS": Directive(data.ds, "address"),
    "ALIGN": Directive(data.align, "none"),
    "EMBED": Directive(data.embed, "address"),
    "CODED": Directive(coded, "address"),
    "STAMP": Directive(stamps.stamp, "address"),
    "ALPHABET": Directive(data.alphabet, "none"),
    "INCLUDE": Directive(include, "none"),
    "TARGET": Directive(target, "none"),
    "SECTION": Directive(section, "none"),
    "PUBLIC": Directive(public, "none"),
    "EXTERN": Directive(extern, "none"),
    "FIT": Directive(fit, "block"),
    "ENDFIT": Directive(endfit, "block"),
    "IF": Directive(control.if_, "block"),
    "ELSEIF": Directive(control.elseif, "block"),
    "ELSE": Directive(control.else_, "block"),
    "ENDIF": Directive(control.endif, "block"),
    "MACRO": Directive(control.macro, "own"),
    "REPT": Directive(control.rept, "address"),
    "ENDM": Directive(control.endm, "none"),
    "LOCAL": Directive(control.local, "none"),
    "LEAVE": Directive(control.leave, "none"),
    "ASSERT": Directive(check, "none"),
    "ASSUME": Directive(assumptions.assume, "none"),
    "END": Directive(end, "none"),
}
