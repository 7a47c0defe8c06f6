"""Expressions: operators, precedence, values; compared with Python's integers and a C compiler."""

from __future__ import annotations

import itertools
import random
import re
import subprocess
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import xasm
from tests import trees
from tests.trees import CHIP, HERE, NAMES, Tree, Writer, grow, message, printed, says, value, worth
from xasm.source.diagnostics import Fault
from xasm.source.messages import CATALOGUE
from xasm.syntax import expressions
from xasm.syntax.parser import parse_operands

EXAMPLES = settings(max_examples=250, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))


class Nowhere:
    """A scope without names and without bits."""

    def symbol(self, name: str, node: expressions.Node) -> int:
        raise node.fault("undefined", name=name)

    def here(self, node: expressions.Node) -> int:
        return HERE

    def bit(self, byte: int, part: str, node: expressions.Node) -> int:
        raise node.fault("no_value", what=part)


def outcome(text: str) -> int | str:
    """The value of an expression without names, or the code of the fault."""
    try:
        return parse_operands(text).nodes[0].value(Nowhere())
    except Fault as fault:
        return fault.code


def agree(tree: Tree, text: str) -> bool:
    """Checks a text against the tree that it was written from; true when the tree has a value."""
    try:
        wanted = worth(tree, NAMES)
    except trees.NoValue as reason:
        assert message(text).startswith(CATALOGUE[str(reason)].partition("{")[0]), text
        return False
    assert value(text) == wanted, text
    return True


# random trees


@EXAMPLES
@given(st.randoms(use_true_random=False))
def test_trees_written_with_no_more_parentheses_than_C_needs(choice: random.Random) -> None:
    tree = grow(choice, tuple(NAMES))
    agree(tree, Writer(choice).write(tree))


@EXAMPLES
@given(st.randoms(use_true_random=False))
def test_trees_written_with_parentheses_that_nobody_needs(choice: random.Random) -> None:
    tree = grow(choice, tuple(NAMES))
    agree(tree, Writer(choice, loose=0.4).write(tree))


def many(count: int, seed: int, plain: bool = False) -> list[tuple[Tree, str]]:
    """Trees and their texts, the same in every run."""
    choice = random.Random(seed)
    writer = Writer(choice, plain=plain)
    found = [grow(choice, () if plain else tuple(NAMES), 3) for _ in range(count)]
    return [(tree, writer.write(tree)) for tree in found]


def with_values(texts: list[tuple[Tree, str]]) -> int:
    """Checks all texts; returns how many have a value."""
    return sum(agree(tree, text) for tree, text in texts)


def pairs() -> list[tuple[Tree, str]]:
    """Every two operators beside each other, grouped either way, and in front of each other."""
    writer = Writer(random.Random(4))
    found: list[Tree] = []
    for numbers in ((13, 5, 3), (200, 9, 0), (6, 0, 1)):
        a, b, c = (("number", number, str(number)) for number in numbers)
        for one in trees.BETWEEN:
            for other in trees.BETWEEN:
                found += [("binary", one, ("binary", other, a, b), c), ("binary", one, a, ("binary", other, b, c))]
            for sign in trees.BEFORE:
                found += [("unary", sign, ("binary", one, a, b)), ("binary", one, ("unary", sign, a), ("unary", sign, b))]
            chosen = ("choose", b, c, a)
            found += [("choose", ("binary", one, a, b), b, c), ("binary", one, a, chosen), ("binary", one, chosen, a)]
    return [(tree, writer.write(tree)) for tree in found]


def misread(texts: list[tuple[Tree, str]]) -> list[str]:
    """The texts that are not worth what their trees are."""
    wrong = []
    for tree, text in texts:
        try:
            wanted: int | str = worth(tree, {})
        except trees.NoValue as reason:
            wanted = str(reason)
        if outcome(text) != wanted:
            wrong.append(text)
    return wrong


def test_every_two_operators_beside_each_other() -> None:
    assert len(pairs()) > 2000
    assert misread(pairs()) == []


def test_the_trees_reach_every_operator_and_every_kind_of_trouble() -> None:
    signs: set[str] = set()
    troubles: set[str] = set()
    values = 0
    for tree, _ in many(3000, 1):
        todo = [tree]
        while todo:
            one = todo.pop()
            signs.update([f"{one[0]} {one[1]}"] if one[0] in ("unary", "binary") else [one[0]])
            todo += [part for part in one[1:] if isinstance(part, tuple)]
        try:
            worth(tree, NAMES)
            values += 1
        except trees.NoValue as reason:
            troubles.add(str(reason))
    assert len(signs) == len(trees.BETWEEN) + len(trees.BEFORE) + 3
    assert troubles == {"divide_by_zero", "bad_shift", "number_too_big"}
    assert values > 2000


def test_the_comparison_notices_a_wrong_operator_and_a_wrong_precedence(monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as patch:
        patch.setitem(expressions.BINARY, "/", lambda a, b: a // b)
        with pytest.raises(AssertionError):
            with_values(many(400, 2))
    for loose, tight in itertools.pairwise(level[0] for level in trees.LEVELS):
        with monkeypatch.context() as patch:
            patch.setitem(trees.PRECEDENCE, loose, trees.PRECEDENCE[tight] + 0.5)
            assert misread(pairs())


# the same trees in C


class NotInC(Exception):
    """What C leaves undefined, or what does not fit its types."""


def in_c(tree: Tree) -> tuple[int, int]:
    """Value and width (bits) as C has them: decimal numbers with LL are 64 bits wide, results of comparisons 32."""
    if tree[0] == "number":
        return checked(tree[1], 64)
    if tree[0] == "choose":
        condition, yes, no = (in_c(part) for part in tree[1:])
        return (yes if condition[0] else no)[0], max(yes[1], no[1])
    if tree[0] == "unary":
        if tree[1] in "<>":
            raise NotInC
        number, width = in_c(tree[2])
        return checked(trees.before(tree[1], number), 32 if tree[1] == "!" else width)
    sign = tree[1]
    (left, left_width), (right, right_width) = in_c(tree[2]), in_c(tree[3])
    width = left_width if sign in ("<<", ">>") else max(left_width, right_width)
    if sign in ("<<", ">>") and not (0 <= right < width and (left >= 0 or sign == ">>")):
        raise NotInC
    if sign in ("&&", "||", "==", "!=", "<", ">", "<=", ">="):
        width = 32
    try:
        return checked(trees.between(sign, left, right), width)
    except trees.NoValue:
        raise NotInC from None


def checked(number: int, width: int) -> tuple[int, int]:
    if not -(1 << width - 1) <= number < 1 << width - 1:
        raise NotInC
    return number, width


def test_precedence_and_values_are_those_of_a_C_compiler(tmp_path: Path) -> None:
    texts = []
    for tree, text in many(4000, 3, plain=True):
        try:
            in_c(tree)
        except NotInC:
            continue
        texts.append(text)
    assert len(texts) > 1000
    program = tmp_path / "values.c"
    lines = [f'    printf("%lld\\n", (long long)({typed(text)}));' for text in texts]
    program.write_text("\n".join(["#include <stdio.h>", "int main(void) {", *lines, "    return 0;", "}", ""]))
    subprocess.run(["gcc", "-w", "-O0", "-o", str(tmp_path / "values"), str(program)], check=True)
    answers = subprocess.run([str(tmp_path / "values")], check=True, stdout=subprocess.PIPE, text=True).stdout.split()
    source = "".join(f"v{index} EQU {text}\n" for index, text in enumerate(texts))
    ours = list(xasm.assemble(source, CHIP).symbols.values())
    assert [(text, answer) for text, answer in zip(texts, map(int, answers), strict=True)] == list(zip(texts, ours, strict=True))


def typed(text: str) -> str:
    """The text with every number 64 bits wide."""
    return re.sub(r"\d+", r"\g<0>LL", text)


# operators


@pytest.mark.parametrize(("word", "sign"), [(word, sign) for sign, word in trees.WORDS_BETWEEN.items()])
def test_a_word_between_values_is_its_sign(word: str, sign: str) -> None:
    """In every place beside every other operator, so with the same precedence."""
    tried = set()
    for other in trees.BETWEEN:
        for shape in ("{a} {x} {b} {y} {c}", "{a} {y} {b} {x} {c}", "{a} {x} ({b} {y} {c})"):
            for a, b, c in ((13, 5, 3), (200, 9, 2), (6, 12, 1)):
                wanted = outcome(shape.format(a=a, b=b, c=c, x=sign, y=other))
                for spelled in (word, word.lower(), word.title()):
                    assert outcome(shape.format(a=a, b=b, c=c, x=spelled, y=other)) == wanted
                tried.add(wanted)
    assert len(tried) > 10


@pytest.mark.parametrize(("word", "sign"), [(word, sign) for sign, word in trees.WORDS_BEFORE.items()])
def test_a_word_before_a_value_is_its_sign(word: str, sign: str) -> None:
    for number in (0, 1, 255, 256, 0x1234, 0x12345678, -1, -300):
        assert value(f"{word} ({number})") == value(f"{sign}({number})") == trees.before(sign, number)
        assert value(f"{word.lower()}({number})*3+1") == trees.before(sign, number) * 3 + 1
        assert value(f"-{word.title()} {word} ({number})") == -trees.before(sign, trees.before(sign, number))


def test_all_words_are_tried() -> None:
    tried = {word: sign for words in (trees.WORDS_BETWEEN, trees.WORDS_BEFORE) for sign, word in words.items()}
    assert tried == expressions.WORDS


def test_names_that_begin_like_a_word_are_names() -> None:
    source = "ANDY EQU 1\nlow_ EQU 2\nNOT1 EQU 3\nXor_or EQU 4\nit EQU ANDY AND NOT1 + low_ - Xor_or\n"
    assert xasm.assemble(source, CHIP).symbols["it"] == 1 & (3 + 2 - 4)


def test_what_is_not_needed_is_not_computed() -> None:
    for text, wanted in (
        ("0 && 1/0", 0),
        ("1 || 1/0", 1),
        ("0 && nowhere", 0),
        ("early || nowhere", 1),
        ("1 ? 2 : 1/0", 2),
        ("0 ? 1 << -1 : 3", 3),
        ("late && 5", 1),
        ("0 || late", 1),
        ("2 && 0", 0),
        ("0 ? 1 : 0 ? 2 : 3", 3),
        ("1 ? 0 ? 4 : 5 : 6", 5),
    ):
        assert value(text) == wanted, text
    assert message("1 && 1/0") == says("divide_by_zero")
    assert message("0 || nowhere") == says("undefined", name="nowhere")


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("-7 / 2", -3),
        ("7 / -2", -3),
        ("-7 / -2", 3),
        ("-7 % 2", -1),
        ("7 % -2", 1),
        ("-7 >> 1", -4),
        ("-1 >> 512", -1),
        ("~0", -1),
        ("~0 & 0xFF", 255),
        ("!5", 0),
        ("!!5", 1),
        ("1 << 511", 1 << 511),
        ("0xFFFFFFFF * 0xFFFFFFFF", 0xFFFFFFFF**2),
        ("2 + 3 == 5 & 4 == 4", 1),
        ("1 < 2 == 3 > 2", 1),
        ("5 - 3 - 1", 1),
        ("64 / 4 / 2", 8),
        ("1 << 2 + 1", 8),
        ("1 | 6 & 3", 3),
        ("1 ? 2 : 3 + 4", 2),
        ("(1 ? 2 : 3) + 4", 6),
    ],
)
def test_values_as_in_C(text: str, wanted: int) -> None:
    assert value(text) == wanted


@pytest.mark.parametrize(
    ("text", "code", "marked"),
    [
        ("5 $", "not_understood", (2, 3)),
        ("$ F", "not_understood", (2, 3)),
        ("$G", "not_understood", (1, 2)),
        ("$$", "not_understood", (1, 2)),
        ("%", "not_understood", (0, 1)),
        ("1 = 1", "not_understood", (2, 3)),
        ("1 => 1", "not_understood", (2, 3)),
        ("=>1", "not_understood", (0, 1)),
        ("&& 1", "not_understood", (0, 2)),
        ("1 ! 2", "not_understood", (2, 3)),
        ("1 : 2", "not_understood", (2, 3)),
        ("1)", "not_understood", (1, 2)),
        ("#5", "not_understood", (0, 1)),
        ("*5", "not_understood", (0, 1)),
        ("/5", "not_understood", (0, 1)),
        ("5 + @5", "not_understood", (4, 5)),
        ("\xe4", "not_understood", (0, 1)),
        ("1\u200b", "not_understood", (1, 2)),
        ("AND", "undefined", (0, 3)),
        ("1 NOT 2", "not_understood", (2, 5)),
        ("1 +", "value_missing", (2, 3)),
        ("1 ++", "value_missing", (3, 4)),
        ("-", "value_missing", (0, 1)),
        ("1 *", "ends_early", (3, 4)),
        ("(1", "ends_early", (2, 3)),
        ("1 ? 2", "ends_early", (5, 6)),
        ("1.5", "no_value", (0, 3)),
        ("$.5", "no_value", (0, 3)),
        ("[1]", "no_value", (0, 3)),
        ("(1,2)", "no_value", (0, 5)),
        ("()", "no_value", (0, 2)),
        ("'AB'+1", "text_not_value", (0, 4)),
        ('""', "text_not_value", (0, 2)),
        ("'\xe4'", "not_ascii", (0, 3)),
        ("'A", "open_text", (0, 2)),
        ("'''", "open_text", (2, 3)),
        ('1+"A', "open_text", (2, 4)),
        ('"a\\q"', "bad_escape", (2, 4)),
        ('"\\x"', "bad_escape", (1, 3)),
        ('"\\777"', "bad_escape", (1, 5)),
        ("1/(2-2)", "divide_by_zero", (2, 7)),
        ("1%0", "divide_by_zero", (2, 3)),
        ("1<<513", "bad_shift", (3, 6)),
        ("1>>-1", "bad_shift", (3, 5)),
        ("2*(1<<512)", "number_too_big", (3, 9)),
        ("nowhere", "undefined", (0, 7)),
        ("1+.w", "undefined", (2, 4)),
        ("1+a.w", "undefined", (2, 5)),
    ],
)
def test_what_has_no_value_is_marked_where_the_trouble_is(text: str, code: str, marked: tuple[int, int]) -> None:
    with pytest.raises(Fault) as caught:
        parse_operands(text).nodes[0].value(Nowhere())
    assert (caught.value.code, caught.value.start, caught.value.end) == (code, *marked)


def test_a_name_that_looks_like_a_hexadecimal_number_gets_a_hint() -> None:
    assert "0FFH" in printed(" DB FFH\n") and "0FFH" not in printed(" DB FFX\n")


def test_numbers_without_bound_are_refused() -> None:
    for text in ("9" * 513, "0x1" + "0" * 128, "1" * 513 + "B", "1 << 300 << 300", str(2**512)):
        assert message(text) == says("number_too_big", limit=512)


def test_an_expression_has_a_bound_of_depth() -> None:
    assert value("+".join(["1"] * 200)) == 200
    assert value("(" * 199 + "1" + ")" * 199) == 1
    for text in ("+".join(["1"] * 201), "(" * 200 + "1" + ")" * 200, "-" * 200 + "1", "-" * 5000 + "1", "(" * 5000 + "1" + ")" * 5000):
        assert message(text) == says("too_deep", limit=200)
