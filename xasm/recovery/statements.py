"""What stands beside the words of a typed listing: label, statement, remark; and whether the statement agrees with the words.

A listing in a magazine follows the habits of its time: numbers may be hexadecimal without a sign of it, names may be defined
nowhere. So a statement is only said to differ where no way to read it gives the words.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from functools import cached_property
from typing import NamedTuple

from xasm.assembly.directives import DIRECTIVES
from xasm.source.diagnostics import Fault
from xasm.syntax.expressions import Here, Name, Node, Number, Text
from xasm.syntax.lines import Statement, cut_statement
from xasm.syntax.parser import parse_operands
from xasm.target.forms import Patch, Variant, gather
from xasm.target.habits import translated
from xasm.target.model import Target

GAP = re.compile(r"\s{2,}|\t")
HEXADECIMAL = re.compile(r"[0-9A-Fa-f]+[Hh]?\Z")
UNMARKED = re.compile(r"(?<![\w$'.])\d[0-9A-Fa-f]*[A-Fa-f][0-9A-Fa-f]*(?![\w'])")  # hexadecimal without a sign of it
OCTAL = re.compile(r"[0-7]+\Z")
CLOCKS = re.compile(r"\d{1,2}(?:/\d{1,2})?(?:\+\d{1,2})?(?=\s)")
OPEN = 64  # values of one statement that are tried


class Said(NamedTuple):
    """The text beside the words, cut up: `label` without colon, `statement` or None where there is none that can be read, its
    text, and the remark."""

    label: str = ""
    statement: Statement | None = None
    text: str = ""
    remark: str = ""


class Speech:
    """Reads statements for one chip. `values` are the names that the listing itself explains."""

    def __init__(self, target: Target) -> None:
        self.target = target
        self.values: dict[str, int] = {}
        self.readings: dict[str, set[int]] = {}  # of names whose number may be read in more than one way

    @cached_property
    def operations(self) -> frozenset[str]:
        """All words that a statement may begin with, in capitals; those with a comma behind them without it."""
        words = (*self.target.mnemonics, *DIRECTIVES, *self.target.directives)
        return frozenset(word.rstrip(",") for word in words)

    def is_operation(self, word: str) -> bool:
        return word.upper().partition(",")[0] in self.operations

    def is_directive(self, operation: str) -> bool:
        return self.meaning(operation) in DIRECTIVES and not self.target.is_instruction(operation)

    def meaning(self, operation: str) -> str:
        """Our directive that a word is, or the word itself."""
        maker = self.target.directives.get(operation)
        return maker.name if maker else operation

    def read(self, text: str) -> Said:
        """Cuts the text beside the words."""
        code, remark = without_remark(text)
        code = code.strip()
        clocks = CLOCKS.match(code)  # as our own listings have them
        code = code[clocks.end() :].strip() if clocks else code
        words = code.split(None, 2)
        if not words:
            return Said(remark=remark)
        label = ""
        # two words that both are operations: the first is a label with an unlucky name only if it has a colon
        if words[0][-1:] == ":" or not self.is_operation(words[0]):
            if words[0][-1:] != ":" and not (len(words) > 1 and self.is_operation(words[1])):
                alone = len(words) == 1 and not remark
                return Said(label=words[0]) if alone else Said(remark=f"{code} {remark}".strip())
            label = words[0].rstrip(":")
            code = code[len(words[0]) :].strip()
            if not code:
                return Said(label, remark=remark)
        if not self.is_operation(code.split(None, 1)[0]):
            return Said(label, remark=f"{code} {remark}".strip())
        for body, rest in shorter(code):
            statement = self.statement(body)
            if statement is not None:
                return Said(label, statement, body, f"{rest} {remark}".strip())
        return Said(label, remark=f"{code} {remark}".strip())

    def statement(self, body: str) -> Statement | None:
        """A statement that the table, or a directive, can read; None where it cannot."""
        for written in dict.fromkeys((body, UNMARKED.sub(r"0x\g<0>", body))):
            try:
                cut = cut_statement(written)
                if not self.is_directive(cut.operation):
                    self.variants(cut)
            except Fault:
                continue
            return cut
        return None

    def variants(self, cut: Statement) -> tuple[tuple[Variant, ...], Sequence[Node]]:
        """The variants and expressions of an instruction. Raises Fault."""
        if cut.operation not in self.target.mnemonics:
            raise Fault("unknown_operation", word=cut.word, chip=self.target.name)
        operands = parse_operands(translated(cut.operands, self.target.habits)).nodes
        variants, leaves, _ = self.target.variants(cut.operation, operands)
        return variants, leaves

    def define(self, name: str, written: str) -> bool:
        """Takes a definition, the first of a name; False where it has no value."""
        cut = self.statement(f"DB {written}")
        try:
            nodes = parse_operands(cut.operands).nodes if cut is not None else ()
            values = self.possible(nodes[0], cut.operands, 0) if cut is not None and len(nodes) == 1 else None
            if not values:
                return False
            plain = nodes[0].value(self._scope(0)) if len(values) > 1 else next(iter(values))
        except Fault:
            return False
        if name not in self.values:
            self.values[name] = plain
            self.readings[name] = values
        return True

    # meaning

    def agrees(self, cut: Statement, words: tuple[int, ...], address: int) -> bool:
        """Whether a statement can mean these words; yes where that cannot be told."""
        operation = self.meaning(cut.operation)
        try:
            if operation in ("DB", "DW") and self.is_directive(cut.operation):
                return self.data_agrees(cut, words, address, operation)
            if self.is_directive(cut.operation):
                return True
            variants, leaves = self.variants(cut)
        except Fault:
            return True
        possible = [self.possible(leaf, cut.operands, address) for leaf in leaves]
        return any(self.fits(variant, possible, words, address) for variant in variants)

    def data_agrees(self, cut: Statement, words: tuple[int, ...], address: int, operation: str) -> bool:
        """The same for data; a listing may show the first words only."""
        nodes = parse_operands(translated(cut.operands, self.target.habits)).nodes
        size = 2 if operation == "DW" else 1
        maker = self.target.directives.get(cut.operation)
        order = (maker.order if maker else "") or self.target.order
        at = 0
        for node in nodes:
            if not isinstance(node, (Text, Number, Name, Here)):
                return True
            values = [self.possible(node, cut.operands, address)]
            if isinstance(node, Text):
                values = [{ord(one)} for one in node.text]
            for one in values:
                own = words[at : at + size]
                if len(own) < size:
                    return True
                number = 0
                for word in own if order == "big" else reversed(own):
                    number = number << self.target.word | word
                limit = 1 << self.target.word * size
                if one is not None and number not in {value % limit for value in one}:
                    return False
                at += size
        return at >= len(words)

    def possible(self, node: Node, operands: str, address: int) -> set[int] | None:
        """The values that an expression may have; None: any."""
        written = operands[node.start : node.end]
        if isinstance(node, Here):
            return {address}
        if isinstance(node, Number):
            found = {node.number}
            if HEXADECIMAL.match(written):
                found.add(int(written.rstrip("Hh"), 16))
            if OCTAL.match(written):
                found.add(int(written, 8))
            return found
        if isinstance(node, Name):
            known = self.values.get(node.text, self.target.symbols.get(node.text.upper()))
            if known is not None:
                return {known, *self.readings.get(node.text, ())}
            return {int(written.rstrip("Hh"), 16)} if HEXADECIMAL.match(written) else None
        try:
            return {node.value(self._scope(address))}
        except Fault:
            return None

    def _scope(self, address: int) -> _Values:
        return _Values(self, address)

    def fits(self, variant: Variant, possible: list[set[int] | None], words: tuple[int, ...], address: int) -> bool:
        """Whether a variant can be these words."""
        if len(variant.words) != len(words):
            return False
        free = list(variant.form.code.ignored) if variant.form else [0] * len(words)
        for patch in variant.patches:
            for word, shift, width, _ in patch.slots:
                free[word] |= ((1 << width) - 1) << shift
        if any((own ^ word) & ~mask for own, word, mask in zip(variant.words, words, free, strict=True)):
            return False
        return all(self.patch_fits(patch, possible[patch.leaf], words, address) for patch in variant.patches)

    @staticmethod
    def patch_fits(patch: Patch, possible: set[int] | None, words: tuple[int, ...], address: int) -> bool:
        if possible is None:
            return True
        wanted = gather(words, patch.slots)
        for value in possible:
            try:
                if patch.kind.store(value, address, len(words), patch.slots[0].word) == wanted:
                    return True
            except Fault:
                continue
        return False

    def meant(self, cut: Statement, typed: Sequence[int | None], address: int) -> tuple[int, ...] | None:
        """The words that a statement means, where it means just one thing that agrees with what was typed (None: a word that
        cannot be read, or is missing at the end)."""
        try:
            variants, leaves = self.variants(cut)
        except Fault:
            return None
        possible = [self.possible(leaf, cut.operands, address) for leaf in leaves]
        found = {words for variant in variants for words in self.made(variant, possible, address) if agree(words, typed)}
        return found.pop() if len(found) == 1 else None

    def made(self, variant: Variant, possible: list[set[int] | None], address: int) -> Iterator[tuple[int, ...]]:
        """What a variant makes of the values."""
        ways = [list(variant.words)]
        for leaf, kind, slots in variant.patches:
            values = possible[leaf]
            grown = []
            for way in ways if values is not None else ():
                for value in values or ():
                    try:
                        bits = kind.store(value, address, len(way), slots[0].word)
                    except Fault:
                        continue
                    more = list(way)
                    for word, shift, width, down in slots:
                        more[word] |= (bits >> down & ((1 << width) - 1)) << shift
                    grown.append(more)
            ways = grown[:OPEN]
        yield from map(tuple, ways)


class _Values:
    """What names mean in a listing."""

    def __init__(self, speech: Speech, address: int) -> None:
        self.speech = speech
        self.address = address

    def symbol(self, name: str, node: Node) -> int:
        if name in self.speech.values:
            return self.speech.values[name]
        if name.upper() in self.speech.target.symbols:
            return self.speech.target.symbols[name.upper()]
        raise node.fault("undefined", name=name)

    def here(self, node: Node) -> int:
        return self.address

    def bit(self, byte: int, part: str, node: Node) -> int:
        return self.speech.target.bit(byte, part, node)


def agree(words: tuple[int, ...], typed: Sequence[int | None]) -> bool:
    """Whether words agree with those that could be read."""
    return len(typed) <= len(words) and all(one is None or one == word for word, one in zip(words, typed, strict=False))


def without_remark(text: str) -> tuple[str, str]:
    """A text cut at its `;`, which in quotes is no remark's."""
    quote = ""
    for index, sign in enumerate(text):
        if quote:
            quote = "" if sign == quote else quote
        elif sign == ";":
            return text[:index], text[index + 1 :].strip()
        elif sign in "\"'" and sign in text[index + 1 :]:
            quote = sign
    return text, ""


def shorter(code: str) -> Iterator[tuple[str, str]]:
    """A statement with ever more of its end taken for a remark without a sign in front: (statement, remark)."""
    yield code, ""
    tried = {code}
    word = code.split(None, 1)[0]
    cuts = [match.start() for match in GAP.finditer(code, len(word) + 1)]
    first = code[len(word) :].split(None, 1)
    cuts += [code.index(first[0], len(word)) + len(first[0])] if first else []
    for cut in (*cuts, len(word)):
        body = code[:cut].rstrip()
        if body not in tried:
            tried.add(body)
            yield body, code[cut:].strip()
