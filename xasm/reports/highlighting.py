"""Colours for editors: a TextMate grammar (JSON), made from our grammar, the directives and the tables.

Many editors read this form. `xasm target colours` prints it; `targets/xasm.tmLanguage.json` is the shipped copy.
"""

from __future__ import annotations

import json
from collections.abc import Iterable

from xasm.assembly.directives import DIRECTIVES
from xasm.syntax.expressions import WORDS
from xasm.syntax.parser import terminal
from xasm.target.model import Target


def highlighting(targets: Iterable[Target]) -> str:
    """The TextMate grammar as JSON text, with an end of line."""
    mnemonics: set[str] = set()
    registers: set[str] = set()
    for target in targets:
        mnemonics.update(word.rstrip(",") for word in target.mnemonics)
        registers.update(target.reserved)
    directives = [word for word in DIRECTIVES if word[0].isalpha()]
    number, text = terminal("NUMBER"), terminal("TEXT").replace("\n", "\\n")
    patterns = [
        {"name": "comment.line.semicolon.xasm", "match": ";.*$"},
        {"name": "entity.name.label.xasm", "match": r"^\.?[A-Za-z_][A-Za-z0-9_]*:?(?!\S)|^\s+\.?[A-Za-z_][A-Za-z0-9_]*:(?!=)"},
        {"name": "constant.numeric.xasm", "match": rf"(?<![A-Za-z0-9_])(?:{number})"},
        {"name": "string.quoted.xasm", "match": text},
        {"name": "variable.parameter.xasm", "match": r"\{(?:#|[A-Za-z_][A-Za-z0-9_]*)\}"},
        {"name": "keyword.control.directive.xasm", "match": words(directives)},
        {"name": "keyword.operator.word.xasm", "match": words(WORDS)},
        {"name": "support.function.mnemonic.xasm", "match": rf"(?<=\s){words(mnemonics)}(?=[\s,]|$)"},
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


def words(found: Iterable[str]) -> str:
    """A pattern for any of these words, in capitals or small letters."""
    escaped = sorted((word.replace(".", r"\.") for word in found), key=lambda word: (-len(word), word))
    return rf"(?i:(?<![A-Za-z0-9_.])(?:{'|'.join(escaped)})(?![A-Za-z0-9_]))"
