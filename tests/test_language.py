"""The language: labels, scopes, names for values, data, and what must hold."""

from __future__ import annotations

import pytest

import xasm
from tests.asking import CHIP, MAKERS, STOP, code, errors, hints, symbols, texts
from tests.invented import BRANCHES, chip

BIG = chip(BRANCHES, order="big")
WIDE = chip("kinds:\n  n: {number: 12}\nforms:\n  - {asm: 'TAKE n', code: 'nnnnnnnnnnnn', n: n, cycles: 1}\n", word=12, address=12)


# labels


@pytest.mark.parametrize(
    "source",
    [
        "a: STOP\nb: STOP\n",
        "a STOP\nb STOP\n",
        "a:STOP\nb:STOP\n",
        "a :STOP\nb\t:\tSTOP\n",
        "  a: STOP\n\tb:STOP\n",
        "  a : STOP\n\t b :\n STOP\n",
        "a:\n STOP\nb:\n STOP\n",
        "a\n STOP\nb\n STOP\n",
        "a;x\n STOP\nb ; x\n STOP\n",
        "a:;it's\n STOP\n b: ; 'x\n STOP",
        "a\n\n; nothing\n STOP\nb\n STOP\n\n",
        "a DB 0\nb DB 0\n",
        "a: DB 0\n  b: DB 0\n",
        "a\tDB\t0\nb\tDB\t0\n",
        "  a:stop\n  b:Stop\n",
    ],
)
def test_a_label_in_every_position(source: str) -> None:
    assert symbols(source) == {"a": 0, "b": 1}
    assert code(source) == STOP * 2


def test_several_labels_at_one_place_and_one_behind_everything() -> None:
    assert symbols("a:\nb\n c: STOP\nd\ne:") == {"a": 0, "b": 0, "c": 0, "d": 1, "e": 1}


def test_a_known_word_in_column_1_is_no_label_unless_a_colon_follows() -> None:
    assert code("STOP\nBR t\nDB 5\nt: STOP\n") == STOP + "0101" + "05" + STOP
    assert code("stop\nDb 5\nORG 9\n") == "0005"
    assert symbols("STOP: STOP\nDB: DB 1\n BR: BR BR\nEND: EQU 7\n") == {"STOP": 0, "DB": 1, "BR": 2, "END": 7}
    assert symbols("STOPS\nDBS STOP\n") == {"STOPS": 0, "DBS": 0}


def test_an_operation_with_a_comma_in_it() -> None:
    assert code(" PUT,P 1\nPUT,Q 2\nput,q 3\na put,P 4\nb:PUT,Q 5\nPUT: PUT,P PUT\n", MAKERS) == "30013102310330043105300a"
    assert errors("PUT,R 5\n PUT,P\n PUT,Q 1,2\n", MAKERS) == [(1, 5, "no_form"), (2, 6, "no_form"), (3, 6, "no_form")]
    assert errors("REST,P 5\nPUT , P 5\n", MAKERS) == [(1, 1, "no_form"), (2, 5, "not_understood")]


def test_an_indented_word_without_colon_is_an_operation() -> None:
    wanted = [(1, 2, "unknown_operation")]
    for rest in ("STOP", "DB 1", "EQU 5", ":= 5", ":=5"):
        assert errors(f" a {rest}\n") == wanted
        assert hints(f" a {rest}\n") == ["a label that does not begin in column 1 needs a colon: a:"]
    assert errors(" a 5\n") == wanted
    assert hints(" STOPP\n") == ["did you mean STOP or STAMP?"]


def test_names_are_case_sensitive_and_what_the_chip_has_is_not() -> None:
    assert symbols("a STOP\nA STOP\nLoop stop\nloop Stop\n") == {"a": 0, "A": 1, "Loop": 2, "loop": 3}
    assert code(" wipe P\n Wipe p'\n get #1\n GET Q.3\n get q.3\n", MAKERS) == "202140014545"
    assert code("x equ 5\n db x\n Db X\nX Equ 6\ny := 1\n org 2\n END\n") == "0506"


def test_a_name_is_given_once() -> None:
    assert errors("a STOP\na STOP\n a EQU 5\na EQU 5\na := 5\n")[0] == (2, 1, "defined_twice")
    assert len(errors("a STOP\na: STOP\na EQU 5\na := 5\n")) == 3
    assert errors("a := 5\na STOP\n") == [(2, 1, "defined_twice")]


def test_words_that_are_no_names() -> None:
    for name in ("P", "p", "q", "P: "):
        assert errors(f"{name} REST\n", MAKERS) == [(1, 1, "reserved_word")]
    for name in ("AND", "low", "Mod"):
        assert errors(f"{name} STOP\n") == [(1, 1, "operator_word")]
        assert errors(f"{name} EQU 1\n") == [(1, 1, "operator_word")]
    for label in ("1a", "a-b", "a.b", "a(5)", "#5", "a,b", "\xe4", "gr\xf6\xdfe:", "'a'", ":"):
        assert errors(f"{label} STOP\n") == [(1, 1, "label_not_name")]
    assert errors(" gr\xf6\xdfe: STOP\n") == [(1, 4, "not_understood")]
    assert errors(":= 5\n := 6\n") == [(1, 1, "label_needed"), (2, 2, "label_needed")]


# local names


def test_a_local_name_belongs_to_the_last_plain_label() -> None:
    source = "a: STOP\n.x: STOP\n.y STOP\n BR .x\nb:\n .x: BR .x\n.y EQU 7\n DB .y, a.x, a.y, b.x, b.y\n"
    assert symbols(source) == {"a": 0, "a.x": 1, "a.y": 2, "b": 5, "b.x": 5, "b.y": 7}
    assert code(source) == STOP * 3 + "01fc" + "01fe" + "0701020507"


def test_local_names_before_their_definition_and_through_equates() -> None:
    assert code("a: DB .x, b.x\n.x: STOP\nb: DB .x\n.x: STOP\nc EQU b.x + .y\n.y EQU 1\n DB c\n") == "0204" + STOP + "04" + STOP + "05"
    assert code("a:\nx EQU .z\n.z EQU 5\nb:\n.z EQU 6\n DB x\n") == "05"


def test_names_from_equ_and_assign_begin_no_scope() -> None:
    assert symbols("a: STOP\nc EQU 1\nv := 2\n.x: STOP\n") == {"a": 0, "c": 1, "v": 2, "a.x": 1}


def test_a_local_name_out_of_its_scope_is_unknown() -> None:
    assert errors(".x: STOP\n DB .y\na:\n.z STOP\nb: DB .z, a.z\n.z: STOP\n.z: STOP\n") == [
        (1, 1, "local_without_label"),
        (2, 5, "undefined"),
        (7, 1, "defined_twice"),
    ]
    assert errors("a:\n.z STOP\nb: DB a.z, .z\nc: DB b.z\n") == [
        (3, 12, "undefined"),
        (4, 7, "undefined"),
    ]


def test_equal_statements_with_equal_local_names_mean_their_own() -> None:
    """What a statement text became is remembered; local names must not be."""
    assert (
        code("a:\n.x: LD .x\nb:\n.x: LD .x\nc:\n.x := 9\n LD .x\n.x := 10\n LD .x\nd:\n.x EQU 11\n LD .x\n")
        == "03000302" + "0309030a" + "030b"
    )


def test_a_label_reached_by_its_full_name_has_the_same_size() -> None:
    """Two statements grow one after the other; a third reaches exactly its label, however that is named."""
    source = "t: STOP\n BR far\n DS 123,0\nmain: BR t\n.x:\ny: STOP\n DS 125,0\nc EQU y\nl: BR {}\n ORG 0x2000\nfar: STOP\n"
    plain = xasm.assemble(source.format("y"), CHIP)
    assert plain[plain.symbols["l"]] == 1
    for text in ("t + (y - t)", "c"):
        assert xasm.assemble(source.format(text), CHIP).spans == plain.spans
    assert xasm.assemble(source.replace("y: ", " ").replace("EQU y", "EQU t").format("main.x"), CHIP).spans == plain.spans


# names for values


def test_equ_forward_and_backward() -> None:
    assert symbols("a EQU b + 1\nb EQU c * 2\nc EQU 5\nd EQU a\n") == {"a": 11, "b": 10, "c": 5, "d": 11}
    assert symbols(" ORG 16\nhere EQU $\n STOP\nthere: EQU $ - here\nl EQU last\n STOP\nlast:\n") == {
        "here": 16,
        "there": 1,
        "l": 18,
        "last": 18,
    }
    assert symbols("a EQU 'A'\nb EQU -1\nc EQU 1 << 100\n") == {"a": 65, "b": -1, "c": 1 << 100}
    chain = "".join(f"n{index} EQU n{index + 1} + 1\n" for index in range(3000)) + "n3000 EQU 0\n"
    assert symbols(chain)["n0"] == 3000


def test_equ_that_defines_itself_shows_the_chain() -> None:
    assert texts("a EQU b\nb EQU c + 1\nc EQU a\n")[0] == "'a' is defined by itself: a -> b -> c -> a"
    assert errors("a EQU a\n") == [(1, 7, "circular")]


def test_a_changing_name_has_the_value_of_the_moment() -> None:
    assert (
        code("x := 1\n DB x\nx := x + 1\n DB x, x\nx := x * 8\n LD x\n LD x\nx := 0x300\n LD x\n") == "01" + "0202" + "03100310" + "040003"
    )
    assert symbols("x := 1\ny EQU x\nx := 2\nz EQU x\n") == {"x": 2, "y": 1, "z": 2}
    assert symbols("x:=1\nx: := x+1\n x: :=x+1\n") == {"x": 3}


def test_a_changing_name_over_addresses() -> None:
    """It may hold what is known only when everything has been placed."""
    assert code("x := $\n DB x\nx := x + 4\n DB x\nx := end - x\n DB x\nend:\n DB x\n") == "0004ffff"
    source = "last := 0\na: DW last\nlast := a\nb: DW last\nlast := b\nc: DW last\n"
    assert code(source) == "000000000200"
    assert code(" BR far\nx := $ + 1\n DS 200,0\nfar: DB x\n")[-2:] == "04"
    assert symbols("x := late\nlate EQU 7\nx := x + late\n") == {"x": 14, "late": 7}


def test_a_local_changing_name() -> None:
    source = "a:\n.n := 1\n DB .n\n.n := .n + 1\n DB .n, a.n\nb:\n.n := 5\n DB .n, a.n, b.n\n.n := 6\n DB .n, b.n\n"
    assert code(source) == "010202" + "050205" + "0606"
    assert symbols(source) == {"a": 0, "a.n": 2, "b": 3, "b.n": 6}


def test_a_changing_name_has_no_value_before_its_first() -> None:
    for source in (" DB x\nx := 5\n DB x\n", " LD x\nx := 5\n LD x\n"):
        assert errors(source) == [(1, 5, "undefined")]
        assert hints(source) == ["a name given by := has a value only behind that line"]
    assert errors("x := x + 1\n")[0][:2] == (1, 6)
    assert hints("x := x + 1\n")[0] == "a name given by := has a value only behind that line"


# data


@pytest.mark.parametrize(
    ("source", "wanted"),
    [
        ("DB 0,255,-128,-1,'A'", "00ff80ff41"),
        ("DB late, late+1, $, <0x1234, >0x1234, 1 ? 2 : 3", "2223003412" + "02"),
        ("DB \"AB\", 1, 'CD'", "4142014344"),
        ("DB ''", ""),
        ('DB "", 1', "01"),
        ("DB 'it''s', ''''", "6974277327"),
        (r'DB "a\"b\\c\'d"', "6122625c632764"),
        (r'DB "\n\t\r\a\b\f\v\?"', "0a090d07080c0b3f"),
        (r'DB "\0\7\101\1011\377"', "0007414131ff"),
        (r'DB "\x0\x41\xffG\x1B[0m"', "0041ff471b5b306d"),
        (r"DB 'a\n'", "615c6e"),
        ("DB 'a;b', \"c;d\" ; e", "613b62633b64"),
        ("DB 'a,b', \"c,d\"", "612c62632c64"),
        ("DB'A',\"B\"", "4142"),
        ("DB\"A;'B\";'", "413b2742"),
        ("DB 'A'+1, -'A', 'A' == 65", "42bf01"),
        ("DB \"A\" \t,\t\t'B'", "4142"),
        ("DW 0,65535,-32768,-1,0x1234", "0000ffff0080ffff3412"),
        ("DW 'A', \"BC\", 'D'+1", "4100420043004500"),
        ("DW late, $ + 0x100", "22000001"),
        ("DS 3, 0xEE", "eeeeee"),
        ("DS 2, -1", "ffff"),
        ("DS 0, 1", ""),
        ("DS 1 + 1, 'x'", "7878"),
        ("DS late - 32, late", "2222"),
        ("ALIGN 4, 1", ""),
        ("STOP\n ALIGN 4, 0xAA", "00aaaaaa"),
        ("STOP\n ALIGN 1, 1\n STOP", "0000"),
        ("STOP\n ALIGN late / 10, late", "002222"),
    ],
)
def test_data(source: str, wanted: str) -> None:
    assert code(f" {source}\nlate EQU 34\n") == wanted


def test_data_in_the_order_and_the_words_of_the_chip() -> None:
    assert code(" DW 0x1234, 'A', -2\n LD 0x1234\n", BIG) == "12340041fffe" + "041234"
    assert xasm.assemble(" DB 0xABC, -1, 'A'\n DW 0x123456\n TAKE 5\n", WIDE).spans == [(0, (0xABC, 0xFFF, 0x41, 0x456, 0x123, 5))]


@pytest.mark.parametrize("value", [-129, 256, -32769, 65536])
def test_data_that_does_not_fit(value: int) -> None:
    assert len(errors(f" DB {value}\n")) == 1
    assert len(errors(f" DB late\nlate EQU {value}\n")) == 1
    assert errors(f" DS 1, {value}\n ALIGN 4, {value}\n") == [(1, 8, "out_of_range"), (2, 11, "out_of_range")]
    assert errors(f" DW {value * 300}\n DB 1, {value}\n") == [(1, 5, "out_of_range"), (2, 8, "out_of_range")]


def test_space_that_stays_free() -> None:
    image = xasm.assemble("a: DB 1\nb: DS 3\nc: DB 2\n ALIGN 16\nd: DB 3\n ALIGN 16\n ORG 0x30\ne: DS 2\nf:\n", CHIP)
    assert image.spans == [(0, b"\1"), (4, b"\2"), (16, b"\3")]
    assert image.symbols == {"a": 0, "b": 1, "c": 4, "d": 16, "e": 0x30, "f": 0x32}


def test_counts_that_are_wrong() -> None:
    assert errors(" DS -1\n DS 5 - late\n ALIGN 0\n ALIGN -2\n DS nowhere\nlate EQU 6\n") == [
        (1, 5, "not_negative"),
        (2, 5, "not_negative"),
        (3, 8, "bad_alignment"),
        (4, 8, "bad_alignment"),
        (5, 5, "undefined"),
    ]


def test_operands_that_are_missing_or_too_many() -> None:
    lines = ["DB", "DW ; 5", "DS", "DS 1,2,3", "ALIGN", "ORG", "ORG 1,2", "a EQU", "a EQU 1,2", "ASSERT", "END 1,2"]
    found = errors("".join(f"{line}\n" for line in lines))
    assert [line for line, _, _ in found] == list(range(1, len(lines) + 1))
    assert errors(" DB 1,,2\n DB ,1\n DB 1,\n DB 1 , \n") == [
        (1, 6, "value_missing"),
        (2, 5, "value_missing"),
        (3, 6, "value_missing"),
        (4, 6, "value_missing"),
    ]


# where things go, and what must hold


def test_org_takes_what_is_known() -> None:
    image = xasm.assemble("base EQU 0x100\n ORG base + 2\na: STOP\n org 0x80\nb: STOP\n", CHIP)
    assert image.spans == [(0x80, b"\0"), (0x102, b"\0")]
    assert errors(" ORG late\nlate EQU 5\n ORG $\n ORG -1\n ORG 0x10000\n") == [
        (1, 6, "not_yet_known"),
        (3, 6, "not_yet_known"),
        (4, 6, "beyond_space"),
        (5, 6, "beyond_space"),
    ]


def test_assert_is_checked_when_everything_is_placed() -> None:
    assert code(" ASSERT last < 300\n ASSERT $ == 0, 'never'\n DS 3, 1\n ASSERT $ == 3\nlast:\n") == "010101"
    wrong = " ASSERT last > 3, \"it's \\x41 small\"\n ASSERT 1 - 1\n DS 3, 1\n ASSERT $ != last, 'a''b'\nlast:\n ASSERT nowhere\n"
    assert [text.partition(": ")[2] for text in texts(wrong)] == ["it's A small", "the condition is 0", "a'b", ""]
    assert errors(wrong) == [
        (1, 9, "assertion"),
        (2, 9, "assertion"),
        (4, 9, "assertion"),
        (6, 9, "undefined"),
    ]
    assert errors(" ASSERT 1, 2\n")[0][:2] == (1, 12)


def test_end_ends_the_program_and_may_name_its_start() -> None:
    image = xasm.assemble(" STOP\nmain: STOP\n END main\n nonsense ) (\nmain: STOP\n", CHIP)
    assert (image.spans, image.entry) == ([(0, b"\0\0")], 1)
    assert xasm.assemble(" STOP\n END\n", CHIP).entry is None
    assert errors(" END last + 1\n") == [(1, 6, "undefined")]
    assert errors(" END -1\n") == [(1, 6, "start_unknown")]


def test_directives_that_take_no_label() -> None:
    for line in ("ORG 5", "ALIGN 2", "ASSERT 1", "END", 'INCLUDE "x"', "TARGET test-chip"):
        assert errors(f"a: {line}\n")[0] == (1, 4, "label_unwanted")
    for line in ("EQU 5", ":= 5"):
        assert errors(f" {line}\n") == [(1, 2, "label_needed")]
