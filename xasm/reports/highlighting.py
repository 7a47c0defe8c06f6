"""Colours for editors: a TextMate grammar (JSON), made from our grammar, the directives and the tables.

Many editors read this form. `xasm target colours` prints it; `targets/xasm.tmLanguage.json` is the shipped copy.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable

from xasm.assembly.directives import DIRECTIVES
from xasm.syntax.expressions import WORDS
from xasm.syntax.parser import terminal
from xasm.target.model import Target

MORE_WORDS = ("OF", "DEFINED", "EMPTY", "SAME", "INSTEAD", "MOVE")


def highlighting(targets: Iterable[Target]) -> str:
    """The TextMate grammar as JSON text, with an end of line."""
    mnemonics: set[str] = set()
    registers: set[str] = set()
    makers: set[str] = set()
    for target in targets:
        mnemonics.update(word.rstrip(",") for word in target.mnemonics)
        registers.update(target.reserved)
        makers.update(target.directives)
    # what one maker calls a directive may be another's instruction
    directives = {word for word in (*DIRECTIVES, *(makers - mnemonics)) if word.lstrip(".").isalnum()}
    number, text = written("NUMBER"), written("TEXT")
    patterns = [
        {"name": "comment.line.semicolon.xasm", "match": ";.*$"},
        {"name": "keyword.control.directive.xasm", "match": rf"{words(directives)}(?!\s*:(?!=))"},
        {"name": "entity.name.label.xasm", "match": r"^\.?[A-Za-z_][A-Za-z0-9_]*(?::(?!=)|(?!\S))|^\s+\.?[A-Za-z_][A-Za-z0-9_]*:(?!=)"},
        {"name": "constant.numeric.xasm", "match": rf"(?<![A-Za-z0-9_])(?:{number})"},
        {"name": "string.quoted.xasm", "match": text},
        {"name": "variable.parameter.xasm", "match": r"\{(?:#|[A-Za-z_][A-Za-z0-9_]*)\}"},
        {"name": "keyword.operator.word.xasm", "match": words([*WORDS, *MORE_WORDS])},
        {"name": "support.function.mnemonic.xasm", "match": rf"(?<=[\s:]){words(mnemonics)}(?=[\s,;]|$)"},
        {"name": "variable.language.register.xasm", "match": words(registers)},
        {"name": "keyword.operator.xasm", "match": r":=|<<|>>|<=|>=|==|!=|&&|\|\||[-+*/%~!<>#@&|^?$]"},
    ]
    grammar = {
        "name": "xasm",
        "scopeName": "source.xasm",
        "fileTypes": ["asm", "inc"],
        "patterns": patterns,
    }
    return json.dumps(grammar, indent=2) + "\n"


def written(name: str) -> str:
    """What may be written for a terminal of our grammar: its pattern without the ways that hold a mark, which no source can."""
    ways = terminal(name).replace("\n", "\\n").split("|")
    return "|".join(way for way in ways if way.isprintable())


def words(found: Iterable[str]) -> str:
    """A pattern for any of these words, in capitals or small letters."""
    escaped = sorted(map(re.escape, found), key=lambda word: (-len(word), word))
    return rf"(?i:(?<![A-Za-z0-9_.])(?:{'|'.join(escaped)})(?![A-Za-z0-9_]))"
