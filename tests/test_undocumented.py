"""What chips do and their makers' books do not list: the undocumented rows of the tables against the values of
tests/book/undocumented, and that nothing of them is there unless it is asked for."""

from __future__ import annotations

import pytest

from tests.books import UNLISTED, unlisted
from tests.test_book import apart, lines, written, wrong_image
from tests.test_table_mistakes import TABLE
from tests.test_tables import HIDING
from xasm.source.diagnostics import Report, SourceErrors
from xasm.source.files import Source
from xasm.target.book_check import assembled, without_source
from xasm.target.check import check_target, opcodes, undocumented_opcodes
from xasm.target.decode import Decoder
from xasm.target.finding import load_target, table_paths
from xasm.target.loader import read_target
from xasm.target.unlisted_check import there_unasked, unlisted_counts, unmet_codes, wrong_readings, wrong_statements, wrong_times

# The tables


def test_there_are_such_tables_and_each_has_its_values() -> None:
    assert HIDING
    shown = {name for name in table_paths() if any(form.undocumented for form in load_target(name).all_forms())}
    assert set(HIDING) == shown
    assert {path.stem for path in UNLISTED.iterdir()} == shown
    with pytest.raises(AssertionError, match="has no values of its undocumented rows"):
        unlisted("no such chip")


@pytest.mark.parametrize("name", HIDING)
def test_statements_give_the_words(name: str) -> None:
    assert lines(wrong_statements(load_target(name, True), unlisted(name))) == []


@pytest.mark.parametrize("name", HIDING)
def test_words_give_the_statements(name: str) -> None:
    assert lines(wrong_readings(load_target(name, True), unlisted(name))) == []


@pytest.mark.parametrize("name", HIDING)
def test_cycles_agree(name: str) -> None:
    assert lines(wrong_times(load_target(name, True), unlisted(name))) == []


@pytest.mark.parametrize("name", HIDING)
def test_every_row_and_opcode_is_met(name: str) -> None:
    assert lines(unmet_codes(load_target(name, True), unlisted(name))) == []


@pytest.mark.parametrize("name", HIDING)
def test_counts_agree(name: str) -> None:
    assert lines(unlisted_counts(load_target(name, True), unlisted(name))) == []
    assert unlisted(name).counts == {"undocumented opcodes": load_target(name).count["undocumented"]}


@pytest.mark.parametrize("name", HIDING)
def test_every_value_has_a_source(name: str) -> None:
    assert lines(without_source(unlisted(name))) == []


@pytest.mark.parametrize("name", HIDING)
def test_nothing_of_it_is_there_unasked(name: str) -> None:
    assert lines(there_unasked(load_target(name), unlisted(name))) == []


@pytest.mark.parametrize("name", HIDING)
def test_the_whole_assembler_gives_the_same(name: str) -> None:
    every = load_target(name, True)
    values = [value for value in unlisted(name).values if not value.alias]
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
    values = written(text)
    return {
        "words": lines(wrong_statements(every, values)),
        "decoding": lines(wrong_readings(every, values)),
        "times": lines(wrong_times(every, values)),
        "unmet": lines(unmet_codes(every, values)),
        "counts": lines(unlisted_counts(every, values)),
        "source": lines(without_source(values)),
        "unasked": lines(there_unasked(plain, values)),
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
    with pytest.raises(SourceErrors, match=r"^toy\.txt:12:1: error: "):
        written(AGREED + line + "\n")


def test_without_its_count_it_is_a_book() -> None:
    with pytest.raises(SourceErrors, match=r"^toy\.txt:6:1: error: this is no line of book values"):
        written(AGREED.replace("count undocumented opcodes: 9\n", ""))


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
