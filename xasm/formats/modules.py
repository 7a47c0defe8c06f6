"""The file of a module: JSON in one object, `.xo`. Reading builds data and nothing else.

    xasm        "module"
    version     of this format, a number
    target      the chip's name; `undocumented` whether what its maker does not list was allowed
    table       a mark of the chip's table: forms are named by their place in it
    path        the source file, as messages name it
    sources     every text that was read: {path, first, lines, role, parent}; parent is a place or null
    sections    {name, space, place, entries, labels}; an entry is [piece, source, line, column, offset, scope]
    pieces      equal statements are one piece: ["words", HEX, form], ["encoded", recipe, expressions],
                ["stamp", kind, expressions, size], ["space", count, fill, size],
                ["align", step, fill], ["origin", address], ["fit", page, move, fill, count]
    constants, equates, variables, defined, public, external, checks, start, brought, embedded, files

A place is [source, line, column], source being a number in `sources`. An expression is [node, start, end, ...] as in
`syntax/trees.py`. A form is [mnemonic, number among the forms of the mnemonic].
"""

from __future__ import annotations

import json
from typing import Any

from xasm.assembly.module import (
    Alignment,
    Check,
    Data,
    Encoded,
    Entry,
    Equate,
    FitStart,
    Module,
    Origin,
    Piece,
    Space,
    Stamp,
    Words,
)
from xasm.source.files import Place, Source
from xasm.syntax.expressions import Node
from xasm.syntax.trees import flat
from xasm.target.forms import Form
from xasm.target.model import Target

VERSION = 1
SUFFIX = ".xo"


def write_module(module: Module) -> bytes:
    """The file of a module, the same bytes for the same module anywhere."""
    assert module.target is not None
    return json.dumps(_Writer(module, module.target).module(), separators=(",", ":"), sort_keys=True).encode("ascii") + b"\n"


class _Writer:
    def __init__(self, module: Module, target: Target) -> None:
        self.source_numbers: dict[int, int] = {}
        self.sources: list[Source] = []
        self.mod = module
        self.target = target
        self.pieces: list[Any] = []
        self.piece_numbers: dict[int, int] = {}
        self.forms: dict[str, dict[int, int]] = {}

    def module(self) -> dict[str, Any]:
        module = self.mod
        for source in module.read():
            self.source(source)
        return {
            "xasm": "module",
            "version": VERSION,
            "target": self.target.name,
            "undocumented": self.target.undocumented,
            "table": self.target.mark,
            "path": module.path,
            "sections": [
                {
                    "name": section.name,
                    "space": section.space,
                    "place": self.place(section.place) if section.place else None,
                    "entries": [self.entry(entry) for entry in section.entries],
                    "labels": section.labels,
                }
                for section in module.sections
            ],
            "constants": module.constants,
            "equates": {name: self.equate(equate) for name, equate in module.equates.items()},
            "variables": {name: flat(node) for name, node in module.variables.items()},
            "defined": [[name, *self.place(place)] for name, place in module.defined.items()],
            "public": [[name, *self.place(place)] for name, place in module.public.items()],
            "external": [[name, *self.place(place)] for name, place in module.external.items()],
            "checks": [self.check(check) for check in module.checks],
            "start": self.equate(module.start) if module.start else None,
            "brought": [
                [self.source(source), line, [self.source(one) for one in brought]] for (source, line), brought in module.brought.items()
            ],
            "files": [self.source(source) for source in module.sources],
            "embedded": module.embedded,
            "pieces": self.pieces,
            "sources": [self.text(source) for source in self.sources],
        }

    def source(self, source: Source) -> int:
        """The number of a source; its parents come before it."""
        number = self.source_numbers.get(id(source))
        if number is None:
            if source.parent is not None:
                self.source(source.parent[0])
            number = self.source_numbers[id(source)] = len(self.sources)
            self.sources.append(source)
        return number

    def text(self, source: Source) -> dict[str, Any]:
        return {
            "path": source.path,
            "first": source.first,
            "lines": list(source.lines),
            "role": source.role,
            "parent": self.place(source.parent) if source.parent else None,
        }

    def place(self, place: Place) -> list[int]:
        return [self.source(place[0]), place[1], place[2]]

    def entry(self, entry: Entry) -> list[Any]:
        number = self.piece_numbers.get(id(entry.piece))
        if number is None:
            number = self.piece_numbers[id(entry.piece)] = len(self.pieces)
            self.pieces.append(self.piece(entry.piece))
        return [number, *self.place(entry.place), entry.offset, entry.scope]

    def piece(self, piece: Piece) -> list[Any]:
        if isinstance(piece, Words):
            digits = (self.target.word + 3) // 4
            return ["words", "".join(f"{word:0{digits}X}" for word in piece.words), self.form(piece.form) if piece.form else None]
        if isinstance(piece, Encoded):
            return ["encoded", self.recipe(piece), [flat(leaf) for leaf in piece.leaves]]
        if isinstance(piece, Stamp):
            return ["stamp", piece.kind, [flat(node) for node in piece.nodes], piece.size]
        if isinstance(piece, Space):
            return ["space", flat(piece.count), self.optional(piece.fill), piece.size]
        if isinstance(piece, Alignment):
            return ["align", flat(piece.step), self.optional(piece.fill)]
        if isinstance(piece, Origin):
            return ["origin", piece.address]
        assert isinstance(piece, FitStart)
        return ["fit", piece.page, piece.move, self.optional(piece.fill), piece.count]

    def recipe(self, piece: Encoded) -> list[Any]:
        recipe = piece.recipe
        return list(recipe) if isinstance(recipe, Data) else [recipe.mnemonic, recipe.shape, dict(recipe.assumed), list(recipe.begins)]

    def optional(self, node: Node | None) -> Any:
        return None if node is None else flat(node)

    def form(self, form: Form) -> list[Any]:
        mnemonic = form.mnemonic
        numbers = self.forms.get(mnemonic)
        if numbers is None:
            numbers = self.forms[mnemonic] = {id(one): number for number, one in enumerate(self.target.forms_of(mnemonic))}
        return [mnemonic, numbers[id(form)]]

    def equate(self, equate: Equate) -> list[Any]:
        return [flat(equate.node), *self.place(equate.place), equate.body, equate.offset, equate.scope, equate.position, equate.section]

    def check(self, check: Check) -> list[Any]:
        return [flat(check.node), check.why, *self.place(check.place), check.offset, check.scope, check.position, check.section]
