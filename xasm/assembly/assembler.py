"""Reads sources and turns statements into pieces.

Real programs say the same few things again and again: what a statement text became is remembered, and a text seen
before costs one look-up.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from difflib import get_close_matches
from pathlib import Path

from xasm.assembly.directives import DIRECTIVES
from xasm.assembly.module import Check, Encoded, Entry, Equate, Module, Piece, Words
from xasm.assembly.symbols import FIXED_SCOPE, Known, Symbols, Unknown
from xasm.source.diagnostics import Fault, Report
from xasm.source.files import Place, Source, read_source
from xasm.syntax.expressions import Node
from xasm.syntax.lines import OPERATION, Line, Statement, cut_statement, read_lines
from xasm.syntax.parser import Operands, parse_operands, plain
from xasm.target.encode import encode, placed
from xasm.target.kinds import Misfit
from xasm.target.model import Target

DEEPEST_INCLUDE = 50


class Assembler:
    """One module in the making. `folders` are searched for included files after the including file's own; `load` finds
    a chip by name (raises Fault)."""

    def __init__(self, report: Report, folders: Sequence[Path] = (), load: Callable[[str], Target] | None = None) -> None:
        self.report = report
        self.folders = folders
        self.load = load
        self.module = Module()
        self.symbols = Symbols(self.module)
        self.ended = False
        self._seen: dict[str, tuple[Piece, int]] = {}

    # reading

    def read(self, source: Source) -> None:
        """Assembles all lines of a source; errors go to the report."""
        self.module.sources.append(source)
        self.ended = False
        self._lines(source)

    def _lines(self, source: Source) -> None:
        self.report.reads(source)
        control = source.control()
        if control is not None:
            value = f"0x{ord(source.line(control[1])[control[2] - 1]):02X}"
            self.report.fault(Fault("control", value=value), control)
            return
        seen = self._seen
        entries = self.module.entries
        symbols = self.symbols
        for line in read_lines(source, self._is_operation):
            known = seen.get(line.body)
            if known is not None:
                if line.label:
                    self._label(line, source)
                piece, offset = known
                entries.append(Entry(piece, (source, line.number, line.column), offset, symbols.local))
            else:
                self._line(line, source)
                if self.ended or self.report.full:
                    return

    def _is_operation(self, word: str) -> bool:
        if word in DIRECTIVES:
            return True
        target = self.module.target
        return target is not None and word in target.mnemonics

    def _label(self, line: Line, source: Source) -> None:
        place = (source, line.number, line.label_column)
        try:
            self.symbols.label(line.label, place)
        except Fault as fault:
            self.report.fault(fault, place)

    def _line(self, line: Line, source: Source) -> None:
        """A line whose statement was not seen before."""
        place = (source, line.number, line.column)
        if line.fault is not None:
            self.report.fault(line.fault, place)
            return
        if not line.body:
            self._label(line, source)
            return
        offset = 0
        word = line.body
        try:
            statement = cut_statement(line.body)
            offset, word = statement.offset, statement.word
            directive = DIRECTIVES.get(statement.operation)
            if directive is None:
                if line.label:
                    self._label(line, source)
                self._add(self._instruction(statement, line.body), place, offset)
                return
            if line.label and directive.label == "address":
                self._label(line, source)
            elif line.label and directive.label == "none":
                raise Fault("label_unwanted", hint="put the label on a line of its own", directive=statement.operation)
            elif not line.label and directive.label == "name":
                raise Fault("label_needed", directive=statement.operation)
            label_place = (source, line.number, line.label_column)
            directive.run(self, Call(statement, place, line.label, label_place))
        except Fault as fault:
            self.report.fault(fault, place, offset, len(word))

    def _add(self, piece: Piece, place: Place, offset: int) -> None:
        self.module.entries.append(Entry(piece, place, offset, self.symbols.local))

    # statements

    def operands(self, text: str) -> tuple[Operands, bool]:
        """Operands with changing names replaced by what they stand for now, and whether any was."""
        operands = parse_operands(text)
        if self.symbols.variables and not operands.names.isdisjoint(self.symbols.variables):
            return plain(tuple(node.renamed(self.symbols.variables) for node in operands.nodes)), True
        return operands, False

    def _instruction(self, statement: Statement, body: str) -> Piece:
        target = self.module.target
        if target is None:
            raise self.no_target()
        if statement.operation not in target.mnemonics:
            raise self._unknown(statement, target)
        operands, changing = self.operands(statement.operands)
        variants, leaves = target.variants(statement.operation, operands.nodes)
        encoded = Encoded(variants, leaves)
        piece: Piece = encoded if placed(variants) else self.settled(encoded) or encoded
        if not changing:
            self._seen[body] = (piece, statement.offset)
        return piece

    def settled(self, piece: Encoded) -> Words | None:
        """The words of a statement whose values are all known: of the first variant that they fit. None when something
        waits; raises Fault when no variant fits."""
        scope = Known(self.module.constants, FIXED_SCOPE)
        for variant in piece.variants:
            try:
                return Words(tuple(encode(variant, piece.leaves, scope, 0)), variant.form)
            except Unknown:
                return None
            except Misfit:
                if variant is piece.variants[-1]:
                    raise
        return None

    def forget(self) -> None:
        """Forgets what statement texts became: from here on a name in them may stand for something else."""
        self._seen.clear()

    def known(self, node: Node, directive: str) -> int:
        """A value that a directive needs at once; raises Fault that names what is missing."""
        try:
            return node.value(Known(self.module.constants, self.symbols.local))
        except Unknown as unknown:
            unknown.values["directive"] = directive
            raise

    def no_target(self) -> Fault:
        """The fault of a statement that needs a chip; reading ends with it."""
        self.ended = True  # nothing that follows could be read
        return Fault("no_target", hint="name it on the command line (-t NAME) or in the source (TARGET NAME)")

    def _unknown(self, statement: Statement, target: Target) -> Fault:
        following = OPERATION.match(statement.operands)
        if following and self._is_operation(following[0].upper()):
            colon = f"a label that does not begin in column 1 needs a colon: {statement.word}:"
            return Fault("unknown_operation", hint=colon, word=statement.word, chip=target.name)
        words = [*target.mnemonics, *DIRECTIVES]
        near = get_close_matches(statement.operation, words, n=3, cutoff=0.6)
        hint = f"did you mean {' or '.join(near)}?" if near else None
        return Fault("unknown_operation", hint=hint, word=statement.word, chip=target.name)

    # what directives do

    def choose_target(self, name: str, target: Target | None = None) -> None:
        """Names the chip, once for the whole program."""
        present = self.module.target
        if present is not None and name.lower() in (present.name.lower(), *(other.lower() for other in present.also)):
            return
        if target is None:
            if self.load is None:
                raise Fault("unknown_target", name=name)
            target = self.load(name)
        if present is not None:
            raise Fault("target_twice", first=present.name)
        self.module.target = target
        for key, place in self.module.defined.items():
            if key.upper() in target.reserved:
                self.report.fault(Fault("reserved_word", 0, len(key), name=key, chip=target.name), place)

    def add(self, piece: Piece, call: Call) -> None:
        self._add(piece, call.place, call.statement.offset)

    def equate(self, call: Call, node: Node) -> Equate:
        """An expression to be computed by the linker."""
        return Equate(node, call.place, call.place[2], call.statement.offset, self.symbols.local, len(self.module.entries))

    def check(self, call: Call, node: Node, why: str) -> None:
        self.module.checks.append(Check(node, why, call.place, call.statement.offset, self.symbols.local, len(self.module.entries)))

    def include(self, path: str, call: Call) -> None:
        """Reads another file in place of the statement."""
        source = call.place[0]
        folders = [Path(source.path).parent, *self.folders]
        found = next((folder / path for folder in folders if is_file(folder / path)), None)
        if found is None:
            looked = ", ".join(f"'{folder}'" for folder in folders)
            raise Fault("include_missing", 0, len(call.statement.operands), path=path, looked=looked)
        chain = [source, *(place[0] for place in source.chain())]
        if any(same_file(found, Path(one.path)) for one in chain):
            names = " -> ".join([*(one.path for one in reversed(chain)), str(found)])
            raise Fault("include_cycle", 0, len(call.statement.operands), path=path, chain=names)
        if len(chain) > DEEPEST_INCLUDE:
            raise Fault("include_deep", limit=DEEPEST_INCLUDE)
        brought = read_source(found, str(found), call.place)
        self.module.brought.setdefault((source, call.place[1]), []).append(brought)
        self._lines(brought)


def is_file(path: Path) -> bool:
    """Whether there is a file; there is none of a name that the system does not take."""
    try:
        return path.is_file()
    except OSError:
        return False


def same_file(a: Path, b: Path) -> bool:
    try:
        return a.samefile(b)
    except OSError:
        return False


class Call:
    """A directive as it stands in the source: the statement, its place, the label in front and its place."""

    __slots__ = ("label", "label_place", "place", "statement")

    def __init__(self, statement: Statement, place: Place, label: str, label_place: Place) -> None:
        self.statement = statement
        self.place = place
        self.label = label
        self.label_place = label_place
