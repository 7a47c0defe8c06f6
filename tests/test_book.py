"""The tables against the makers' books: every value of tests/book, and nothing of a table that no value meets."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache

import pytest

import xasm
from tests.books import FEWEST, book
from tests.test_table_mistakes import TABLE
from tests.test_tables import BOTH, TABLES
from xasm.source.diagnostics import Diagnostic, Fault, Report, SourceErrors
from xasm.source.files import Source
from xasm.target.book_check import Made, assembled, unmet, without_source, wrong_counts, wrong_cycles, wrong_decoding, wrong_words
from xasm.target.bookvalues import COUNTS, Book, BookValue, read_book
from xasm.target.encode import placed
from xasm.target.finding import load_target
from xasm.target.loader import read_target
from xasm.target.model import Target
from xasm.target.statements import Encoded


@lru_cache(maxsize=64)
def own_words(name: str, every: bool = False) -> dict[int, Encoded | Fault]:
    """What every value's statement becomes, by the number of its line; `every`: with what the book does not list, too."""
    return assembled(load_target(name, every), book(name).values)


def lines(found: Iterable[Diagnostic]) -> list[str]:
    return [f"line {one.line}: {one.message}" for one in found]


# The tables


@pytest.mark.parametrize(("name", "every"), BOTH)
def test_statements_give_the_words_of_the_book(name: str, every: bool) -> None:
    assert lines(wrong_words(load_target(name, every), book(name), own_words(name, every))) == []


@pytest.mark.parametrize(("name", "every"), BOTH)
def test_words_of_the_book_give_statements(name: str, every: bool) -> None:
    assert lines(wrong_decoding(load_target(name, every), book(name), own_words(name, every))) == []


@pytest.mark.parametrize(("name", "every"), BOTH)
def test_cycles_are_those_of_the_book(name: str, every: bool) -> None:
    assert lines(wrong_cycles(load_target(name, every), book(name), own_words(name, every))) == []


@pytest.mark.parametrize(("name", "every"), BOTH)
def test_every_row_and_spelling_is_met(name: str, every: bool) -> None:
    assert lines(unmet(load_target(name, every), own_words(name, every))) == []


@pytest.mark.parametrize("name", TABLES)
def test_counts_are_those_of_the_book(name: str) -> None:
    counts = book(name).counts
    assert counts.keys() == set(COUNTS)
    assert counts == {what: load_target(name).count[what] for what in COUNTS}
    assert lines(wrong_counts(load_target(name), book(name))) == []


@pytest.mark.parametrize("name", TABLES)
def test_every_value_has_a_source(name: str) -> None:
    assert lines(without_source(book(name))) == []


@pytest.mark.parametrize(("name", "every"), BOTH)
def test_the_whole_assembler_gives_the_same(name: str, every: bool) -> None:
    target = load_target(name, every)
    sample = apart(target, book(name).values, own_words(name, every))
    assert len(sample) >= FEWEST // 2
    assert wrong_image(target, sample) == []


def apart(target: Target, values: Iterable[BookValue], found: Made) -> list[BookValue]:
    """Values that can stand in one program: those that depend on their address there, the others where there is room."""
    taken: set[int] = set()
    chosen = []
    here = 0
    for value in sorted(values, key=lambda value: not value.address):
        made = found[value.line]
        if isinstance(made, Fault):
            continue
        # a statement may have been given a form that lies anywhere because another one does not reach from there
        fixed = value.address or placed(target.variants_of(made.form.mnemonic, made.shape))
        size = len(value.words)
        while not fixed and not taken.isdisjoint(range(here, here + size)):
            here += 1
        address = value.address if fixed else here
        if taken.isdisjoint(range(address, address + size)) and address + size - 1 <= target.top:
            taken.update(range(address, address + size))
            chosen.append(value._replace(address=address))
    return chosen


def wrong_image(target: Target, values: Iterable[BookValue]) -> list[str]:
    source = "".join(f"        ORG {value.address}\n        {value.statement}\n" for value in values)
    image = xasm.assemble(source, target=target)
    wrong = [
        f"line {value.line}: {value.statement}"
        for value in values
        if tuple(image[value.address + index] for index in range(len(value.words))) != value.words
    ]
    return wrong if len(image) == sum(len(value.words) for value in values) else [*wrong, "the image has other words, too"]


# A chip that is none, whose book and table agree; then one thing in its book is changed, and the right test must see it.

AGREED = """\
source: Invented databook
count mnemonics: 5
count opcodes: 26
00 | 1 | REST
40 00 | 2 | PUT U,0
41 FF | 2 | PUT V,0xFF
42 80 | 2 | PUT W,-128
43 12 | 2 | PUT (P),0x12
60 | 1 | GROW U
61 | 1 | GROW V
62 | 1 | GROW W
63 | 1 | GROW (P)
8F FF | 3/3 | LEAP 0xFFF
0200: C0 FE | 2 | HOP 0x0200
"""


def written(text: str) -> Book:
    report = Report()
    found = read_book(Source("toy.txt", text), report)
    report.stop()
    return found


def asked(text: str, table: str = TABLE) -> dict[str, list[str]]:
    """Everything that the tests find wrong, by the name of what asked."""
    target = read_target(Source("toy.yaml", table), Report())
    values = written(text)
    found = assembled(target, values.values)
    return {
        "words": lines(wrong_words(target, values, found)),
        "decoding": lines(wrong_decoding(target, values, found)),
        "cycles": lines(wrong_cycles(target, values, found)),
        "unmet": [one.message for one in unmet(target, found)],
        "counts": lines(wrong_counts(target, values)),
        "source": lines(without_source(values)),
        "image": wrong_image(target, apart(target, values.values, found)),
    }


def test_a_book_that_agrees() -> None:
    assert all(wrong == [] for wrong in asked(AGREED).values())


CHANGES = {
    "a wrong word": ("61 | 1 | GROW V", "62 | 1 | GROW V", {"words", "image"}),
    "a word that is no instruction": ("61 | 1 | GROW V", "FF | 1 | GROW V", {"words", "decoding", "image"}),
    "a word too many": ("61 | 1 | GROW V", "61 00 | 1 | GROW V", {"words", "decoding", "image"}),
    "an operand that is not there": ("GROW V", "GROW X", {"words", "unmet"}),
    "an unknown instruction": ("REST", "RUST", {"words", "unmet"}),
    "another time": ("00 | 1 |", "00 | 2 |", {"cycles"}),
    "a time for a page border": ("00 | 1 |", "00 | 1+1 |", {"cycles"}),
    "a time when a condition is met": ("C0 FE | 2 |", "C0 FE | 2/3 |", {"cycles"}),
    "a time that is not known": ("00 | 1 |", "00 | ? |", set()),
    "another address": ("0200:", "0210:", {"words", "image"}),
    "a spelling left out": ("62 | 1 | GROW W\n", "", {"unmet"}),
    "a row left out": ("00 | 1 | REST\n", "", {"unmet"}),
    "another count of mnemonics": ("mnemonics: 5", "mnemonics: 6", {"counts"}),
    "another count of opcodes": ("opcodes: 26", "opcodes: 27", {"counts"}),
    "no source": ("source: Invented databook\n", "", {"source"}),
}


@pytest.mark.parametrize("what", CHANGES)
def test_a_book_that_does_not(what: str) -> None:
    old, new, expected = CHANGES[what]
    assert AGREED.count(old) == 1
    assert {name for name, wrong in asked(AGREED.replace(old, new)).items() if wrong} == expected


def test_second_spellings_must_be_met_once() -> None:
    table = TABLE.replace("W: 2", "W: 2, X: 2")
    assert asked(AGREED, table)["unmet"] == ["no book value meets cell X yet"]
    assert asked(AGREED + "62 | 1 | GROW X\n", table)["unmet"] == []
    assert asked(AGREED.replace("GROW W", "GROW X"), table)["unmet"] == ["no book value meets GROW r with r = W yet"]


def test_a_further_code_needs_no_value() -> None:
    table = TABLE + '  - {asm: "REST", code: "01", cycles: 1, flow: next}\n'
    assert asked(AGREED, table)["unmet"] == []


@pytest.mark.parametrize(
    "line",
    [
        "00 | 1 REST", "00 | | REST", "0 | 1 | REST", "00 | 1 | ", "| 1 | REST", "200: C0 FE | 2 | HOP 0x200", "00 | 1/ | REST",
        "00 | 1+ | REST", "00 12 345 | 1 | REST", "zz | 1 | REST", "00 | one | REST", "source:", "count: 5", "count opcodes: many",
        "count opcodes: 26", "REST", "00 | 1 | rest", " 00 | 1 | REST", "00 | ?+1 | REST",
        "00 | - | REST", "alias 00 | 1 | REST",
    ],
)  # fmt: skip
def test_a_line_that_is_none_is_refused(line: str) -> None:
    with pytest.raises(SourceErrors, match=r"^toy\.txt:15:1: error: "):
        written(AGREED + line + "\n")


def test_a_table_without_a_book_is_noticed() -> None:
    assert TABLES
    with pytest.raises(AssertionError, match="has no book values"):
        book("no such chip")
