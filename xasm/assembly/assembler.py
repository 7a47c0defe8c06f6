"""Reads sources and turns statements into pieces.

Real programs say the same few things again and again: what a statement text became is remembered, and a text seen
before costs one look-up.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from xasm.assembly.coded import coded_otherwise
from xasm.assembly.directives import DIRECTIVES
from xasm.assembly.limits import Limits, most_words
from xasm.assembly.macros import Macro
from xasm.assembly.module import Check, Encoded, Entry, Equate, FitStart, Instruction, Module, Piece, Stamp, Words
from xasm.assembly.parsing import label_unwanted
from xasm.assembly.reader import Reader, room_for
from xasm.assembly.symbols import FIXED_SCOPE, Known, Symbols, Unknown, of_chip
from xasm.source.diagnostics import Fault, Report
from xasm.source.files import Place, Source
from xasm.source.nearest import did_you_mean
from xasm.syntax.expressions import Node, Text
from xasm.syntax.lines import OPERATION, Line, Statement, cut_statement
from xasm.syntax.parser import Operands, not_beside, parse_operands, plain
from xasm.target.encode import assuming, beginning, encode, placed
from xasm.target.habits import delimited, translated
from xasm.target.kinds import Misfit
from xasm.target.model import Target


class Assembler:
    """One module in the making. `folders` are searched for included files after the including file's own; `load` finds
    a chip by name (raises Fault); `path` is the file that it is made of."""

    def __init__(
        self,
        report: Report,
        folders: Sequence[Path] = (),
        load: Callable[[str], Target] | None = None,
        limits: Limits | None = None,
        path: str = "",
    ) -> None:
        self.report = report
        self.load = load
        self.module = Module(path)
        self.symbols = Symbols(self.module)
        self.reader = Reader(self, folders, limits or Limits())
        self.sections = {"": self.module.section}  # by name
        self.alphabet: dict[str, int] = {}
        self.assumed: dict[str, int] = {}  # what the source assumes, where that is not what the table does
        self.order = ""  # of the words of a value, where the directive at hand has one of its own
        self.fits: list[tuple[FitStart, int, Call]] = []
        self.seen: dict[str, tuple[Piece, int]] = {}
        self._made = 0  # words of what was added

    def read(self, source: Source) -> None:
        """Assembles all lines of a file; errors go to the report."""
        self.module.sources.append(source)
        self.reader.ended = False
        with room_for(self.reader.limits.depth):
            self.reader.read(source)

    def finish(self) -> Module:
        """The whole module, when everything has been read."""
        for _, _, call in self.fits:
            self.report.fault(Fault("block_open", directive="FIT", closing="ENDFIT"), call.place, 0, len(call.statement.word))
        return self.module

    # lines, as the reader finds them

    def is_directive(self, word: str) -> bool:
        return word in DIRECTIVES

    def is_operation(self, word: str) -> bool:
        """Whether a word in capitals is a directive, macro or mnemonic by now."""
        if word in DIRECTIVES or word in self.reader.macros:
            return True
        target = self.module.target
        return target is not None and (word in target.mnemonics or word in target.directives)

    def is_remark(self, character: str) -> bool:
        """Whether a line that begins with this character is a remark, by the maker's habit."""
        target = self.module.target
        return character == "*" and target is not None and "remark_star" in target.habits

    def label(self, line: Line, source: Source) -> None:
        """Defines the label of a line."""
        place = (source, line.number, line.label_column)
        try:
            self.symbols.label(line.label, place)
        except Fault as fault:
            self.report.fault(fault, place)

    def line(self, line: Line, source: Source) -> None:
        """A line whose statement was not seen before."""
        place = (source, line.number, line.column)
        if line.fault is not None:
            self.report.fault(line.fault, place)
            return
        if not line.body:
            self.label(line, source)
            return
        offset = 0
        word = line.body
        try:
            statement = cut_statement(line.body)
            offset, word = statement.offset, statement.word
            macro = self.reader.macros.get(statement.operation)
            if macro is not None and not self._inside_itself(macro):
                if line.label:
                    self.label(line, source)
                self.reader.call_macro(macro, statement.operands, place)
                return
            target = self.module.target
            own = target is not None and target.is_instruction(statement.operation)
            statement = self._ours(statement)
            directive = None if own else DIRECTIVES.get(statement.operation)
            if directive is None:
                if line.label:
                    self.label(line, source)
                self._add(self.instruction(statement, body=line.body), place, offset)
                return
            if line.label and directive.label == "address":
                self.label(line, source)
            elif line.label and directive.label == "none":
                raise label_unwanted(statement.operation)
            elif line.label and directive.label == "block":
                self.report.fault(label_unwanted(statement.operation), place, offset, len(word))
            elif not line.label and directive.label == "name":
                raise Fault("label_needed", directive=statement.operation)
            label_place = (source, line.number, line.label_column)
            directive.run(self, Call(statement, place, line.label, label_place))
        except Fault as fault:
            self.report.fault(fault, place, offset, len(word))

    def _ours(self, statement: Statement) -> Statement:
        """A statement of the maker's as one of ours."""
        target = self.module.target
        maker = target.directives.get(statement.operation) if target is not None else None
        self.order = maker.order if maker is not None else ""
        if maker is None:
            return statement
        operands = delimited(statement.operands) if maker.delimited else statement.operands
        return statement._replace(operation=maker.name, operands=maker.first + operands, offset=statement.offset - len(maker.first))

    def _inside_itself(self, macro: Macro) -> bool:
        """A macro that stands in for an instruction: in its own lines the name means the instruction."""
        return macro.instead and any(expansion.macro is macro for expansion in self.reader.expansions)

    def _add(self, piece: Piece, place: Place, offset: int) -> None:
        self.module.section.entries.append(Entry(piece, place, offset, self.symbols.local))
        if isinstance(piece, (Words, Encoded, Stamp)):
            self._made += piece.size
            target = self.module.target
            if target is not None and self._made > most_words(target.top + 1):
                self.reader.ended = True
                raise Fault("too_many_words", limit=most_words(target.top + 1), chip=target.name)

    # statements

    def operands(self, text: str, beside: bool = False) -> tuple[Operands, bool]:
        """Operands with changing names replaced by what they stand for now, and whether any was. `beside` says whether two
        things may stand side by side."""
        target = self.module.target
        operands = parse_operands(translated(text, target.habits) if target is not None and target.habits else text)
        if operands.beside is not None and not beside:
            raise not_beside(operands.beside, text)
        if self.symbols.variables and not operands.names.isdisjoint(self.symbols.variables):
            return plain(tuple(node.renamed(self.symbols.variables) for node in operands.nodes)), True
        return operands, False

    def instruction(self, statement: Statement, begins: tuple[int, ...] = (), body: str | None = None) -> Piece:
        """What an instruction becomes. Its code begins with the words `begins`; `body` is the text by which lines like it can be
        known again. Raises Fault."""
        target = self.module.target
        if target is None:
            raise self.no_target()
        if statement.operation not in target.mnemonics:
            raise self._unknown(statement, target)
        operands, changing = self.operands(statement.operands, target.notation.beside)
        variants, leaves, shape = target.variants(statement.operation, operands.nodes)
        if begins:
            variants = beginning(variants, begins) or coded_otherwise(variants, begins, statement, target)
        assumed: tuple[tuple[str, int], ...] = ()
        if self.assumed:
            variants = assuming(variants, self.assumed)
            assumed = tuple(self.assumed.items())
        encoded = Encoded(variants, leaves, Instruction(statement.operation, shape, assumed, begins))
        piece: Piece = encoded if placed(variants) else self.settled(encoded) or encoded
        if body is not None and not changing and statement.operation not in self.reader.macros:
            self.seen[body] = (piece, statement.offset)
        return piece

    def settled(self, piece: Encoded) -> Words | None:
        """The words of a statement whose values are all known: of the first variant that they fit. None when something
        waits; raises Fault when no variant fits."""
        scope = Known(self.module, FIXED_SCOPE)
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
        self.seen.clear()

    def known(self, node: Node, directive: str) -> int:
        """A value that a directive needs at once; raises Fault that names what is missing."""
        try:
            return node.value(Known(self.module, self.symbols.local))
        except Unknown as unknown:
            unknown.values["directive"] = directive
            raise

    def no_target(self) -> Fault:
        """The fault of a statement that needs a chip; reading ends with it."""
        self.reader.ended = True  # nothing that follows could be read
        return Fault("no_target", hint="name it on the command line (-t NAME) or in the source (TARGET NAME)")

    def _unknown(self, statement: Statement, target: Target) -> Fault:
        following = OPERATION.match(statement.operands)
        if following and self.is_operation(following[0].upper()) and not statement.operation.endswith(","):
            colon = f"a label that does not begin in column 1 needs a colon: {statement.word}:"
            return Fault("unknown_operation", hint=colon, word=statement.word, chip=target.name)
        if statement.operation in ("=", "*="):
            ours = "a value gets a name by EQU" if statement.operation == "=" else "an address is set by ORG"
            return Fault("unknown_operation", hint=ours, word=statement.word, chip=target.name)
        word = statement.operation.rstrip(",")
        other = word if word != statement.operation else f"{word},"  # with a comma, or without one
        if self.is_operation(other):
            forms = list(dict.fromkeys(row.shown for row in target.mnemonics.get(other, ())))
            written = f"its forms: {'; '.join(forms[:16])}" if forms else f"no comma stands behind {word}"
            return Fault("no_form", hint=written, operation=statement.word)
        words = [*(known.rstrip(",") for known in target.mnemonics), *target.directives, *DIRECTIVES, *self.reader.macros]
        if word in target.hidden:
            unlisted = f"the {target.name} has it, and its maker does not list it: --undocumented allows it"
            return Fault("unknown_operation", hint=unlisted, word=statement.word, chip=target.name)
        return Fault("unknown_operation", hint=did_you_mean(word, words), word=statement.word, chip=target.name)

    # what directives do

    def choose_target(self, name: str, target: Target | None = None) -> None:
        """Names the chip, once for the whole module."""
        present = self.module.target
        if present is not None and name.lower() in (present.name.lower(), *(other.lower() for other in present.also)):
            return
        if target is None:
            if self.load is None:
                raise Fault("unknown_target", name=name)
            target = self.load(name)
        if target is present:  # by the path of its table
            return
        if present is not None:
            raise Fault("target_twice", first=present.name)
        self.module.target = target
        for key, place in self.module.defined.items():
            fault = of_chip(key, target)
            if fault is not None:
                self.report.fault(fault, place)

    def add(self, piece: Piece, call: Call) -> None:
        self._add(piece, call.place, call.statement.offset)

    def equate(self, call: Call, node: Node) -> Equate:
        """An expression to be computed by the linker."""
        position, section = self.module.position, self.module.section.number
        return Equate(node, call.place, call.place[2], call.statement.offset, self.symbols.local, position, section)

    def check(self, call: Call, node: Node, why: str) -> None:
        """A condition that the linker looks at."""
        position, section = self.module.position, self.module.section.number
        self.module.checks.append(Check(node, why, call.place, call.statement.offset, self.symbols.local, position, section))

    def codes(self, text: Text) -> list[int]:
        """The codes of a text's characters: ASCII, or those of the alphabet in force. Raises Fault."""
        if not self.alphabet:
            return text.codes()
        for character in text.text:
            if character not in self.alphabet:
                raise text.fault("not_in_alphabet", character=character)
        return [self.alphabet[character] for character in text.text]


class Call:
    """A directive as it stands in the source: the statement, its place, the label in front and its place."""

    __slots__ = ("label", "label_place", "place", "statement")

    def __init__(self, statement: Statement, place: Place, label: str, label_place: Place) -> None:
        self.statement = statement
        self.place = place
        self.label = label
        self.label_place = label_place
