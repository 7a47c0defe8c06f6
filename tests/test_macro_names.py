"""What macros are left by, stand in for, and define: names of all kinds in them."""

from __future__ import annotations

import pytest

from tests.asking import MAKERS, STOP, code, errors, hints, symbols, texts

# LEAVE


@pytest.mark.parametrize(
    ("source", "wanted"),
    [
        ("m MACRO\n DB 1\n LEAVE\n DB 2\n ENDM\n m\n DB 3\n", "0103"),
        (" REPT 3\n DB 1\n LEAVE\n DB 2\n ENDM\n DB 3\n", "0103"),
        (" REPT 5, i\n IF {i} == 2\n LEAVE\n ENDIF\n DB {i}\n ENDM\n DB 9\n", "000109"),
        ("m MACRO a\n IF {a}\n IF 1\n LEAVE\n ENDIF\n ENDIF\n DB 5\n ENDM\n m 0\n m 1\n m 0\n", "0505"),
        ("m MACRO\n REPT 3\n DB 1\n LEAVE\n ENDM\n DB 2\n ENDM\n m\n m\n", "01020102"),
        ("m MACRO\n DB 1\n LEAVE\n ENDM\n REPT 2\n m\n DB 2\n ENDM\n", "01020102"),
        ("m MACRO\n n\n DB 2\n ENDM\nn MACRO\n DB 1\n LEAVE\n DB 3\n ENDM\n m\n", "0102"),
        ("m MACRO\n IF 0\n LEAVE\n ELSE\n DB 1\n ENDIF\n DB 2\n ENDM\n m\n", "0102"),
        (" IF 1\n REPT 2\n LEAVE\n ENDM\n DB 1\n ELSE\n DB 2\n ENDIF\n", "01"),
        ("m MACRO n\n DB {n}\n IF {n} == 0\n LEAVE\n ENDIF\n m {n} - 1\n DB 0x10 + {n}\n ENDM\n m 2\n", "0201001112"),
        ("m MACRO\n LEAVE\nn MACRO\n DB 1\n ENDM\n ENDM\n m\n IF DEFINED n\n ENDIF\n DB 2\n", "02"),
    ],
)
def test_leave(source: str, wanted: str) -> None:
    assert code(source) == wanted


def test_leave_leaves_nothing_open() -> None:
    assert errors(" LEAVE\n IF 1\n LEAVE\n ENDIF\n LEAVE 5\n") == [
        (1, 2, "nothing_to_leave"),
        (3, 2, "nothing_to_leave"),
        (5, 8, "no_operands_wanted"),
    ]
    assert errors("m MACRO\n IF 1\n LEAVE\n ENDM\n m\n ENDIF\n") == [(6, 2, "no_if")]
    assert code("m MACRO\n IF 1\n LEAVE\n ENDM\n m\n DB 1\n") == "01", "what is left need not be closed"


def test_end_in_a_macro_or_a_repeat_ends_everything() -> None:
    assert code("m MACRO\n DB 1\n END\n DB 2\n ENDM\n REPT 3\n m\n STOP\n ENDM\n STOP\n DB 3\n STOP\n") == "01"
    assert code(" STOP\n REPT 1\n END\n ENDM\n STOP\n STOP\n") == STOP
    assert code("m MACRO\n REPT 2\n IF 1\n END\n ENDIF\n ENDM\n ENDM\n STOP\n m\n STOP\n STOP\n") == STOP


# INSTEAD


def test_a_macro_instead_of_an_instruction() -> None:
    macro = "STOP MACRO INSTEAD count=2\n REPT {count}\n Stop\n ENDM\n DB {#}\n ENDM\n"
    assert code(" STOP\n" + macro + " stop 1\n STOP\nSTOP 3\n") == STOP + (STOP + "01") + (STOP * 2 + "00") + (STOP * 3 + "01")
    assert code("m MACRO\n STOP\n ENDM\n" + macro + " m\n") == STOP * 2 + "00", "other macros mean the macro"
    assert code("ld macro instead a\n LD {a}\n LD {a} + 1\n ENDM\n LD 5\n LD 5\n") == "03050306" * 2
    assert code("BR MACRO INSTEAD\n m\n ENDM\nm MACRO\n BR x\n ENDM\nx: BR\n") == "01fe", "what its lines use is in its lines"


def test_instead_is_needed_and_no_parameter() -> None:
    assert errors("STOP MACRO count\n ENDM\n") == [(1, 1, "macro_is_instruction")]
    assert hints("stop MACRO\n ENDM\n") == ["to let it stand in for the instruction, say: stop MACRO INSTEAD ..."]
    assert code("m MACRO INSTEAD a\n DB {a}\n ENDM\n m 5\n") == "05", "there need not be an instruction"
    assert errors("DB MACRO INSTEAD\n ENDM\n") == [(1, 1, "macro_is_directive")]


# what macros define


def test_macros_that_define_names() -> None:
    macro = "m MACRO name, value\n{name} EQU {value}\n{name}_at: DB {name}\nlast := {value}\n ENDM\n"
    source = macro + " m one, 1\n m two, 2\n DB last, one, two_at\n"
    assert code(source) == "0102" + "020101"
    assert symbols(source) == {"one": 1, "one_at": 0, "last": 2, "two": 2, "two_at": 1}
    assert errors("m MACRO\nx: STOP\n ENDM\n m\n m\n") == [(2, 1, "defined_twice")]


def test_macros_that_define_macros() -> None:
    assert code("m MACRO name, value\n{name} MACRO more\n DB {value}, {more}\n ENDM\n ENDM\n m a, 1\n m b, 2\n a 3\n b 4\n") == "01030204"
    assert code("m MACRO\nn MACRO\n DB 1\n ENDM\n n\n ENDM\n m\n n\n") == "0101"
    assert errors("m MACRO\nn MACRO\n ENDM\n ENDM\n m\n m\n") == [(2, 1, "defined_twice")]
    assert errors(" n\nm MACRO\nn MACRO\n ENDM\n ENDM\n n\n m\n n\n") == [(1, 2, "unknown_operation"), (6, 2, "unknown_operation")]


def test_a_macro_is_known_behind_its_definition_and_by_any_capitals() -> None:
    assert code("Twice MACRO\n STOP\n STOP\n ENDM\n twice\nTWICE\n tWiCe\n") == STOP * 6
    assert errors(" m\nm MACRO\n ENDM\n m\nM MACRO\n ENDM\n") == [(1, 2, "unknown_operation"), (5, 1, "defined_twice")]
    assert code("m: MACRO\n DB 1\n ENDM\nn :MACRO\n DB 2\n ENDM\n  o: MACRO\n DB 3\n ENDM\n m\n n\n o\n") == "010203"


def test_a_name_and_a_macro_of_one_spelling() -> None:
    """A word in column 1 that is a macro by now is a call, unless a colon follows."""
    assert code("m MACRO\n DB m\n ENDM\n DB 9\nm: m\nm\n") == "090101"


# LOCAL


def test_a_local_name_is_new_in_every_use() -> None:
    macro = "wait MACRO count\n LOCAL again, out\n BR out\nagain: DB {count}\n BR again\nout:\n ENDM\n"
    assert code(macro + " wait 1\n wait 2\n") == "0103" + "0101fd" + "0103" + "0201fd"
    assert symbols(macro + "again: wait 1\nout: wait 2\n BR again\n BR out\n") == {"again": 0, "out": 5}
    assert code("m MACRO\nLOCAL a ; b\n local b,c\na: DB a\nb: DB b\nc: DB c\n ENDM\n m\n m\n") == "000102030405"
    assert code("m MACRO\na: DB a, {#}\n LOCAL a\n ENDM\n m\n m\n") == "00000200", "wherever it is declared"


def test_a_local_name_in_an_argument_is_the_callers() -> None:
    inner = "inner MACRO to\n LOCAL again\n BR {to}\nagain: BR again\n ENDM\n"
    outer = "outer MACRO\n LOCAL again\nagain: DB 7\n inner again\n BR again\n ENDM\n"
    once = "07" + "01fd" + "01fe" + "01f9"
    assert code(inner + outer + " outer\n outer\n") == once * 2
    assert code(inner + "again: STOP\n inner again\n inner again\n") == STOP + "01fd01fe" + "01f901fe"
    recursive = "m MACRO n, at\n LOCAL here\nhere: DB {at}\n IF {n}\n m {n} - 1, here\n ENDIF\n DB here\n ENDM\n m 2, 99\n"
    assert code(recursive) == "63" + "00" + "01" + "02" + "01" + "00"


def test_local_names_stand_where_names_stand_and_nowhere_else() -> None:
    lines = "a: DB \"a\", 'a', {a}, a + 1 ; a\nH: DB H'0A', 0AH, $a, x.a, a == a ? a : 0, H\n"
    assert code(f"m MACRO a\n LOCAL a, H\n{lines} ENDM\nx:\n.a: m 5\n m 6\n") == "61610501" + "0a0a0a000004" + "6161060b" + "0a0a0a000a0e"
    assert errors("m MACRO\n LOCAL a\na1 EQU 5\n DB a\n DB aa\n DB ba\n ENDM\n m\n") == [(line, 5, "undefined") for line in (4, 5, 6)]
    assert texts("m MACRO\n LOCAL a\n DB a\n ENDM\n m\n") == ["'a' is not defined"]


def test_local_in_a_nested_macro_is_that_ones() -> None:
    assert code("m MACRO\nn MACRO\n LOCAL a\na: DB a\n ENDM\n n\n n\n ENDM\n m\n") == "0001"
    assert errors("m MACRO\n REPT 2\n LOCAL a\n ENDM\n ENDM\n m\n") == [(3, 2, "local_outside")] * 2
    (hint,) = hints("m MACRO\n REPT 1\n LOCAL a\n ENDM\n ENDM\n m\n")
    assert hint == "it belongs to the macro's own lines, not to a repeat or a file in them"
    assert hints(" REPT 1\n LOCAL a\n ENDM\n LOCAL b\n") == [None, None]


def test_local_needs_names() -> None:
    for names, column in (("", 7), ("5", 8), (".x", 8), ("a, , b", 11), ("a, b.c", 11)):
        assert errors(f"m MACRO\n LOCAL {names}\n ENDM\n m\n") == [(2, column, "name_wanted")], names
    for word in ("STOP", "stop", "DB", "ld", "and"):
        assert errors(f"m MACRO\n LOCAL a, {word}\na: DB 1\n STOP\n ENDM\n m\n") == [(2, 11, "name_wanted")], word
    assert errors("n MACRO\n LOCAL q\n GET Q+\n ENDM\n n\n", MAKERS) == [(2, 8, "reserved_word")]


def test_a_local_name_may_be_asked_for_and_changed_but_not_made_public() -> None:
    asks = " IF NOT DEFINED a\n DB 1\n ENDIF\na: DB 2\n IF DEFINED a\n DB 3\n ENDIF\n"
    assert code(f"m MACRO\n LOCAL a\n{asks} ENDM\n m\n m\n") == "010203" * 2
    assert code("m MACRO\n LOCAL n\nn := 1\n REPT 3\n DB n\nn := n * 2\n ENDM\n ENDM\n m\n m\n") == "010204" * 2
    assert errors("m MACRO\n LOCAL a\na:\n PUBLIC a\n ENDM\n m\n") == [(4, 9, "name_wanted")]
    assert hints("m MACRO\n LOCAL a\na:\n PUBLIC a\n ENDM\n m\n") == ["a name that is LOCAL is known in its macro only"]


def test_a_name_that_is_nearly_a_local_one_is_not_suggested() -> None:
    assert hints("m MACRO\n LOCAL again\nagain: BR agian\n ENDM\n m\n") == [None]


# local labels, labels in front, names that change


def test_labels_with_a_point_in_macros() -> None:
    """They belong to the last plain label; one that is LOCAL begins no scope of its own."""
    assert code("m MACRO name\n{name}:\n.x: BR .x\n ENDM\n m a\n m b\n BR a.x\n BR b.x\n") == "01fe01fe" + "01fa01fa"
    assert code("m MACRO\n.x: BR .x\n ENDM\na: m\nb: m\n DB a.x, b.x\n") == "01fe01fe" + "0002"
    assert code("m MACRO\n LOCAL y\ny: BR .x\n ENDM\na:\n.x: m\n m\n BR .x\n") == "01fe01fc01fa"
    assert errors("m MACRO\n.x: STOP\n ENDM\na: m\n m\n") == [(2, 1, "defined_twice")]
    assert errors("m MACRO\n.x: STOP\n ENDM\n m\n") == [(2, 1, "local_without_label")]


def test_labels_in_front_of_calls_and_repeats() -> None:
    source = " STOP\na: m 1\nb m 2\n  c: m 3\n.d m 4\ne: REPT 2\n STOP\n ENDM\nf REPT 0\n ENDM\n.g: REPT 1\n STOP\n ENDM\n"
    macro = "m MACRO n\nx{n}: DB {n}\n ENDM\n"
    wanted = {"a": 1, "x1": 1, "b": 2, "x2": 2, "c": 3, "x3": 3, "x3.d": 4, "x4": 4, "e": 5, "f": 7, "f.g": 7}
    assert symbols(macro + source) == wanted
    assert symbols("m MACRO\n ENDM\n STOP\na: m\nb: m\n STOP\n") == {"a": 1, "b": 1}


def test_names_that_change_in_macros() -> None:
    source = "sum := 0\nadd MACRO n\nsum := sum + {n}\n DB sum\n ENDM\n add 1\n add 2\n REPT 2, i\n add {i}\n ENDM\n DB sum\n"
    assert code(source) == "0103030404"
    assert code("n := 3\n REPT n\nn := n - 1\n DB n\n ENDM\n") == "020100", "the count is taken once"
    assert code("a:\n.n := 1\nm MACRO\n.n := .n + 1\n DB .n\n ENDM\n m\n m\nb:\n.n := 7\n m\n DB a.n\n") == "02030803"
    assert code("m MACRO n\n LD n\n DB {n}\n ENDM\nn := 1\n m n\nn := 2\n m n + 1\n") == "0301010302" + "03"


def test_equal_lines_in_other_macros_mean_their_own() -> None:
    """What a line became is remembered; names that are LOCAL, and macros made later, must not be taken for others."""
    assert code("m MACRO\n LOCAL a\na: BR a\n LD a\n ENDM\n m\n m\n") == "01fe0300" + "01fe0304"
    assert code(" LD 5\n LD 5\nLD MACRO INSTEAD a\n DB {a}\n ENDM\n LD 5\n LD 5\n") == "03050305" + "0505"
