"""The tables against the makers' books: every value of tests/book, and nothing of a table that no value meets."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache

import pytest

import xasm
from tests.bookvalues import Book, BookValue, book_path, parse_book, read_book
from tests.statements import Encoded, encoded, variants
from tests.test_table_mistakes import TABLE
from tests.test_tables import BOTH, TABLES
from xasm.source.diagnostics import Fault, Report
from xasm.source.files import Source
from xasm.target.check import mnemonics, opcodes
from xasm.target.decode import Decoder
from xasm.target.encode import placed
from xasm.target.finding import load_target
from xasm.target.forms import Form, Mode, Row
from xasm.target.kinds import Choice, Kind, NameList
from xasm.target.loader import read_target
from xasm.target.model import Target

FEWEST = 200  # values of one chip: fewer, and the file was not read whole
Way = tuple[str, str, tuple[str, ...]]  # asm, code and kinds of a mode


@lru_cache(maxsize=64)
def book(name: str) -> Book:
    """The book values of a table; a table without them fails here."""
    path = book_path(name)
    assert path.is_file(), f"table '{name}' has no book values: {path.name} is missing"
    found = read_book(path)
    assert len(found.values) >= FEWEST
    return found


@lru_cache(maxsize=64)
def own_words(name: str, every: bool = False) -> dict[int, Encoded | Fault]:
    """What every value's statement becomes, by the number of its line; `every`: with what the book does not list, too."""
    return assembled(load_target(name, every), book(name).values)


def assembled(target: Target, values: Iterable[BookValue]) -> dict[int, Encoded | Fault]:
    found: dict[int, Encoded | Fault] = {}
    for value in values:
        try:
            found[value.line] = encoded(target, value.statement, value.address)
        except Fault as fault:
            found[value.line] = fault
    return found


def hexadecimal(words: Iterable[int]) -> str:
    return " ".join(f"{word:02X}" for word in words)


# What each test asks; each gives the list of what is wrong.


def wrong_words(target: Target, values: Iterable[BookValue], found: dict[int, Encoded | Fault]) -> list[str]:
    wrong = []
    for value in values:
        made = found[value.line]
        if isinstance(made, Fault):
            wrong.append(f"line {value.line}: {value.statement}: {made}")
        elif made.words != value.words:
            wrong.append(f"line {value.line}: {value.statement}: book {hexadecimal(value.words)}, table {hexadecimal(made.words)}")
    return wrong


def wrong_decoding(target: Target, values: Iterable[BookValue], found: dict[int, Encoded | Fault]) -> list[str]:
    """A second name may be longer than the instruction whose code it takes; its further words are none of the code."""
    decoder = Decoder(target)
    wrong = []
    for value in values:
        made = found[value.line]
        alias = isinstance(made, Encoded) and made.form.alias
        instruction = decoder.decode(value.words, value.address)
        if instruction is None or (instruction.form.size != len(value.words) and not alias):
            wrong.append(f"line {value.line}: {hexadecimal(value.words)} is not decoded whole")
            continue
        try:
            again = encoded(target, instruction.text, value.address)
        except Fault as fault:
            wrong.append(f"line {value.line}: {hexadecimal(value.words)} is decoded to {instruction.text}: {fault}")
            continue
        if again.words != value.words[: instruction.form.size]:
            wrong.append(f"line {value.line}: {hexadecimal(value.words)}: {instruction.text} gives {hexadecimal(again.words)}")
    return wrong


def wrong_cycles(target: Target, values: Iterable[BookValue]) -> list[str]:
    decoder = Decoder(target)
    wrong = []
    for value in values:
        instruction = decoder.decode(value.words, value.address)
        if instruction is None or value.cycles == "?":
            continue
        if instruction.form.cycles_text(value.words) != joined(value.cycles):
            wrong.append(f"line {value.line}: {value.statement}: book {value.cycles}, table {instruction.form.cycles_text(value.words)}")
    return wrong


def joined(cycles: str) -> str:
    """The same time either way is one time: `10/10` is `10`."""
    either, plus, cross = cycles.partition("+")
    less, _, more = either.partition("/")
    return (less if less == more else either) + plus + cross


def unmet(target: Target, values: Iterable[BookValue], found: dict[int, Encoded | Fault]) -> list[str]:
    """Rows, modes of operands, and spellings of choices and names of lists in them, that no value has.

    A row written like an earlier one only reads a further code of the same instruction: the earlier one meets it.
    A mode must be met in some row, whatever the kind is called that has it; not where it is only a second way to write.
    Of several spellings with the same bits the first must be met in every row or mode, the others somewhere.
    """
    made = [one for one in found.values() if isinstance(one, Encoded)]
    met: set[Row | Way] = {one.form.row or one.form for one in made}
    met.update(way(mode) for one in made for mode in one.form.chosen)
    spelled = {(owner(form, name), name, spelling) for _, form, spellings in made for name, spelling in spellings}
    somewhere = {(form.fields[name].name, spelling) for _, form, spellings in made for name, spelling in spellings}
    missing: dict[str, None] = {}
    earlier: dict[str, Row] = {}
    parts: list[tuple[Row | Way, str, dict[str, Kind]]] = []
    for row in target.rows:
        if not row.undocumented and earlier.setdefault(row.asm, row) is row:
            parts.append((row, row.asm, row.fields))
    for modes in target.modes.values():
        parts += [(way(mode), f"{modes.name} {mode.asm}", mode.fields) for mode in modes.modes if not (mode.alias or mode.undocumented)]
    for part, text, fields in parts:
        if part not in met:
            missing[text] = None
            continue
        for name, kind in fields.items():
            for spelling, bits in kind.options if isinstance(kind, (Choice, NameList)) else ():
                if isinstance(kind, Choice) and spelling != kind.spelling(bits):
                    if (kind.name, spelling) not in somewhere:
                        missing[f"{kind.name} {spelling}"] = None
                elif (part, name, spelling) not in spelled:
                    missing[f"{text} with {name} = {spelling}"] = None
    return list(missing)


def way(mode: Mode) -> Way:
    """What makes a mode the same in several kinds."""
    return mode.asm, mode.code_text, tuple(kind.name for kind in mode.fields.values())


def owner(form: Form, name: str) -> Row | Way:
    """Whose field a field of a form is: a mode's or the row's."""
    mode = next((mode for mode in form.chosen if name in mode.fields), None)
    return way(mode) if mode else form.row or form


def wrong_counts(target: Target, counts: dict[str, int]) -> list[str]:
    counted = {"mnemonics": len(mnemonics(target)), "opcodes": len(opcodes(target))}
    return [
        f"{what}: book {told}, head of the table {target.count[what]}, rows {counted[what]}"
        for what, told in counts.items()
        if not told == target.count[what] == counted[what]
    ]


def without_source(values: Iterable[BookValue]) -> list[str]:
    return [f"line {value.line}: {value.statement}" for value in values if not value.source]


# The tables


@pytest.mark.parametrize(("name", "every"), BOTH)
def test_statements_give_the_words_of_the_book(name: str, every: bool) -> None:
    assert wrong_words(load_target(name, every), book(name).values, own_words(name, every)) == []


@pytest.mark.parametrize(("name", "every"), BOTH)
def test_words_of_the_book_give_statements(name: str, every: bool) -> None:
    assert wrong_decoding(load_target(name, every), book(name).values, own_words(name, every)) == []


@pytest.mark.parametrize(("name", "every"), BOTH)
def test_cycles_are_those_of_the_book(name: str, every: bool) -> None:
    assert wrong_cycles(load_target(name, every), book(name).values) == []


@pytest.mark.parametrize(("name", "every"), BOTH)
def test_every_row_and_spelling_is_met(name: str, every: bool) -> None:
    assert unmet(load_target(name, every), book(name).values, own_words(name, every)) == []


@pytest.mark.parametrize("name", TABLES)
def test_counts_are_those_of_the_book(name: str) -> None:
    assert wrong_counts(load_target(name), book(name).counts) == []


@pytest.mark.parametrize("name", TABLES)
def test_every_value_has_a_source(name: str) -> None:
    assert without_source(book(name).values) == []


@pytest.mark.parametrize(("name", "every"), BOTH)
def test_the_whole_assembler_gives_the_same(name: str, every: bool) -> None:
    target = load_target(name, every)
    sample = apart(target, book(name).values, own_words(name, every))
    assert len(sample) >= FEWEST // 2
    assert wrong_image(target, sample) == []


def apart(target: Target, values: Iterable[BookValue], found: dict[int, Encoded | Fault]) -> list[BookValue]:
    """Values that can stand in one program: those that depend on their address there, the others where there is room."""
    taken: set[int] = set()
    chosen = []
    here = 0
    for value in sorted(values, key=lambda value: not value.address):
        made = found[value.line]
        if isinstance(made, Fault):
            continue
        # a statement may have been given a form that lies anywhere because another one does not reach from there
        fixed = value.address or placed(variants(target, value.statement)[0])
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


def asked(text: str, table: str = TABLE) -> dict[str, list[str]]:
    """Everything that the tests find wrong, by the name of what asked."""
    target = read_target(Source("toy.yaml", table), Report())
    written = parse_book(text, "toy.txt")
    found = assembled(target, written.values)
    return {
        "words": wrong_words(target, written.values, found),
        "decoding": wrong_decoding(target, written.values, found),
        "cycles": wrong_cycles(target, written.values),
        "unmet": unmet(target, written.values, found),
        "counts": wrong_counts(target, written.counts),
        "source": without_source(written.values),
        "image": wrong_image(target, apart(target, written.values, found)),
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
    assert asked(AGREED, table)["unmet"] == ["cell X"]
    assert asked(AGREED + "62 | 1 | GROW X\n", table)["unmet"] == []
    assert asked(AGREED.replace("GROW W", "GROW X"), table)["unmet"] == ["GROW r with r = W"]


def test_a_further_code_needs_no_value() -> None:
    table = TABLE + '  - {asm: "REST", code: "01", cycles: 1, flow: next}\n'
    assert asked(AGREED, table)["unmet"] == []


@pytest.mark.parametrize(
    "line",
    [
        "00 | 1 REST", "00 | | REST", "0 | 1 | REST", "00 | 1 | ", "| 1 | REST", "200: C0 FE | 2 | HOP 0x200", "00 | 1/ | REST",
        "00 | 1+ | REST", "00 12 345 | 1 | REST", "zz | 1 | REST", "00 | one | REST", "source:", "count: 5", "count opcodes: many",
        "count opcodes: 26", "REST", "00 | 1 | rest", " 00 | 1 | REST", "00 | ?+1 | REST",
        "00 | - | REST", "alias 00 | 1 | REST", "count undocumented opcodes: 1",
    ],
)  # fmt: skip
def test_a_line_that_is_none_is_refused(line: str) -> None:
    with pytest.raises(ValueError, match=r"^toy\.txt:15: "):
        parse_book(AGREED + line + "\n", "toy.txt")


def test_a_count_must_be_there() -> None:
    with pytest.raises(ValueError, match=r"^toy\.txt: no count of mnemonics$"):
        parse_book(AGREED.replace("count mnemonics: 5\n", ""), "toy.txt")


def test_a_table_without_a_book_is_noticed() -> None:
    assert TABLES
    with pytest.raises(AssertionError, match="has no book values"):
        book("no such chip")
