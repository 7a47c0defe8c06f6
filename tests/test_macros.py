"""Macros, repeats and conditions: random programs against the same done by hand, and single cases."""

from __future__ import annotations

import random
import re
from collections.abc import Mapping

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import xasm
from tests import expander
from tests.asking import CHIP, MAKERS, STOP, code, errors
from tests.expander import Author, Expander

EXAMPLES = settings(max_examples=200, deadline=None, suppress_health_check=list(HealthCheck))
DIRECTIVES = re.compile(r"\b(?:MACRO|REPT|ENDM|IF|ELSEIF|ELSE|ENDIF|LOCAL|LEAVE|EMPTY|SAME|DEFINED|NOT|EQU|DB|LD|BR|STOP|m\d)\b")
REMARKS = ("", "", " ; it's", ' ;"{tag}', "; ENDM", ";{")

Outcome = tuple[object, Mapping[str, int]]

# random programs


def outcome(text: str) -> Outcome | None:
    """Bytes and symbols of a program, those left out that were LOCAL; None for one with mistakes."""
    try:
        image = xasm.assemble(text, CHIP)
    except xasm.SourceErrors:
        return None
    return image.spans, {name: value for name, value in image.symbols.items() if "__" not in name}


def disguised(text: str, choice: random.Random) -> str:
    """The same program in another dress: capitals, blanks, remarks."""

    def dressed(line: str) -> str:
        line = DIRECTIVES.sub(lambda match: choice.choice((match[0], match[0].lower(), match[0].title())), line)
        return re.sub(r"^ ", lambda _: choice.choice((" ", "\t", "        ")), line) + choice.choice(REMARKS)

    return "\n".join(map(dressed, text.split("\n")))


@EXAMPLES
@given(st.randoms(use_true_random=False))
def test_a_program_is_worth_what_it_is_when_it_is_expanded_by_hand(choice: random.Random) -> None:
    text = Author(choice).program()
    wanted = outcome(Expander().expand(text))
    assert outcome(text) == wanted, text
    assert outcome(disguised(text, choice)) == wanted, text


def programs(count: int) -> list[str]:
    return [Author(random.Random(seed)).program() for seed in range(count)]


def test_the_random_programs_hold_everything() -> None:
    written = programs(300)
    assert sum(outcome(text) is not None for text in written) > 290, "hardly one has a mistake"
    for word in "MACRO REPT IF ELSEIF ELSE LEAVE LOCAL EMPTY SAME DEFINED NOT {#} {more} =ab size=".split():
        assert sum(word in text for text in written) > 40, word
    assert max(len(Expander().expand(text).split("\n")) for text in written) > 300


class NotNew(Expander):
    """Names that are LOCAL are the same in every use."""

    def call(self, macro: expander.Macro, text: str) -> None:
        self.serial = 0
        super().call(macro, text)


class NoDefault(Expander):
    @staticmethod
    def parameter(text: str) -> expander.Parameter:
        return Expander.parameter(text)._replace(default="3")


class NoName(Expander):
    """An argument by name is one like any other."""

    @staticmethod
    def bound(macro: expander.Macro, arguments: list[str]) -> dict[str, str]:
        return Expander.bound(macro, [argument.partition("=")[2] or argument for argument in arguments])


class NoEnd(Expander):
    """LEAVE leaves nothing but itself."""

    def read(self, lines: list[str]) -> bool:
        return super().read([line for line in lines if line.strip() != "LEAVE"])


class NoCase(Expander):
    """Every test holds."""

    def holds(self, text: str) -> bool:
        return True


@pytest.mark.parametrize("wrong", [NotNew, NoDefault, NoName, NoEnd, NoCase])
def test_a_difference_is_noticed(wrong: type[Expander]) -> None:
    seen = 0
    for text in programs(200):
        if "{left}" not in text:  # what is wrong could call itself without end
            try:
                seen += outcome(text) != outcome(wrong().expand(text))
            except ValueError:
                seen += 1
    assert seen > 5


# parameters and arguments


def use(parameters: str, line: str, *calls: str) -> str:
    """The bytes of calls of a macro of one line."""
    return code(f"m MACRO {parameters}\n {line}\n ENDM\n" + "".join(f" m {call}\n" for call in calls))


@pytest.mark.parametrize(
    ("parameters", "line", "call", "wanted"),
    [
        ("a", "DB {a}", "5", "05"),
        ("a, b", "DB {b}, {a}", "1, 2", "0201"),
        ("a,b", "DB {b},{a}", "1,2 ; 3", "0201"),
        ("a", "DB {a}{a}, {a}+{a}", "1", "0b02"),
        ("a, A", "DB {a}, {A}", "1, 2", "0102"),
        ("a", "DB '{a}', \"{a}{a}\"", "x", "787878"),
        ("a", "DB 1 ; {a}", "x", "01"),
        ("a", "{a} 5", "DB", "05"),
        ("a", "D{a} 5, 6", "B", "0506"),
        ("a", "{a}", "DB 7", "07"),
        ("a", "{a}", "{DB 7, 8}", "0708"),
        ("a", "DB {a}", '"b,c"', "622c63"),
        ("a", "DB {a}", "'b,c'", "622c63"),
        ("a", "DB {a}", "','", "2c"),
        ("a", "DB {a}", "''''", "27"),
        ("a", 'DB "{a}"', "{, ,}", "2c202c"),
        ("a", "DB {a}", r'"\","', "222c"),
        ("a", "DB {a}", "{1, 2}", "0102"),
        ("a, b", "DB {a}, {b}", "{1, 2}, 3", "010203"),
        ("a", "DB {a}", "(1 + 2) * 3", "09"),
        ("a, b", "DB {b}", "(1, 2), 3", "03"),
        ("a, b", "DB {b}", "[1, 2], 3", "03"),
        ("a", "DB {a}", "1 ? 2 : 3", "02"),
        ("a", "DB {a}", "5 == 5", "01"),
        ("a", "DB {a}", "H'1F'", "1f"),
        # defaults
        ("a=1", "DB {a}", "", "01"),
        ("a=1, b=2", "DB {a}, {b}", ", 5", "0105"),
        ("a=1, b=2", "DB {a}, {b}", "7", "0702"),
        ("a={1, 2}", "DB {a}", "", "0102"),
        ("a='x,y'", "DB {a}", "", "782c79"),
        ("a = 1 + 2", "DB {a}", "", "03"),
        ("a=", "DB 0{a}", "", "00"),
        ("a=1", 'DB "{a}"', "{}", ""),
        ("a=1", 'DB "{a}"', "a=", ""),
        # by name
        ("a, b", "DB {a}, {b}", "b=1, a=2", "0201"),
        ("a, b, c=3", "DB {a}, {b}, {c}", "1, c=5, b=4", "010405"),
        ("a, b", "DB {a}, {b}", "b=2, 1", "0102"),
        ("a, b", "DB {a}, {b}", "b = {2, 3}, a = 1", "010203"),
        ("a", "DB {a}", "b == 2\nb EQU 2", "01"),
        ("a", 'DB "{a}"', "b=2", "623d32"),
        ("a", 'DB "{a}"', "A=2", "413d32"),
        # the rest
        ("a, b...", "DB {a}, {b}", "1, 2, 3", "010203"),
        ("a...", "DB {a}", "1", "01"),
        ("a...", "DB {a}", "1, b == 2, 3\nb EQU 2", "010103"),
        ("a, b...", 'DB {a}, "{b}"', "1", "01"),
        ("a, b...", 'DB {a}, "{b}"', "1, {2, 3}, 4", "01" + b"{2, 3}, 4".hex()),
        ("a, b...=9", "DB {a}, {b}", "1", "0109"),
        ("a, b...=9", "DB {a}, {b}", "1, ", "0109"),
        ("a, b...", "DB {a}, {b}", "b=5, a=4", "0405"),
        ("a, b...", 'DB {a}, "{b}"', "1, 2, c=, 3", "01" + b"2, c=, 3".hex()),
        # the number of arguments
        ("a, b...", "DB {#}", "", "00"),
        ("a, b...", "DB {#}", "1", "01"),
        ("a, b...", "DB {#}", "1, 2, {3, 4}", "03"),
        ("a, b...", "DB {#}", ",", "02"),
        ("a, b...", "DB {#}", "a=1", "01"),
        ("", "DB {#}", "", "00"),
    ],
)
def test_what_an_argument_is(parameters: str, line: str, call: str, wanted: str) -> None:
    assert use(parameters, line, call) == wanted


def test_what_is_no_parameter_stays_as_it_is() -> None:
    assert use("a", 'DB "{b}{a}{ a }{}{A}{#}"', "x") == b"{b}x{ a }{}{A}1".hex()
    assert errors("m MACRO a\n DB {b}\n ENDM\n m 1\n") == [(2, 5, "not_understood")]


def test_an_argument_is_filled_in_once() -> None:
    assert use("a, b", 'DB "{a}{b}"', "{{b}}, {{a}}") == b"{b}{a}".hex()
    assert use("a", 'DB "{a}"', "{{#}}") == b"{#}".hex()


def test_registers_and_notations_as_arguments() -> None:
    macro = "m MACRO a, b=@Q\n WIPE {a}\n GET {b}\n ENDM\n"
    calls = " m P, #5\n m P', [7]\n m {P'}, {,Q}\n m a=Q\n m Q, Q+\n m q, q.3\n"
    assert code(macro + calls, MAKERS) == "204005" + "21420700" + "2146" + "2243" + "2244" + "2245"
    assert code("m MACRO r\n PUT,{r} 5\n ENDM\n m P\n m q\n", MAKERS) == "30053105"
    assert code("m MACRO two\n TRADE {two}\n ENDM\n m {P,P'}\n", MAKERS) == "10"


def test_an_argument_too_many_or_twice() -> None:
    source = "m MACRO a, b\n DB {a}, {b}\n ENDM\n m 1, 2, 3\n m 1, 2, c=3\n m a=1, a=2\n m 1, a=2\n m a=1, b=2, 3\n"
    assert errors(source) == [
        (4, 10, "too_many_arguments"),
        (5, 10, "too_many_arguments"),
        (6, 9, "argument_twice"),
        (7, 7, "argument_twice"),
        (8, 14, "argument_twice"),
    ]
    assert errors("m MACRO\n ENDM\n m ,\n m x\n") == [(3, 4, "too_many_arguments"), (4, 4, "too_many_arguments")]


def test_an_argument_that_is_left_open() -> None:
    assert errors("m MACRO a\n ENDM\n m {1\n m 1, {2, {3}\n m \"1\n m '1\n m (1\n m 1}\n") == [
        (3, 4, "open_brace"),
        (4, 7, "open_brace"),
        (5, 4, "open_text"),
        (6, 4, "open_text"),
    ]


# conditions


@pytest.mark.parametrize(
    ("condition", "wanted"),
    [
        ("1", True),
        ("0", False),
        ("5 - 5", False),
        ("-1", True),
        ("one == 1 && two > one", True),
        ("(one)", True),
        ("!one", False),
        ("two - one == 1 ? 0 : 1", False),
        ("turn == 4", True),
        ("'A' == 65", True),
        ("DEFINED one", True),
        ("defined one", True),
        ("NOT DEFINED one", False),
        ("not Defined nothing", True),
        ("DEFINED One", False),
        ("DEFINED later", False),
        ("DEFINED place", True),
        ("DEFINED .near", True),
        ("DEFINED place.near", True),
        ("DEFINED place.far", False),
        ("DEFINED turn", True),
        ("DEFINED m", False),
        ("EMPTY", True),
        ("NOT EMPTY", False),
        ("EMPTY ;x", True),
        ("EMPTY x", False),
        ('EMPTY ""', False),
        ("NOT EMPTY ,", True),
        ("SAME a, a", True),
        ("SAME a,A", True),
        ("same a, b", False),
        ("NOT SAME a, b", True),
        ("SAME ,", True),
        ("SAME a,", False),
        ("SAME a b, a  b", False),
        ("SAME {1, 2}, {1, 2}", True),
        ('SAME "a,b", "a,B"', True),
        ("SAME 1 + 1, 2", False),
        ("(same)", True),
        ("empties - 1", True),
    ],
)
def test_conditions(condition: str, wanted: bool) -> None:
    names = "one EQU 1\ntwo EQU 2\nturn := 4\nplace: STOP\n.near: STOP\nsame EQU 1\nempties EQU 2\nm MACRO\n ENDM\n"
    source = f" IF {condition}\n DB 1\n ELSE\n DB 2\n ENDIF\nlater: STOP\n"
    assert code(names + source)[4:] == ("01" if wanted else "02") + STOP
    assert code(names + source.replace("ELSE", "ELSEIF 0\n DB 3\n ELSE"))[4:] == ("01" if wanted else "02") + STOP
    assert code(names + source.replace(" IF", " IF 0\n DB 3\n ELSEIF"))[4:] == ("01" if wanted else "02") + STOP


def test_one_part_of_a_condition_is_read() -> None:
    parts = "".join(f" ELSEIF x == {index}\n DB {index}\n" for index in range(1, 5))
    source = f"x EQU {{}}\n IF x == 0\n DB 0\n{parts} ELSE\n DB 9\n ENDIF\n"
    assert [code(source.format(index)) for index in (0, 1, 4, 5)] == ["00", "01", "04", "09"]
    assert code("x EQU 2\n IF x\n DB 1\n ELSEIF x\n DB 2\n ELSE\n DB 3\n ENDIF\n") == "01"
    assert code(" IF 1\n ENDIF\n IF 0\n ENDIF\n IF 0\n ELSE\n ENDIF\n") == ""


def test_what_is_skipped_is_not_read() -> None:
    skipped = ' nonsense ) (\n DB "\n1x\nx MACRO {\n IF(\n DB 1\n ELSE\n IF DEFINED\n ENDIF\n ENDIF\n ENDM\n'
    skipped += ' REPT 10\n ENDM\n INCLUDE "no"\n END\n LEAVE\n'
    assert code(f" IF 0\n{skipped} ELSE\n DB 7\n ENDIF\n DB 8\n") == "0708"
    assert code(f" IF 1\n DB 7\n ELSE\n{skipped} ENDIF\n DB 8\n") == "0708"
    assert code(f" IF 1\n DB 7\n ELSEIF 1 / 0\n{skipped} ENDIF\n DB 8\n") == "0708"
    assert code(" IF 0\n IF(1)\n DB 1\n ENDIF\n If!0\n DB 1\n endif ;x\n DB 2\n ENDIF\n DB 3\n") == "03"


def test_a_condition_belongs_to_the_lines_that_open_it() -> None:
    for inner in ("ENDIF", "ELSE", "ELSEIF 1"):
        assert errors(f"m MACRO\n {inner}\n ENDM\n IF 1\n m\n DB 1\n ENDIF\n") == [(2, 2, "no_if")]
        assert errors(f" IF 1\n REPT 1\n {inner}\n ENDM\n DB 1\n ENDIF\n") == [(3, 2, "no_if")]
    assert errors("m MACRO\n IF 1\n ENDM\n m\n") == [(2, 2, "if_open")]
    assert errors(" REPT 2\n IF 0\n ENDM\n") == [(2, 2, "if_open")] * 2


def test_conditions_with_mistakes_are_closed_all_the_same() -> None:
    assert errors(" IF nothing\n DB 300\n ELSE\n DB 400\n ENDIF\n") == [(1, 5, "not_yet_known"), (4, 5, "out_of_range")]
    assert errors("a: IF 1\nb: ELSE\nc: ENDIF\n") == [(1, 4, "label_unwanted"), (2, 4, "label_unwanted"), (3, 4, "label_unwanted")]
    assert errors(" IF 1, 2\n ENDIF 5\n IF SAME a\n ENDIF\n IF DEFINED 5\n ENDIF\n IF DEFINED\n ENDIF\n") == [
        (1, 2, "operand_count"),
        (2, 8, "no_operands_wanted"),
        (3, 10, "operand_count"),
        (5, 13, "name_wanted"),
        (7, 5, "not_yet_known"),
    ]


# repeats


@pytest.mark.parametrize(
    ("source", "wanted"),
    [
        (" REPT 3\n DB 5\n ENDM\n", "050505"),
        (" REPT 0\n DB 5\n nonsense\n ENDM\n", ""),
        (" REPT 3, i\n DB {i}\n ENDM\n", "000102"),
        ("REPT 3 , i ; {i}\n DB {i} ; {i}\nENDM\n", "000102"),
        (" REPT 2, i\n REPT 2, j\n DB {i}{j}\n ENDM\n ENDM\n", "00010a0b"),
        (" REPT 2, i\n REPT {i} + 1\n DB {i}\n ENDM\n ENDM\n", "000101"),
        (" REPT 2, i\n REPT 2\n DB {i}\n ENDM\n ENDM\n", "00000101"),
        (' REPT 2, i\n DB "{i}:{i}"\n ENDM\n', b"0:01:1".hex()),
        (" REPT 3, i\nx{i}: DB x{i}\n ENDM\n DB x1, x2\n", "0001020102"),
        ("n EQU 2\nn2 EQU n * n\n REPT n2 - 1\n DB n\n ENDM\n", "020202"),
        ("x := 1\n REPT 4\n DB x\nx := x * 2\n ENDM\n DB x\n", "0102040810"),
        (" DB 9\na: REPT 2\n DB a\n ENDM\nb:REPT(1)\n DB b\n ENDM\nc REPT 1\n DB c\n ENDM\n", "0901010304"),
        (" REPT 2\nENDM\n REPT 2\n\n; nothing\n ENDM\n DB 1\n", "01"),
    ],
)
def test_repeats(source: str, wanted: str) -> None:
    assert code(source) == wanted


def test_a_block_ends_where_it_does() -> None:
    assert code("m MACRO\n REPT 2\n DB 1\nREPT(2)\n DB 2\n ENDM\n ENDM\n DB 3\n ENDM\n m\n") == "01020201020203"
    assert code("m MACRO\nx:REPT(2)\n DB 2\n ENDM\ny: rept 1\n DB 3\n ENDM\nz REPT 1\n DB x, y, z\n ENDM\n ENDM\n m\n") == "020203000203"
    assert code(" REPT 2, i\n DB REPT{i}\n ENDM ; ENDM\nREPT0 EQU 5\nREPT1 EQU 6\n") == "0506"
    assert code('m MACRO\n DB "ENDM" ; ENDM\n DB ENDM, MACRO\nENDM: STOP\n ENDM\n m\nMACRO: EQU 3\n') == b"ENDM".hex() + "0603" + STOP
    assert errors("m MACRO\na: ENDM 5\n REPT 1\n ENDM ,\n") == [
        (2, 4, "label_unwanted"),
        (2, 9, "no_operands_wanted"),
        (4, 7, "no_operands_wanted"),
    ]


def test_blocks_with_mistakes_are_closed_all_the_same() -> None:
    assert errors(" REPT\n x\n ENDM\n REPT nothing\n x\n ENDM\n REPT -1\n x\n ENDM\n REPT 1, 2\n x\n ENDM\n") == [
        (1, 2, "operand_count"),
        (4, 7, "not_yet_known"),
        (7, 7, "not_negative"),
        (10, 10, "name_wanted"),
    ]
    assert errors(" REPT ,i\n x\n ENDM\n REPT 1, .i\n x\n ENDM\n REPT 1,\n x\n ENDM\n REPT 1, i, j\n x\n ENDM\n") == [
        (1, 7, "value_missing"),
        (4, 10, "name_wanted"),
        (7, 9, "name_wanted"),
        (10, 2, "operand_count"),
    ]
    assert errors(" MACRO a\n x\n ENDM\n5x MACRO\n ENDM\nm MACRO 5\n x\n ENDM\nDB MACRO\n x\n ENDM\nSTOP MACRO\n x\n ENDM\n") == [
        (1, 2, "label_needed"),
        (4, 1, "label_not_name"),
        (5, 2, "no_block"),
        (6, 9, "bad_parameter"),
        (9, 1, "macro_is_directive"),
        (12, 1, "macro_is_instruction"),
    ]
