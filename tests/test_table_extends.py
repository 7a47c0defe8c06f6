"""Tables that extend another: what they inherit, and what is said when that goes wrong."""

from __future__ import annotations

import pytest

from tests.test_table_mistakes import EXTENDING, TABLE, means
from xasm.source.diagnostics import Fault, Report, SourceErrors
from xasm.source.files import Source
from xasm.target.check import check_target
from xasm.target.document import Mapping, read_document
from xasm.target.finding import load_target, table_paths, table_source
from xasm.target.loader import read_target
from xasm.target.model import Target

BASE = TABLE.replace('name: "toy"', 'name: "toy"\nalso: ["t1"]')
HEAD = """\
extends: "toy"
name: "new"
title: A later chip
book: [{title: "Another databook", edition: "first", read: "nothing"}]
count: {mnemonics: 5, opcodes: 26}
"""
BROKEN = BASE.replace("title: An", "title: Chip: an")


def read(text: str, **others: str) -> Target:
    """The table `new.yaml`, among others by name; raises SourceErrors."""

    def tables(name: str) -> Source:
        if name not in others:
            raise Fault("unknown_target", hint=f"there are: {', '.join(others)}", name=name)
        return Source(f"{name}.yaml", others[name])

    report = Report()
    target = read_target(Source("new.yaml", text), report, tables)
    check_target(target, report)
    report.stop()
    return target


def test_everything_is_inherited() -> None:
    target = read(HEAD, toy=BASE)
    base = read_target(Source("toy.yaml", BASE), Report())
    assert [form.asm for form in target.forms] == [form.asm for form in base.forms]
    assert len(target.forms) == 5
    assert (target.word, target.address, target.order, target.start, target.clock) == (8, 12, "big", 0, base.clock)
    assert target.conventions == base.conventions
    assert target.kinds == base.kinds
    assert (target.name, target.title, target.books[0].title) == ("new", "A later chip", "Another databook")
    assert base.also == ("t1",)
    assert target.also == ()  # another name means one chip only
    assert {form.places[""][0].path for form in target.forms} == {"toy.yaml"}


def test_rows_are_replaced_struck_and_added() -> None:
    own = """\
strike: ["GROW r"]
clock: {unit: cycle, periods: 2, typical: 2MHz}
kinds:
  near: {relative: 6, from: self}
  digit: {unsigned: 4}
forms:
  - {asm: "SHOW n", code: "1111nnnn", n: digit, cycles: 1, flow: next}
  - {asm: "REST", code: "01", cycles: 9, flow: halt}
  - {asm: "HOP t", code: "11tttttt", t: near, cycles: 1, flow: branch}
"""
    target = read(HEAD.replace("opcodes: 26", "opcodes: 101") + own.replace("1111nnnn", "0111nnnn"), toy=BASE)
    assert [(form.asm, form.places[""][0].path, form.cycles) for form in target.forms] == [
        ("REST", "new.yaml", 9),
        ("PUT r,d", "toy.yaml", 2),
        ("LEAP a", "toy.yaml", 3),
        ("HOP t", "new.yaml", 1),
        ("SHOW n", "new.yaml", 1),
    ]
    assert list(target.kinds) == ["cell", "data", "spot", "near", "digit"]
    assert (target.kinds["near"].bits, target.clock.periods) == (6, 2)


def test_a_replaced_kind_changes_inherited_rows() -> None:
    target = read(HEAD + 'kinds:\n  cell: {choice: {X: 0, Y: 1, Z: 2, "(P)": 3}}\n', toy=BASE)
    assert {"X", "Y", "Z", "P"} <= target.reserved
    assert "U" not in target.reserved


def test_several_rows_of_one_form_are_replaced_together() -> None:
    twice = BASE.replace("forms:\n", 'forms:\n  - {asm: "REST", code: "FF", cycles: 1, flow: next}\n').replace("26", "27")
    rows = 'forms:\n  - {asm: "REST", code: "01", cycles: 4, flow: next}\n  - {asm: "REST", code: "02", cycles: 5, flow: next}\n'
    assert [form.cycles for form in read(HEAD.replace("26", "27"), toy=twice).forms][:3] == [1, 1, 2]
    assert [form.cycles for form in read(HEAD.replace("26", "27") + rows, toy=twice).forms][:3] == [4, 5, 2]


def test_three_tables_in_a_row() -> None:
    middle = HEAD.replace('"new"', '"middle"') + 'also: ["m"]\norder: little\nstrike: ["REST"]\n'
    middle = middle.replace("mnemonics: 5, opcodes: 26", "mnemonics: 4, opcodes: 25")
    own = HEAD.replace('"toy"', '"middle"') + 'forms:\n  - {asm: "REST", code: "00", cycles: 7, flow: next}\n'
    target = read(own, middle=middle, toy=BASE)
    assert [form.asm for form in target.forms][-1] == "REST"
    assert (len(target.forms), target.order, target.also) == (5, "little", ())


def test_what_is_undocumented_is_not_inherited() -> None:
    modes = """\
kinds:
  place:
    modes:
      - {asm: "X", code: "0000000-", cycles: 0}
      - {asm: "Y", code: "00000010", cycles: 0, undocumented: true}
"""
    hidden = BASE.replace("kinds:\n", modes).replace("mnemonics: 5, opcodes: 26", "mnemonics: 6, opcodes: 27")
    hidden += '  - {asm: "SEEK i", code: "A0 <i>", i: place, cycles: 1, flow: next}\n'
    hidden += '  - {asm: "REST", code: "01", cycles: 1, flow: next, undocumented: true}\n'
    hidden += '  - {asm: "DOZE", code: "02", cycles: 1, flow: next, undocumented: true}\n'
    base = read_target(Source("toy.yaml", hidden), Report()).with_undocumented()
    assert [form.asm for form in base.forms][-4:] == ["SEEK X", "SEEK Y", "REST", "DOZE"]
    head = HEAD.replace("mnemonics: 5, opcodes: 26", "mnemonics: 6, opcodes: 27")
    heir = read(head, toy=hidden).with_undocumented()
    assert [form.asm for form in heir.forms] == [form.asm for form in base.forms if not form.undocumented]
    rows = 'forms:\n  - {asm: "WAKE", code: "02", cycles: 9, flow: next, undocumented: true}\n'
    own = read(head + rows, toy=hidden).with_undocumented()
    assert [(form.asm, form.cycles) for form in own.forms if form.undocumented] == [("WAKE", 9)]
    later = read(head.replace('"toy"', '"middle"'), middle=head.replace('"new"', '"middle"') + rows, toy=hidden)
    assert not any(form.undocumented for form in later.all_forms())
    with pytest.raises(SourceErrors, match="no inherited row reads 'DOZE'"):
        read(head + 'strike: ["DOZE"]\n', toy=hidden)


MISTAKES = {
    "the base is not there": (
        HEAD.replace('"toy"', '"toi"'),
        {"toy": BASE},
        """\
new.yaml:1:10: error: there is no chip 'toi'
    extends: "toi"
             ^
    there are: toy""",
    ),
    "the name of the base without quotes": (
        HEAD.replace('"toy"', "8"),
        {"toy": BASE},
        """\
new.yaml:1:10: error: put the value of 'extends' in quotes: YAML would read it as something else
    extends: 8
             ^""",
    ),
    "a table that extends itself": (
        HEAD,
        {"toy": HEAD.replace('"toy"', '"other"'), "other": HEAD},
        """\
other.yaml:1:10: error: the table of 'toy' extends itself: new.yaml -> toy.yaml -> other.yaml -> toy.yaml
    extends: "toy"
             ^
    extended by toy.yaml:1
    extended by new.yaml:1""",
    ),
    "the base is not YAML": (
        HEAD,
        {"toy": BROKEN},
        """\
toy.yaml:3:12: error: this is not YAML: a ':' is not allowed here
    title: Chip: an invented chip
               ^
    a text that holds ': ' needs quotes, and keys of one level are indented alike
    extended by new.yaml:1""",
    ),
    "the base is empty": (
        HEAD,
        {"toy": ""},
        "toy.yaml:1:1: error: the table is empty\n    extended by new.yaml:1",
    ),
    "a mistake in a row of the base": (
        HEAD,
        {"toy": BASE.replace("cycles: 3", "cycles: three")},
        """\
toy.yaml:21:65: error: 'cycles' must be a whole number
      - {asm: "LEAP a", code: "1000aaaa aaaaaaaa", a: spot, cycles: three, flow: jump}
                                                                    ^
    extended by new.yaml:1""",
    ),
    "the base lacks what the table has": (
        HEAD,
        {"toy": BASE.replace("title: An", "# title: An")},
        """\
toy.yaml:1:1: error: the table lacks 'title'
    name: "toy"
    ^
    extended by new.yaml:1""",
    ),
    "what must be given anew": (
        HEAD.replace("\ntitle:", "\n# title:").replace("count:", "# count:"),
        {"toy": BASE},
        """\
new.yaml:1:1: error: the table lacks 'title'
    extends: "toy"
    ^
new.yaml:1:1: error: the table lacks 'count'
    extends: "toy"
    ^""",
    ),
    "a replaced kind that does not fit an inherited row": (
        HEAD + "kinds:\n  spot: {address: 11}\n",
        {"toy": BASE},
        """\
toy.yaml:21:27: error: field 'a' has another number of bits in code (12) than its kind (11)
      - {asm: "LEAP a", code: "1000aaaa aaaaaaaa", a: spot, cycles: 3, flow: jump}
                              ^
    extended by new.yaml:1""",
    ),
    "nothing to strike": (
        HEAD + 'strike: ["GROW", "REST"]\n',
        {"toy": BASE},
        """\
new.yaml:6:10: error: no inherited row reads 'GROW', so there is nothing to strike
    strike: ["GROW", "REST"]
             ^
    there is: GROW r""",
    ),
    "strike is no list": (
        HEAD + "strike: REST\n",
        {"toy": BASE},
        """\
new.yaml:6:9: error: 'strike' must be a list of forms
    strike: REST
            ^""",
    ),
    "strike in a table that stands alone": (
        BASE + 'strike: ["REST"]\n',
        {},
        """\
new.yaml:23:1: error: unknown key 'strike'
    strike: ["REST"]
    ^
    known here: name, also, title, book, word, address, order, start, clock, count, conventions, """
        "spaces, directives, habits, symbols, bits, assume, undefined, lines, starters, kinds, forms, extends, routes, digits",
    ),
    "kinds of the wrong shape": (
        HEAD + "kinds: none\n",
        {"toy": BASE},
        """\
new.yaml:6:8: error: 'kinds' must be made of keys and values (key: value)
    kinds: none
           ^""",
    ),
    "rows of the wrong shape": (
        HEAD + "forms: none\n",
        {"toy": BASE},
        """\
new.yaml:6:8: error: 'forms' must be a list of rows
    forms: none
           ^""",
    ),
    "a row that claims an inherited code": (
        HEAD + 'forms:\n  - {asm: "STOP", code: "00", cycles: 1, flow: halt}\n',
        {"toy": BASE},
        """\
new.yaml:7:25: error: 'STOP' claims the code 00 that 'REST' (toy.yaml:18) claims too
      - {asm: "STOP", code: "00", cycles: 1, flow: halt}
                            ^""",
    ),
    "wrong counts": (
        HEAD + 'strike: ["REST"]\n',
        {"toy": BASE},
        """\
new.yaml:5:1: error: the head counts 5 mnemonics, the rows have 4
    count: {mnemonics: 5, opcodes: 26}
    ^
new.yaml:5:1: error: the head counts 26 opcodes, the rows have 25
    count: {mnemonics: 5, opcodes: 26}
    ^""",
    ),
}


@pytest.mark.parametrize("what", MISTAKES)
def test_mistake(what: str) -> None:
    text, others, printed = MISTAKES[what]
    with pytest.raises(SourceErrors) as raised:
        read(text, **others)
    assert str(raised.value) == printed


def test_every_message_about_tables_that_extend_another_is_met() -> None:
    assert EXTENDING
    assert {code for code in EXTENDING if any(means(code, printed) for _, _, printed in MISTAKES.values())} == EXTENDING


def test_a_table_alone_knows_no_other() -> None:
    with pytest.raises(SourceErrors) as raised:
        read_target(Source("new.yaml", HEAD), Report())
    assert str(raised.value) == "new.yaml:1:10: error: there is no chip 'toy'\n    extends: \"toy\"\n             ^"


def test_equal_names_of_different_files_are_no_cycle() -> None:
    report = Report()
    target = read_target(Source("toy.yaml", HEAD), report, lambda name: Source("toy.yaml", BASE))
    assert len(target.forms) == 5


def bases(name: str) -> list[str]:
    """The chips that the table of a chip rests on, nearest first."""
    document = read_document(table_source(name), Report())
    assert isinstance(document, Mapping)
    extends = document.items.get("extends")
    return [] if extends is None else [str(extends.value), *bases(str(extends.value))]  # type: ignore[union-attr]


def test_shipped_tables_that_extend_another() -> None:
    extending = {name: bases(name) for name in table_paths() if bases(name)}
    assert extending
    for name, chain in extending.items():
        target = load_target(name)
        files = {form.places[""][0].path for form in target.forms}
        assert files >= {table_source(chain[0]).path, table_source(name).path}, name
        assert len(target.forms) > 0
        assert target.name not in {load_target(base).name for base in chain}
        assert set(target.also).isdisjoint(other for base in chain for other in load_target(base).also)
