"""Opcode maps: what is in each cell against the decoder, the book values and the books' counts; what is printed; both commands."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Iterator
from pathlib import Path

import pytest

from tests.books import UNLISTED, book, books, unlisted
from tests.invented import chip
from tests.messages import Case, Shown, cases
from tests.test_wide_words import TEN, TWELVE
from xasm.reports.card import facts
from xasm.reports.chart import Cell, Entry, Sheet, chart
from xasm.reports.chart_text import chart_text, cut
from xasm.reports.web import FLOWS
from xasm.source.diagnostics import Report
from xasm.source.files import Source
from xasm.target.bookvalues import BookValue
from xasm.target.check import check_target, opcode_words
from xasm.target.decode import Decoder
from xasm.target.finding import load_target, table_paths
from xasm.target.forms import FLOWS as EVERY_FLOW
from xasm.target.loader import read_target
from xasm.target.model import Target

TABLES = list(table_paths())
PRINTED = cases(Path(__file__).resolve().parent / "charts")
BEHIND = ((0x00,) * 4, (0x12,) * 4, (0x81,) * 4, (0xFF,) * 4, (0x9F, 0x00, 0x8F, 0x12))  # words that are tried behind an opcode

Code = tuple[int | None, ...]


def codes(cell: Cell, base: int) -> Iterator[Code]:
    """The codes that a cell stands for by what is printed: `DD/FD CB <d> 46` is two, with None for the operand."""
    parts: list[list[int | None]] = []
    for part in cell.code.split():
        first, _, last = part.partition("..")
        if last:
            parts.append(list(range(int(first, base), int(last, base) + 1)))
        else:
            parts.append([None] if part[0] == "<" else [int(one, base) for one in part.split("/")])
    yield from itertools.product(*parts)


def cells(target: Target) -> dict[Code, Cell]:
    """The cell of every code. What two sheets show of a code must be the same."""
    found: dict[Code, Cell] = {}
    for sheet in chart(target):
        for cell in sheet.cells():
            for code in codes(cell, 8 if target.octal else 16):
                if not cell.mixed:
                    before = found.setdefault(code, cell)
                    assert [entry.row for entry in before.entries] == [entry.row for entry in cell.entries], (target.name, code)
    return found


def wrong_cells(target: Target, drawn: dict[Code, Cell]) -> list[str]:
    """Cells that do not hold the rows which the decoder finds."""
    decoder = Decoder(target.with_undocumented())
    wrong = []
    for code, cell in drawn.items():
        found = set()
        for operand, behind in itertools.product((0x00, 0x12), BEHIND):
            instruction = decoder.decode([operand if word is None else word for word in code] + list(behind), 0x100)
            if instruction is not None:
                found.add(instruction.form.row or instruction.form)
        rows = {entry.row for entry in cell.entries}
        if cell.sheets and not cell.entries:
            continue
        if not found <= rows or bool(found) != bool(rows):
            wrong.append(f"{cell.code}: {[entry.text for entry in cell.entries]}")
    return wrong


@pytest.mark.parametrize("name", TABLES)
def test_every_cell_holds_what_the_decoder_finds(name: str) -> None:
    target = load_target(name)
    drawn = cells(target)
    assert len(drawn) >= 1 << target.word
    assert wrong_cells(target, drawn) == []
    rows = {entry.row for cell in drawn.values() for entry in (*cell.entries, *cell.aliases)}
    assert rows == set(target.rows)
    code, cell = next((code, cell) for code, cell in drawn.items() if cell.entries)
    assert len(wrong_cells(target, {**drawn, code: cell._replace(entries=())})) == 1
    assert len(wrong_cells(target, {**drawn, code: next(one for one in reversed(drawn.values()) if one.entries)})) == 1


@pytest.mark.parametrize("name", TABLES)
def test_as_many_cells_as_the_book_counts(name: str) -> None:
    hidden = [cell.entries[0].undocumented for cell in cells(load_target(name)).values() if cell.entries]
    assert hidden.count(False) == book(name).counts["opcodes"]
    told = unlisted(name).counts["undocumented opcodes"] if (UNLISTED / f"{name}.txt").is_file() else 0
    assert hidden.count(True) == told


def wrong_values(target: Target, drawn: dict[Code, Cell], values: Iterable[tuple[BookValue, bool]]) -> list[str]:
    """Book values that are not in the cell of their code: first word, length, time, whether the maker lists it."""
    shapes = sorted({tuple(word is None for word in code) for code in drawn}, key=len, reverse=True)
    wrong = []
    for value, hidden in values:
        keys = [
            tuple(None if is_open else value.words[index] for index, is_open in enumerate(shape))
            for shape in shapes
            if len(shape) <= len(value.words)
        ]
        cell = next((drawn[key] for key in keys if key in drawn and drawn[key].entries), None)
        entries = (*cell.entries, *cell.aliases) if cell else ()
        if not any(holds(entry, value, hidden) for entry in entries):
            wrong.append(f"{value.line}: {value.statement}")
    return wrong


def holds(entry: Entry, value: BookValue, hidden: bool) -> bool:
    operation = value.statement.partition(" ")[0]
    least, _, most = entry.length.partition("-")
    time = entry.cycles == value.cycles or "+" in entry.cycles or value.cycles in ("?", "-")
    return (
        (operation == entry.operation or (entry.row.bare and operation in entry.row.mnemonics))
        and int(least) <= len(value.words) <= int(most or least)
        and time
        and entry.undocumented == hidden
    )


@pytest.mark.parametrize("name", TABLES)
def test_book_values_are_where_the_map_shows_them(name: str) -> None:
    target = load_target(name)
    drawn = cells(target)
    values = [(value, one.undocumented) for one in books(name) for value in one.values if not value.alias]
    assert len(values) > 100
    assert wrong_values(target, drawn, values) == []
    moved = [(value._replace(words=(value.words[0] ^ 1 << target.word - 2, *value.words[1:])), hidden) for value, hidden in values[:50]]
    assert len(wrong_values(target, drawn, moved)) > 25, "a value in a wrong place is noticed"


@pytest.mark.parametrize("target", [TWELVE, TEN], ids=["12", "10"])
def test_wide_words_are_grouped_and_then_shown_one_by_one(target: Target) -> None:
    sheets = chart(target)
    assert all(len(list(sheet.cells())) == 256 for sheet in sheets)
    assert [sheet.title for sheet in sheets[:2]] == [
        "First word",
        "First word, 400 to 4FF" if target is TWELVE else "First word, 200 to 2FF",
    ]
    drawn = cells(target)
    assert {code[0] for code in drawn if len(code) == 1} == set(range(1 << target.word))
    one_each = {id(cell): (code, cell) for code, cell in drawn.items()}  # a cell may stand for very many codes
    assert wrong_cells(target, dict(one_each.values())) == []
    defined = sum(bool(cell.entries) for cell in drawn.values())
    assert defined == target.count["opcodes"]


def test_a_sheet_of_narrow_words_is_smaller() -> None:
    rows = '  - {asm: "STEP", code: "0000", cycles: 1}\n  - {asm: "TURN f", code: "101f", f: few, cycles: 2}\n'
    four = chip(f"kinds: {{few: {{unsigned: 1}}}}\nforms:\n{rows}", word=4)
    (sheet,) = chart(four)
    assert (len(sheet.columns), [label for label, _ in sheet.rows]) == (16, ["_"])
    assert [cell.entries[0].text for cell in sheet.cells() if cell.entries] == ["STEP", "TURN 0", "TURN 1"]
    six = chip('kinds: {}\nforms:\n  - {asm: "STEP", code: "100001", cycles: 1}\n', word=6)
    assert [label for label, _ in chart(six)[0].rows] == ["0_", "1_", "2_", "3_"]


def test_a_first_word_without_a_fixed_bit_is_everywhere() -> None:
    target = chip('kinds: {all: {unsigned: 8}}\nforms:\n  - {asm: "ANY a", code: "aaaaaaaa", a: all, cycles: 1}\n')
    assert [cell.entries[0].text for cell in chart(target)[0].cells()][:3] == ["ANY 0x00", "ANY 0x01", "ANY 0x02"]


def test_the_time_of_a_list_is_counted_where_the_code_settles_it() -> None:
    target = chip(
        "kinds: {few: {list: {DEEP: 1, TOP: 2}, bits: 2, cycles: {DEEP: 1, TOP: 5}}}\n"
        'forms:\n  - {asm: "RING l", code: "010000ll", l: few, cycles: 2}\n  - {asm: "SING l", code: "50 000000ll", l: few, cycles: 2}\n'
    )
    told = [f"{cell.entries[0].text} {cell.entries[0].cycles}" for sheet in chart(target) for cell in sheet.cells() if cell.entries]
    assert told[:3] == ["RING DEEP 3", "RING TOP 7", "RING DEEP,TOP 8"]
    assert told[3:] == ["SING DEEP 3", "SING TOP 7", "SING DEEP,TOP 8"]
    kinds = "kinds: {few: {list: {DEEP: 1, TOP: 2}, bits: 8, cycles: {TOP: 5}}}"
    open_list = chip(f'{kinds}\nforms:\n  - {{asm: "RING l", code: "40 <l>", l: few, cycles: 2}}\n')
    assert [cell.entries[0].cycles for cell in chart(open_list)[0].cells() if cell.entries] == ["2+n"]


# ---- as text


@pytest.mark.parametrize("width", [80, 100, 200])
def test_no_line_is_wider_than_the_screen(width: int) -> None:
    for target in [*map(load_target, TABLES), TWELVE, TEN]:
        lines = chart_text(target, width).split("\n")
        assert max(map(len, lines)) <= width, target.name
        headings = [line.split() for line in lines if re.match(r"_+0|_+0_+|\+0", line)]
        assert len(headings) == len(chart(target))
        assert {len(heading) for heading in headings} == {8 if target.octal else 16}


@pytest.mark.parametrize(
    ("text", "lines"),
    [
        ("", []),
        ("MOV", ["MOV"]),
        ("(ab),c", ["(ab)", ",c"]),
        ("7,(ab+c),d", ["7,", "(ab", "+c),", "d"]),
        ("11/17", ["11/", "17"]),
        ("2/3+1", ["2/3", "+1"]),
        ("LONGER", ["LONG", "ER"]),
        ("a,b,c,d", ["a,b,", "c,d"]),
        ("AB CD EFGH I", ["AB", "CD", "EFGH", "I"]),
    ],
)
def test_a_text_is_cut_where_its_parts_end(text: str, lines: list[str]) -> None:
    assert cut(text, 4) == lines


@pytest.mark.parametrize("case", PRINTED, ids=[case.origin for case in PRINTED])
def test_printed(case: Case, tmp_path: Path) -> None:
    """Whole maps and a card: prefixes with and without an operand behind them, second spellings, what is undocumented, long words."""
    shown = Shown(case, tmp_path)
    assert shown.prints == case.prints
    assert (shown.exit, shown.says) == (0, case.says)


def test_the_printed_chips_are_right() -> None:
    assert len(PRINTED) == 3
    for case in PRINTED:
        name, text = next((name, text) for name, text in case.files.items() if name.startswith("targets/"))
        report = Report()
        check_target(read_target(Source(name, text.decode()), report), report)
        assert report.diagnostics == []


# ---- what the pages say


def test_every_flow_has_its_words_and_no_two_the_same_sign() -> None:
    assert FLOWS.keys() == set(EVERY_FLOW)
    assert len({sign for sign, _, _ in FLOWS.values()}) == len({words for _, words, _ in FLOWS.values()}) == len(FLOWS)
    assert all(bool(sign) == bool(tint) for sign, _, tint in FLOWS.values()), "a tint never stands alone"


@pytest.mark.parametrize("name", TABLES)
def test_the_facts_of_a_card_are_those_of_the_table(name: str) -> None:
    target = load_target(name)
    told = dict(facts(target))
    assert all(str(count) in told["instructions"] for count in target.count.values())
    assert target.address_text(target.start) in told["starts"]


def test_a_prefix_leads_to_its_map_and_words_that_differ_to_theirs() -> None:
    for target in map(load_target, TABLES):
        sheets = {sheet.name: sheet for sheet in chart(target)}
        assert len(sheets) == len(chart(target)), "the names of sheets are their own"
        led = {name for sheet in sheets.values() for cell in sheet.cells() for name in cell.sheets}
        assert led == sheets.keys() - {"map"}
        longest = max(opcode_words(form) for form in target.all_forms())
        assert bool(led) == (longest > 1 or target.word > 8)


def marked(sheets: list[Sheet]) -> list[str]:
    return [cell.entries[0].text + cell.marks for sheet in sheets for cell in sheet.cells() if cell.marks]


def test_marks() -> None:
    target = chip(
        'kinds: {byte: {number: 8}}\nforms:\n  - {asm: "STEP", code: "00", cycles: 1, undocumented: true}\n'
        '  - {asm: "TURN", code: "01", cycles: 1}\n  - {asm: "SPIN", code: "01", cycles: 1, alias: true}\n'
        '  - {asm: "LOOK b", code: "02 00 <b>", b: byte, cycles: 1}\n  - {asm: "SEE", code: "03", cycles: 1}\n'
    )
    assert marked(chart(target)) == ["STEP*", "TURN="]


# ---- commands


def test_outputs_are_written_all_or_none(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    def ran(*words: str) -> Shown:
        return Shown(Case("here", [], "outputs", ["target", *words]), tmp_path)

    name = TABLES[0]
    both = ran("chart", name, "--width", "90", "-o", "map.html", "-o", "map.txt", "-o", "-", "-o", "-.html")
    assert (both.exit, both.says) == (0, f"map.html: opcode map of the {name}\nmap.txt: opcode map of the {name}\n")
    page, text = (tmp_path / "map.html").read_text("ascii"), (tmp_path / "map.txt").read_text("ascii")
    assert both.prints == text + page
    assert text == chart_text(load_target(name), 90) + "\n"
    card = ran("show", name, "-o", "card.txt", "-o", "card.HTML")
    assert (card.exit, card.prints) == (0, "")
    assert ran("show", name).prints == (tmp_path / "card.txt").read_text("ascii")
    assert (tmp_path / "card.HTML").read_text("ascii").startswith("<!DOCTYPE html>")
    before = page
    failed = ran("chart", TABLES[1], "-o", "map.html", "-o", "nowhere/map.txt")
    assert (failed.exit, failed.says) == (2, "error: cannot write 'nowhere/map.txt': no such file or directory\n")
    assert (tmp_path / "map.html").read_text("ascii") == before


def test_without_a_width_the_screen_decides(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    widest = {}
    for columns in ("40", "80", "120"):
        monkeypatch.setenv("COLUMNS", columns)
        shown = Shown(Case("here", [], "width", ["target", "chart", TABLES[0]]), tmp_path)
        widest[columns] = max(map(len, shown.prints.split("\n")))
    assert widest["40"] == widest["80"] <= 80 < widest["120"] <= 120
