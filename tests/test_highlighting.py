"""Colours for editors: the shipped grammar is the one that is printed, has the form that editors read, and colours as it should."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from tests.invented import BRANCHES, NOTATIONS, SPACES, chip
from xasm.assembly.directives import DIRECTIVES
from xasm.cli.target import command
from xasm.reports.highlighting import highlighting, words
from xasm.syntax.expressions import WORDS
from xasm.target.finding import load_target, table_paths

SHIPPED = Path(__file__).resolve().parent.parent / "targets" / "xasm.tmLanguage.json"
SCOPE = re.compile(r"[a-z]+(\.[a-z]+)*\.xasm")
GRAMMAR = json.loads(highlighting([chip(NOTATIONS), chip(BRANCHES), chip(SPACES)]))

# What each letter below a line stands for.
COLOURS = {
    "c": "comment.line.semicolon.xasm",
    "l": "entity.name.label.xasm",
    "n": "constant.numeric.xasm",
    "s": "string.quoted.xasm",
    "p": "variable.parameter.xasm",
    "d": "keyword.control.directive.xasm",
    "w": "keyword.operator.word.xasm",
    "m": "support.function.mnemonic.xasm",
    "r": "variable.language.register.xasm",
    "o": "keyword.operator.xasm",
}

SAMPLES = """
first:  LD 5            ; a remark
llllll  mm n            cccccccccc
.wait   STOP ;it's
lllll   mmmm ccccc
  next: br first+1      ; $5
  lllll mm      on      cccc
a:STOP;
llmmmmc
        DB 31, 0x1F, $1F, 1FH, H'1F'
        dd nn  nnnn  nnn  nnn  nnnnn
        dw %1010, 7 % 2, 017Q, x2, $-1
        dd nnnnn  n o n  nnnn      oon
        DB "a;b\\"c", 'it''s', ''    ; "
        dd ssssssss  sssssss  ss    ccc
store   MACRO INSTEAD dest, more...
lllll   ddddd wwwwwww
        LD {dest}+{#}
        mm ppppppoppp
        IF NOT EMPTY {more} && DEFINED a
        dd www wwwww pppppp oo wwwwwww
        ENDM
        dddd
REPT 3, turn
dddd n
DB: DB 1
lll dd n
count   EQU LOW first AND 5 OF 6
lllll   ddd www       www n ww n
v :=    v<<1
l oo     oon
        TRADE P,P'      ; don't
        mmmmm r rr      ccccccc
        PUT,Q #5
        mmm r on
        GET Q+, @q
        mmm ro  or
        DBX LOWER, PQ, x.P, STOPS

        FIT 256, MOVE
        ddd nnn  wwww
        STOPS stop
              mmmm
"""


def matches(pattern: dict[str, str], line: str, at: int) -> re.Match[str] | None:
    return re.compile(pattern["match"]).search(line, at)


def coloured(line: str, grammar: dict[str, Any]) -> str:
    """The letter of each character's colour, as an editor finds it: the pattern that matches first, of several in one place
    the one that is listed first."""
    letters = {name: letter for letter, name in COLOURS.items()}
    shown = [" "] * len(line)
    at = 0
    while at < len(line):
        found = [
            (match.start(), rank, match) for rank, one in enumerate(grammar["patterns"]) if (match := matches(one, line, at)) and match[0]
        ]
        if not found:
            break
        _, rank, match = min(found, key=lambda one: one[:2])
        shown[match.start() : match.end()] = letters[grammar["patterns"][rank]["name"]] * len(match[0])
        at = match.end()
    return "".join(letter if character.strip() or letter in "cs" else " " for letter, character in zip(shown, line, strict=True)).rstrip()


def sample_lines() -> list[tuple[str, str]]:
    """Each line with the letters below it."""
    rows = SAMPLES[1:].split("\n")
    return list(zip(rows[::2], rows[1::2], strict=False))


# the form


def mistakes(grammar: object) -> list[str]:
    """What is not as a TextMate grammar has it."""
    if not isinstance(grammar, dict):
        return ["no mapping"]
    found = [key for key in ("name", "scopeName") if not isinstance(grammar.get(key), str)]
    if not str(grammar.get("scopeName")).startswith("source."):
        found.append("scopeName")
    types = grammar.get("fileTypes")
    if not isinstance(types, list) or not all(isinstance(one, str) and one.isalnum() for one in types):
        found.append("fileTypes")
    patterns = grammar.get("patterns")
    if not isinstance(patterns, list) or not patterns:
        return [*found, "patterns"]
    for pattern in patterns:
        if pattern.keys() != {"name", "match"} or not SCOPE.fullmatch(pattern["name"]):
            found.append(f"pattern {pattern.get('name')}")
            continue
        try:
            compiled = re.compile(pattern["match"])
        except re.error as error:
            found.append(f"{pattern['name']}: {error}")
            continue
        if compiled.fullmatch("") or not pattern["match"].isprintable() or not pattern["match"].isascii():
            found.append(f"{pattern['name']} can match nothing, or holds what cannot be shown")
    return found


def test_the_shipped_grammar_is_the_one_that_is_printed() -> None:
    printed = CliRunner().invoke(command, ["colours"])
    assert printed.exit_code == 0
    shipped = SHIPPED.read_text("ascii")
    assert shipped == printed.output, "run: xasm target colours > targets/xasm.tmLanguage.json"
    assert mistakes(json.loads(shipped)) == []


def test_every_word_of_every_chip_has_its_colour() -> None:
    patterns = {pattern["name"]: re.compile(pattern["match"]) for pattern in json.loads(SHIPPED.read_text("ascii"))["patterns"]}
    tables = [load_target(name) for name in table_paths()]
    mnemonics = {word.rstrip(",") for target in tables for word in target.mnemonics}
    registers = {word for target in tables for word in target.reserved}
    assert len(mnemonics) > 100 and len(registers) > 20
    for name, found in ((COLOURS["m"], mnemonics), (COLOURS["r"], registers), (COLOURS["w"], WORDS.keys())):
        for word in found:
            for text in (word, word.lower()):
                match = patterns[name].search(f" {text} ")
                assert match is not None and match[0] == text, (name, word)
    for word in DIRECTIVES:
        assert bool(patterns[COLOURS["d"]].search(f" {word} ")) == word.isalpha(), word


def test_a_mistake_in_the_form_is_noticed() -> None:
    assert mistakes(GRAMMAR) == []
    assert mistakes([]) == ["no mapping"]
    assert mistakes({**GRAMMAR, "name": 5, "scopeName": "text"}) == ["name", "scopeName"]
    assert mistakes({**GRAMMAR, "fileTypes": ["a.b"], "patterns": []}) == ["fileTypes", "patterns"]
    for wrong in ({"match": "x"}, {"name": "Keyword", "match": "x"}, {"name": "a.xasm", "match": "("}, {"name": "a.xasm", "match": "x*"}):
        assert len(mistakes({**GRAMMAR, "patterns": [*GRAMMAR["patterns"], wrong]})) == 1
    assert len(mistakes({**GRAMMAR, "patterns": [{"name": "a.xasm", "match": "\x02"}]})) == 1


# the colours


@pytest.mark.parametrize(("line", "letters"), sample_lines())
def test_colours(line: str, letters: str) -> None:
    assert coloured(line, GRAMMAR) == letters


def test_every_colour_is_seen_and_a_wrong_one_is_noticed() -> None:
    samples = sample_lines()
    assert len(samples) > 20
    assert {letter for _, letters in samples for letter in letters if letter != " "} == COLOURS.keys()
    assert {pattern["name"] for pattern in GRAMMAR["patterns"]} == set(COLOURS.values())
    for index in range(len(GRAMMAR["patterns"])):
        fewer = {**GRAMMAR, "patterns": [*GRAMMAR["patterns"][:index], *GRAMMAR["patterns"][index + 1 :]]}
        assert any(coloured(line, fewer) != letters for line, letters in samples), GRAMMAR["patterns"][index]["name"]


def test_words_are_words() -> None:
    pattern = re.compile(words(["A", "AB", "A.B", "C'"]))
    assert pattern.findall("a AB ab c' A.B AxB xA A1 .A 1A A") == ["a", "AB", "ab", "c'", "A.B", "A"]
