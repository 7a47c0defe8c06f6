"""Names that nobody defined, in a program that cannot be placed because of its other mistakes.

Where a program can be placed the linker finds them itself, at the statements whose values it computes.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence

from xasm.assembly.module import Alignment, Encoded, FitStart, Module, Space, Stamp
from xasm.linking.program import Program
from xasm.linking.values import Values
from xasm.source.diagnostics import Fault, Report
from xasm.source.files import Place
from xasm.syntax.expressions import Binary, Choose, Dotted, Name, Node
from xasm.target.model import Target


def undefined(module: Module, target: Target, spoiled: Collection[str], report: Report) -> None:
    """Reports every name that is used, not defined and not EXTERN. `spoiled` are names whose definitions may be among the
    mistakes."""
    program = Program([module], target, Report())
    values = Values(program, [0] * (len(program.entries) + 1))
    for place, scope, nodes in uses(module):
        for name, node in (found for root in nodes for found in names(root)):
            key = scope + name if name[0] == "." else name
            if key in module.defined or key in module.equates or key in module.external or name in spoiled or report.full:
                continue
            values.local = scope
            try:
                values.symbol(name, node)
            except Fault as fault:
                report.fault(fault, place)


def uses(module: Module) -> Iterator[tuple[Place, str, Sequence[Node]]]:
    """All expressions that wait for a value: where the operands begin, the label before them, the expressions."""
    for piece, (source, line, column), offset, scope in module.entries():
        nodes: Sequence[Node | None] = ()
        if isinstance(piece, Encoded):
            nodes = piece.leaves
        elif isinstance(piece, Stamp):
            nodes = piece.nodes
        elif isinstance(piece, Space):
            nodes = (piece.count, piece.fill)
        elif isinstance(piece, Alignment):
            nodes = (piece.step, piece.fill)
        elif isinstance(piece, FitStart):
            nodes = (piece.fill,)
        if nodes:
            yield (source, line, column + offset), scope, [node for node in nodes if node is not None]
    for equate in [*module.equates.values(), *([module.start] if module.start else [])]:
        source, line, _ = equate.place
        yield (source, line, equate.body + equate.offset), equate.scope, (equate.node,)
    for check in module.checks:
        source, line, column = check.place
        yield (source, line, column + check.offset), check.scope, (check.node,)


def foreign(module: Module) -> set[str]:
    """The EXTERN names that a module uses and does not define."""
    wanted = module.external.keys() - module.defined.keys()
    found: set[str] = set()
    if wanted:
        for _, _, nodes in uses(module):
            for root in nodes:
                found.update(node.text for node in root.walk() if isinstance(node, Name))
    return found & wanted


def names(node: Node) -> Iterator[tuple[str, Node]]:
    """The names whose values an expression needs whatever the others are."""
    if isinstance(node, Name):
        yield node.text, node
    elif isinstance(node, Dotted):
        if node.name:
            yield node.name, node
        else:
            yield from names(node.children[0])
    elif not isinstance(node, Choose) and not (isinstance(node, Binary) and node.sign in ("&&", "||")):
        for child in node.children:
            yield from names(child)
