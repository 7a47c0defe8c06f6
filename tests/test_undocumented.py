"""What chips do and their makers' books do not list: the undocumented rows of the tables against the values of
tests/book/undocumented, and that nothing of them is there unless it is asked for."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache

import pytest

from tests.bookvalues import FOLDER, Book, BookValue, parse_book, read_book, undocumented_path
from tests.statements import encoded
from tests.test_book import apart, assembled, hexadecimal, wrong_cycles, wrong_image
from tests.test_table_mistakes import TABLE
from tests.test_tables import HIDING
from xasm.source.diagnostics import Fault, Report, SourceErrors
from xasm.source.files import Source
from xasm.target.check import check_target, opcode_words, opcodes, undocumented_opcodes
from xasm.target.decode import Decoder
from xasm.target.finding import load_target, table_paths
from xasm.target.loader import read_target
from xasm.target.model import Target


@lru_cache(maxsize=64)
def book(name: str) -> Book:
    """The values of a table's undocumented rows; a table without them fails here."""
    path = undocumented_path(name)
    assert path.is_file(), f"table '{name}' has no values of its undocumented rows: {path.name} is missing"
    return read_book(path, undocumented=True)


# What each test asks, of a chip with its undocumented rows; each gives the list of what is wrong.


def wrong_words(every: Target, values: Iterable[BookValue]) -> list[str]:
    """Statements that become other words than those of their line. That of an `alias` line becomes those of the book where it
    is in the book, else those of another line: the lowest."""
    values = list(values)
    main = {value.words for value in values if not value.alias}
    wrong = []
    for value in values:
        line = f"line {value.line}: {value.statement}"
        try:
            made = encoded(every, value.statement, value.address)
        except Fault as fault:
            wrong.append(f"{line}: {fault}")
            continue
        gives = f"{line}: line {hexadecimal(value.words)}, table {hexadecimal(made.words)}"
        if value.alias and made.form.undocumented:
            if made.words not in main or made.words >= value.words:
                wrong.append(f"{gives}, which is not the lowest code")
        elif value.alias:
            if made.words == value.words:
                wrong.append(f"{gives}, which is documented")
        elif made.words != value.words:
            wrong.append(gives)
    return wrong


def wrong_decoding(every: Target, values: Iterable[BookValue]) -> list[str]:
    """Words that are not read as the statement of their line."""
    decoder = Decoder(every)
    wrong = []
    for value in values:
        line = f"line {value.line}: {hexadecimal(value.words)}"
        instruction = decoder.decode(value.words, value.address)
        if instruction is None or instruction.form.size != len(value.words):
            wrong.append(f"{line} is not decoded whole")
            continue
        if not instruction.form.undocumented:
            wrong.append(f"{line} is documented: {instruction.text}")
        try:
            same = encoded(every, instruction.text, value.address) == encoded(every, value.statement, value.address)
        except Fault:
            same = False
        if not same:
            wrong.append(f"{line} is decoded to {instruction.text}, not {value.statement}")
    return wrong


def wrong_times(every: Target, values: Iterable[BookValue]) -> list[str]:
    """What never ends (`-`) halts and counts 0 in the table; the others are as in a book."""
    values = list(values)
    decoder = Decoder(every)
    wrong = []
    for value in values:
        instruction = decoder.decode(value.words, value.address)
        if instruction is not None and (value.cycles == "-") != (instruction.form.cycles == 0 and instruction.form.flow == "halt"):
            wrong.append(f"line {value.line}: {value.statement}: {value.cycles}, table {instruction.form.flow}")
    return wrong + wrong_cycles(every, [value for value in values if value.cycles != "-"])


def unmet(every: Target, values: Iterable[BookValue]) -> list[str]:
    """Undocumented rows, and undocumented opcodes, that no line has."""
    decoder = Decoder(every)
    rows, codes = set(), set()
    for value in values:
        instruction = decoder.decode(value.words, value.address)
        if instruction is not None:
            form = instruction.form
            rows.add(form)
            operands = form.code.operands
            words = (0 if index in operands else word for index, word in enumerate(value.words[: opcode_words(form)]))
            codes.add(tuple(words))
    missing = [f"{form.asm} {form.code_text}" for form in every.forms if form.undocumented and not form.alias and form not in rows]
    return missing + [hexadecimal(code) for code in sorted(undocumented_opcodes(every) - codes)]


def wrong_counts(every: Target, counts: dict[str, int]) -> list[str]:
    told, head, rows = counts["undocumented opcodes"], every.count.get("undocumented"), len(undocumented_opcodes(every))
    return [] if told == head == rows else [f"lines {told}, head of the table {head}, rows {rows}"]


def without_source(values: Iterable[BookValue]) -> list[str]:
    return [f"line {value.line}: {value.statement}" for value in values if not value.source]


def there_unasked(plain: Target, values: Iterable[BookValue]) -> list[str]:
    """What a chip without its undocumented rows takes, or reads, all the same. The statement of a further code may be in the
    book, with the code that it has there."""
    decoder = Decoder(plain)
    wrong = []
    for value in values:
        line = f"line {value.line}"
        if decoder.decode(value.words, value.address) is not None:
            wrong.append(f"{line}: {hexadecimal(value.words)} is decoded")
        try:
            made = encoded(plain, value.statement, value.address)
        except Fault:
            continue
        if not value.alias or made.words == value.words:
            wrong.append(f"{line}: {value.statement} gives {hexadecimal(made.words)}")
    return wrong


# The tables


def test_there_are_such_tables_and_each_has_its_values() -> None:
    assert HIDING
    shown = {name for name in table_paths() if any(form.undocumented for form in load_target(name).all_forms())}
    assert set(HIDING) == shown
    assert {path.stem for path in (FOLDER / "undocumented").iterdir()} == shown
    with pytest.raises(AssertionError, match="has no values of its undocumented rows"):
        book("no such chip")


@pytest.mark.parametrize("name", HIDING)
def test_statements_give_the_words(name: str) -> None:
    assert wrong_words(load_target(name, True), book(name).values) == []


@pytest.mark.parametrize("name", HIDING)
def test_words_give_the_statements(name: str) -> None:
    assert wrong_decoding(load_target(name, True), book(name).values) == []


@pytest.mark.parametrize("name", HIDING)
def test_cycles_agree(name: str) -> None:
    assert wrong_times(load_target(name, True), book(name).values) == []


@pytest.mark.parametrize("name", HIDING)
def test_every_row_and_opcode_is_met(name: str) -> None:
    assert unmet(load_target(name, True), book(name).values) == []


@pytest.mark.parametrize("name", HIDING)
def test_counts_agree(name: str) -> None:
    assert wrong_counts(load_target(name, True), book(name).counts) == []


@pytest.mark.parametrize("name", HIDING)
def test_every_value_has_a_source(name: str) -> None:
    assert without_source(book(name).values) == []


@pytest.mark.parametrize("name", HIDING)
def test_nothing_of_it_is_there_unasked(name: str) -> None:
    assert there_unasked(load_target(name), book(name).values) == []


@pytest.mark.parametrize("name", HIDING)
def test_the_whole_assembler_gives_the_same(name: str) -> None:
    every = load_target(name, True)
    values = [value for value in book(name).values if not value.alias]
    sample = apart(every, values, assembled(every, values))
    assert len(sample) > len(values) // 2
    assert wrong_image(every, sample) == []


def full_maps() -> list[str]:
    """The tables in which the codes of one word, documented or not, are as many as there are words."""
    found = []
    for name in HIDING:
        target = load_target(name)
        codes = opcodes(target) | undocumented_opcodes(target)
        if all(len(code) == 1 for code in codes) and len(codes) == 1 << target.word:
            found.append(name)
    return found


def test_where_the_map_is_full_every_first_word_is_an_instruction() -> None:
    assert full_maps()
    for name in full_maps():
        decoder = Decoder(load_target(name, True))
        assert [word for word in range(256) if decoder.decode((word, 0, 0), 0x8000) is None] == []


# A chip that is none, whose undocumented rows and values agree; then one thing is changed, and the right test must see it.

HIDDEN = (
    TABLE.replace("opcodes: 26}", "opcodes: 26, undocumented: 9}")
    + """\
  - {asm: "DUCK r", code: "011100rr", r: cell, cycles: 3, flow: next, undocumented: true}
  - {asm: "REST", code: "0000001-", cycles: 1, flow: next, undocumented: true}
  - {asm: "DEAD", code: "F0", cycles: 0, flow: halt, undocumented: true}
  - {asm: "DEAD", code: "1111001-", cycles: 0, flow: halt, undocumented: true}
"""
)
AGREED = """\
count undocumented opcodes: 9
source: common practice
70 | 3 | DUCK U
71 | 3 | DUCK V
72 | 3 | DUCK W
73 | 3 | DUCK (P)
alias 02 | 1 | REST
alias 03 | 1 | REST
F0 | - | DEAD
alias F2 | - | DEAD
alias F3 | - | DEAD
"""


def asked(text: str, table: str = HIDDEN) -> dict[str, list[str]]:
    plain = read_target(Source("toy.yaml", table), Report())
    every = plain.with_undocumented()
    written = parse_book(text, "toy.txt", undocumented=True)
    return {
        "words": wrong_words(every, written.values),
        "decoding": wrong_decoding(every, written.values),
        "times": wrong_times(every, written.values),
        "unmet": unmet(every, written.values),
        "counts": wrong_counts(every, written.counts),
        "source": without_source(written.values),
        "unasked": there_unasked(plain, written.values),
    }


def test_values_that_agree() -> None:
    assert {what: wrong for what, wrong in asked(AGREED).items() if wrong} == {}
    report = Report()
    check_target(read_target(Source("toy.yaml", HIDDEN), report), report)
    assert report.diagnostics == []


CHANGES = {
    "a wrong word": ("71 | 3 | DUCK V", "73 | 3 | DUCK V", {"words", "decoding", "unmet"}),
    "another time": ("71 | 3 |", "71 | 4 |", {"times"}),
    "a time that ends": ("F0 | - |", "F0 | 0 |", {"times"}),
    "a time that does not": ("71 | 3 |", "71 | - |", {"times"}),
    "a main code that is a further one": ("alias 02", "02", {"words", "unasked"}),
    "a further code that is the main one": ("F0 | - | DEAD\n", "alias F0 | - | DEAD\n", {"words"}),
    "a documented code": ("alias 02", "alias 00", {"words", "decoding", "unmet", "unasked"}),
    "a documented statement": ("71 | 3 | DUCK V", "61 | 1 | GROW V", {"decoding", "unmet", "unasked"}),
    "an unknown statement": ("DUCK V", "DUCK X", {"words", "decoding"}),
    "a code left out": ("alias F3 | - | DEAD\n", "", {"unmet"}),
    "a row left out": ("alias 02 | 1 | REST\nalias 03 | 1 | REST\n", "", {"unmet"}),
    "another count": ("opcodes: 9", "opcodes: 8", {"counts"}),
    "no source": ("source: common practice\n", "", {"source"}),
}


@pytest.mark.parametrize("what", CHANGES)
def test_values_that_do_not(what: str) -> None:
    old, new, expected = CHANGES[what]
    assert AGREED.count(old) == 1
    assert {name for name, wrong in asked(AGREED.replace(old, new)).items() if wrong} == expected


@pytest.mark.parametrize("line", ["alias", "alias 00 | 1", "00 | -+1 | REST", "other 00 | 1 | REST", "count opcodes: 3"])
def test_a_line_that_is_none_is_refused(line: str) -> None:
    with pytest.raises(ValueError, match=r"^toy\.txt:12: "):
        parse_book(AGREED + line + "\n", "toy.txt", undocumented=True)


def test_a_count_must_be_there() -> None:
    with pytest.raises(ValueError, match=r"^toy\.txt: no count of undocumented opcodes$"):
        parse_book(AGREED.replace("count undocumented opcodes: 9\n", ""), "toy.txt", undocumented=True)


def test_a_wrong_count_in_the_head_is_told() -> None:
    report = Report()
    check_target(read_target(Source("toy.yaml", HIDDEN.replace("undocumented: 9}", "undocumented: 8}")), report), report)
    with pytest.raises(SourceErrors) as raised:
        report.stop()
    assert str(raised.value).split("\n")[0] == "toy.yaml:9:1: error: the head counts 8 undocumented opcodes, the rows have 9"


def test_a_head_need_not_count_what_is_undocumented() -> None:
    report = Report()
    check_target(read_target(Source("toy.yaml", HIDDEN.replace(", undocumented: 9}", "}")), report), report)
    assert report.diagnostics == []


def test_a_word_of_undocumented_rows_is_a_name_unless_they_are_asked_for() -> None:
    report = Report()
    row = '  - {asm: "DUCK Q", code: "F1", cycles: 1, flow: next, undocumented: true}\n'
    plain = read_target(Source("toy.yaml", HIDDEN.replace("undocumented: 9}", "undocumented: 10}") + row), report)
    check_target(plain, report)
    assert report.diagnostics == []
    assert "Q" not in plain.reserved
    assert "Q" in plain.with_undocumented().reserved
    assert Decoder(plain.with_undocumented()).decode((0xF1,), 0) is not None
