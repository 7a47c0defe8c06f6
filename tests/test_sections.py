"""Sections, address spaces, blocks that must lie in one page, and lengths that depend on addresses."""

from __future__ import annotations

import random
from collections.abc import Sequence

import pytest

import xasm
from tests.asking import CHIP, STOP, code, errors, hints, symbols, texts
from tests.invented import SPACES, chip
from xasm.building import Choices, build_sources
from xasm.formats import FORMATS
from xasm.formats.options import Options
from xasm.reports.listing import listing
from xasm.source.files import Source
from xasm.target.model import Target

SPACIOUS = chip(SPACES)


def listed(source: str, target: Target = CHIP) -> list[str]:
    """The lines of the listing that stand for lines of the source, without outer blanks."""
    rows = listing(build_sources([Source("<source>", source)], Choices(target))).split("\n\n")[1].split("\n")
    return [row.strip() for row in rows[1:]]


# sections


def test_a_section_is_placed_as_one_behind_the_one_before_it() -> None:
    source = " DB 1\n SECTION a\n DB 2\n SECTION b\n DB 3\n SECTION\n DB 4\n SECTION a\n DB 5\n SECTION b\n DB 6\n"
    assert code(source) == "01040205" + "0306"
    assert code(" SECTION b\n DB 1\n SECTION a\n DB 2\n SECTION b\n DB 3\n") == "010302", "in the order in which they are first named"
    assert code("Section a;x\n DB 1\n section A\n DB 2\n SECTION a\n DB 3\n") == "010302", "names are case-sensitive, the directive is not"
    assert code(" SECTION a\n SECTION b\n SECTION a\n SECTION\n") == ""


def test_labels_across_sections() -> None:
    source = " BR far\nhere: LD there\n SECTION a\nthere: BR here\n.x: STOP\n SECTION b\nfar: BR there.x\n SECTION\n.y: BR far.y\n"
    assert symbols(source) == {"here": 2, "there": 6, "there.x": 8, "far": 9, "far.y": 4}
    assert code(source) == "0107" + "0306" + "01fe" + "01fa" + STOP + "01fd"


def test_a_local_label_belongs_to_the_last_plain_one_of_the_source() -> None:
    assert symbols("a:\n SECTION s\n.x: STOP\nb:\n SECTION\n.x: STOP\n") == {"a": 0, "a.x": 1, "b": 2, "b.x": 0}


def test_what_stands_at_the_end_of_a_section_belongs_to_it() -> None:
    source = " STOP\nlast:\nhere EQU $\n SECTION a\n STOP\n STOP\nover: \n SECTION\n STOP\nbehind:\n"
    assert symbols(source) == {"last": 1, "here": 1, "over": 4, "behind": 2}
    program = " STOP\nlast:\nhere EQU $\n ASSERT $ == 1\n"
    data = " SECTION d, data\nx: DS 5\ny:\nz EQU $\n ASSERT $ == 5\n"
    assert code(program + data + " SECTION two\n DB last, here, x, y, z\n", SPACIOUS) == STOP + "0101000505"
    assert symbols(" SECTION d, data\n DS 3\na:\n SECTION e, data\nb:\n SECTION f, data\n DS 1\nc:\n", SPACIOUS) == {"a": 3, "b": 3, "c": 4}


def test_org_in_a_section_moves_what_follows_and_the_sections_behind() -> None:
    image = xasm.assemble(" ORG 0x200\n DB 1\n SECTION a\n DB 2\n ORG 0x300\n DB 3\n SECTION b\n DB 4\n SECTION\n DB 5\n", CHIP)
    assert image.spans == [(0x200, b"\1\5\2"), (0x300, b"\3\4")]
    assert errors(" DB 1, 2\n SECTION a\n ORG 1\n DB 3\n") == [(4, 2, "overlap")]


def test_sizes_are_chosen_across_sections() -> None:
    source = " BR far\n SECTION tables\n DS {}, 0\n SECTION\nnear: STOP\n SECTION tables\nfar: STOP\n"
    assert code(source.format(126))[:4] == "017f"
    assert code(source.format(127))[:6] == "028300"
    assert code("SECTION\n LD x\n SECTION a\n DS 253, 0\nx: STOP\n")[:4] == "03ff"
    assert code("SECTION\n LD x\n SECTION a\n DS 254, 0\nx: STOP\n")[:6] == "040101"


@pytest.mark.parametrize(
    ("line", "column", "message"),
    [
        ("SECTION 5", 10, "name_wanted"),
        ("SECTION a b", 10, "name_wanted"),
        ("SECTION a,", 10, "name_wanted"),
        ("SECTION ,data", 10, "name_wanted"),
        ("SECTION a, 5", 10, "name_wanted"),
        ("SECTION a, b, c", 10, "name_wanted"),
        ("SECTION .a", 10, "name_wanted"),
        ("SECTION a, dat", 13, "no_space"),
        ("SECTION known, data", 10, "section_space"),
        ("x: SECTION a", 5, "label_unwanted"),
    ],
)
def test_sections_with_mistakes(line: str, column: int, message: str) -> None:
    assert errors(f" SECTION known\n {line}\n", SPACIOUS) == [(2, column, message)]


# address spaces


def test_labels_count_in_their_own_space() -> None:
    spaces = " SECTION vars, data\nx: DS 5\ncount: DS 1\n SECTION more, huge\nbig: DS 0x12345\nend: DS 1\n"
    image = xasm.assemble(f" ORG 0x40\n LD count\n{spaces} SECTION\n LD x\n SECTION b\n DW end - big >> 8\n", SPACIOUS)
    assert image.spans == [(0x40, b"\x03\x05\x03\x00\x23\x01")]
    assert image.symbols == {"x": 0, "count": 5, "big": 0, "end": 0x12345}
    first = " SECTION a, Data\na: DS 1\n SECTION\n SECTION b, HUGE\nb: DS 1\n SECTION c, data\nc: DS 1\n"
    again = " SECTION a\nd: DS 1\n SECTION b, huge\ne: DS 1\n"
    assert symbols(first + again, SPACIOUS) == {"a": 0, "b": 0, "c": 2, "d": 1, "e": 1}
    assert symbols(" SECTION a, program\na: STOP\n SECTION a\nb: STOP\n", SPACIOUS) == {"a": 0, "b": 1}


def test_a_space_has_its_own_end() -> None:
    assert symbols(" SECTION d, data\n DS 256\nend:\n", SPACIOUS) == {"end": 256}
    assert errors(" SECTION d, data\n DS 256\n DS 1\n DS 1\n", SPACIOUS) == [(3, 2, "runs_over")]
    (text,) = texts(" SECTION d, data\n DS 257\n", SPACIOUS)
    assert text == "this statement ends at 0x0100, beyond the last address 0x00FF of the test-chip"
    assert symbols(" SECTION h, huge\n ORG 0xFFFFF\n DS 1\nend:\n", SPACIOUS) == {"end": 0x100000}
    assert errors(" SECTION h, huge\n DS 0x100001\n", SPACIOUS) == [(2, 2, "runs_over")]
    assert errors(" SECTION h, huge\n ORG 0x100000\n SECTION d, data\n ORG 256\n SECTION\n ORG 0x10000\n", SPACIOUS) == [
        (2, 6, "beyond_space"),
        (4, 6, "beyond_space"),
        (6, 6, "beyond_space"),
    ]


def test_only_ds_stands_in_another_space() -> None:
    source = " SECTION d, data\n STOP\n DB 1\n DW 2\n DU 4, 1\n DS 2, 0\n ALIGN 8, 0\n DS 1\n DB ''\n ALIGN 4\nx EQU $\ny: LD x\n"
    assert errors(source, SPACIOUS) == [*((line, 2, "not_loaded") for line in range(2, 8)), (12, 4, "not_loaded")]
    fits = " SECTION d, data\n DS 3\n ALIGN 4\na: DS 2\n FIT 4, MOVE\nb: DS 3\n ENDFIT\n DS 0\nc EQU $\n"
    assert symbols(fits, SPACIOUS) == {"a": 4, "b": 8, "c": 11}
    assert xasm.assemble(fits, SPACIOUS).spans == []


def test_the_listing_shows_each_space() -> None:
    assert listed(" STOP\n SECTION d, data\na: DS 2\n SECTION\n STOP\n SECTION e\n STOP\n", SPACIOUS) == [
        "1  0000     00                       1        STOP",
        "2  0000                                       SECTION d, data",
        "3  0000     (2 free)                         a: DS 2",
        "4                                             SECTION",
        "5  0001     00                       1        STOP",
        "6  0002                                       SECTION e",
        "7  0002     00                       1        STOP",
    ]


# names for others


def header(source: str, target: Target = CHIP) -> list[str]:
    """The constants of PUBLIC names in a C header."""
    text = FORMATS[".h"].write(xasm.assemble(source, target), Options("rom")).decode()
    return [line.removeprefix("#define ROM_SYMBOL_") for line in text.split("\n") if "ROM_SYMBOL_" in line]


def test_public_names_are_constants_of_the_c_array() -> None:
    source = " PUBLIC b, a, less\n STOP\na: STOP\nb EQU 0x1234\nc: STOP\nless EQU -5\n Public v , c\nv := 1\nv := 2\n PUBLIC a\n"
    assert header(source) == ["b 0x1234U", "a 0x0001U", "less (-5)", "v 0x0002U", "c 0x0002U"]
    assert header(" STOP\na: STOP\n") == []
    assert header(" STOP\n SECTION d, data\n DS 7\ncount: DS 1\n PUBLIC count\n", SPACIOUS) == ["count 0x0007U"]


def test_public_names_must_be_defined_and_be_names() -> None:
    assert errors(" PUBLIC a, b, c\na: STOP\n") == [(1, 12, "undefined"), (1, 15, "undefined")]
    assert errors(" PUBLIC\n PUBLIC 5\n PUBLIC a + 1\n PUBLIC a,,b\na:\n.x:\n PUBLIC .x\n PUBLIC a.x\n")[:7] == [
        (1, 2, "operand_count"),
        (2, 9, "name_wanted"),
        (3, 9, "name_wanted"),
        (4, 10, "name_wanted"),
        (7, 9, "name_wanted"),
        (8, 9, "name_wanted"),
    ]


def test_extern_names_come_from_another_file() -> None:
    files = [
        Source("one.asm", " EXTERN there, value\n BR there\n DB value\n"),
        Source("two.asm", " PUBLIC there, value\n STOP\nthere: STOP\nvalue EQU 7\n"),
    ]
    assert build_sources(files, Choices(CHIP)).image.spans == [(0, b"\x01\x02\x07\x00\x00")]


def test_extern_names_that_nobody_defines() -> None:
    assert errors(" EXTERN a, b\n EXTERN a, c\na: STOP\n DB b\n DB a, c\n") == [(4, 5, "nobody_defines"), (5, 8, "nobody_defines")]
    assert errors(" EXTERN a\n BR a\n") == [(2, 5, "nobody_defines")]
    assert xasm.assemble(" EXTERN never\n STOP\n", CHIP).spans == [(0, b"\x00")]
    assert errors(" EXTERN\n EXTERN 5\n EXTERN .a\n") == [(1, 2, "operand_count"), (2, 9, "name_wanted"), (3, 9, "name_wanted")]


# blocks that must lie in one page


@pytest.mark.parametrize("page", [1, 4, 256])
@pytest.mark.parametrize("before", [0, 1, 2])
def test_blocks_at_the_border(page: int, before: int) -> None:
    """Of every length around what is left of the page, and around the whole page."""
    start = 2 * page - before
    for length in sorted({0, 1, before - 1, before, before + 1, page - 1, page, page + 1} - {-1}):
        block = f" ORG {start}\n FIT {page}{{}}\nx: DS {length}, 1\n ENDFIT\n DB 2\n"
        crosses = length > 0 and start // page != (start + length - 1) // page
        if length > page:
            assert [what for _, _, what in errors(block.format(""))] == ["fit_too_long"]
            assert [what for _, _, what in errors(block.format(", MOVE"))] == ["fit_too_long"]
            continue
        image = xasm.assemble(block.format(", move , 3"), CHIP)
        lost = -start % page if crosses else 0
        assert image.spans == [(start, b"\3" * lost + b"\1" * length + b"\2")], (page, before, length)
        assert image.symbols["x"] == start + lost
        if crosses:
            assert errors(block.format("")) == [(2, 2, "fit_crosses")]
        else:
            assert xasm.assemble(block.format(""), CHIP).spans == image.spans


def test_a_block_that_crosses_says_by_how_much() -> None:
    assert texts(" ORG 0x1FE\n FIT 256\n DS 5\n ENDFIT\n") == [
        "the block 0x01FE..0x0202 crosses the page border at 0x0200; 3 of its words lie behind it"
    ]
    assert hints(" ORG 0x1FE\n FIT 256\n DS 5\n ENDFIT\n") == ["FIT with MOVE behind the page size puts the block into the next page"]
    assert texts(" FIT 4\n DS 5\n ENDFIT\n FIT 4, MOVE\n DS 9\n ENDFIT\n") == [
        "the block has 5 words and cannot lie in one page of 4",
        "the block has 9 words and cannot lie in one page of 4",
    ]


def test_the_listing_shows_the_words_lost() -> None:
    free = " ORG 13\n FIT 16, MOVE\na: DB 1, 2, 3, 4\n ENDFIT\n"
    filled = " FIT 16, MOVE, 9\n DS 13, 7\n ENDFIT\n FIT 16, MOVE, 9\n ENDFIT\n"
    assert listed(free + filled) == [
        "1  000D                                       ORG 13",
        "2  000D     (3 free)                          FIT 16, MOVE",
        "3  0010     01 02 03 04                      a: DB 1, 2, 3, 4",
        "4                                             ENDFIT",
        "5  0014     09 09 09 09 09 09 09 09           FIT 16, MOVE, 9",
        "001C     09 09 09 09",
        "6  0020     07 07 07 07 07 07 07 07           DS 13, 7",
        "0028     07 07 07 07 07",
        "7                                             ENDFIT",
        "8  002D                                       FIT 16, MOVE, 9",
        "9                                             ENDFIT",
    ]


def test_blocks_with_size_choices_inside() -> None:
    """A branch that grows makes the block too long for what is left of the page; the move makes another grow."""
    source = " ORG {}\n FIT 16, MOVE, 9\na: BR far\n BR a\n ENDFIT\n DS {}, 0\nfar: STOP\n"
    assert code(source.format(12, 125)) == "017f" + "01fc" + "00" * 126
    assert code(source.format(11, 126)) == "028e00" + "01fb" + "00" * 127
    assert code(source.format(12, 126)) == "09" * 4 + "029300" + "01fb" + "00" * 127
    image = xasm.assemble("back: DS 100, 0\n FIT 128, MOVE\n DS 26, 0\n BR back\n BR back\n ENDFIT\n", CHIP)
    assert image.spans == [(0, bytes(100)), (128, bytes(26) + b"\2\0\0\2\0\0")]


@pytest.mark.parametrize("inner", [" FIT 16, MOVE, 2\n DS 14, 3\n ENDFIT\n", " ALIGN 16, 2\n DS 14, 3\n", " DS -$ & 15, 2\n DS 14, 3\n"])
def test_a_block_that_is_shorter_where_it_is_moved_to(inner: str) -> None:
    """Moved, it would fit where it came from; there, it would not. It stays where it was moved."""
    image = xasm.assemble(f" ORG 230\n FIT 256, MOVE, 1\n{inner} DS 10, 4\n ENDFIT\n", CHIP)
    assert image.spans == [(230, b"\1" * 26 + b"\3" * 14 + b"\4" * 10)]


Block = tuple[int, Sequence["int | Block"]]  # page, and what is in it: lengths and blocks


def random_block(choice: random.Random, page: int) -> Block:
    """A block no longer than its page, blocks of half that page in it."""
    items: list[int | Block] = []
    room = page
    while room > 0 and choice.random() < 0.8:
        if page > 4 and choice.random() < 0.4:
            items.append(random_block(choice, page // 2))
            room -= page // 2 + page // 4
        else:
            items.append(choice.randrange(0, max(1, room // 2) + 1))
            room -= items[-1]
    return page, items


def written(items: Sequence[int | Block]) -> str:
    return "".join(
        f" DS {item}, 1\n" if isinstance(item, int) else f" FIT {item[0]}, MOVE, 9\n{written(item[1])} ENDFIT\n" for item in items
    )


def laid(items: Sequence[int | Block], at: int) -> bytes:
    """The words of blocks that are laid one by one: where the last one ended, or in the next page."""
    words = b""
    for item in items:
        if isinstance(item, int):
            words += b"\1" * item
            continue
        here = at + len(words)
        block = laid(item[1], here)
        if block and here // item[0] != (here + len(block) - 1) // item[0]:
            words += b"\x09" * (-here % item[0])
            block = laid(item[1], at + len(words))
        words += block
    return words


def test_random_blocks_lie_where_they_do_when_they_are_laid_one_by_one() -> None:
    choice = random.Random(5)
    moved = nested = tried = 0
    for _ in range(400):
        items: list[int | Block] = []
        for _ in range(choice.randrange(1, 6)):
            items += [choice.randrange(20), random_block(choice, choice.choice((8, 16, 32)))]
        words = laid(items, 0)
        source = written(items)
        try:
            image = xasm.assemble(source, CHIP)
        except xasm.SourceErrors as found:
            assert {one.code for one in found.diagnostics} == {"fit_too_long"}, source
            continue
        tried += 1
        assert image.spans == ([(0, words)] if words else []), source
        moved += 9 in words
        nested += any(isinstance(part, tuple) for item in items if isinstance(item, tuple) for part in item[1])
    assert tried > 300 and moved > 200 and nested > 100


def test_fit_and_endfit_with_mistakes() -> None:
    source = " ENDFIT\n FIT 0\n FIT -1, MOVE\n FIT nothing\n FIT\n FIT 4, 5\n FIT 4, MOVE, 1, 2\n FIT 4, MOVES\n" + " ENDFIT\n" * 7
    assert errors(source + "x: FIT 4\ny: ENDFIT 5\n FIT 4\n") == [
        (1, 2, "no_fit"),
        (2, 6, "bad_page"),
        (3, 6, "bad_page"),
        (4, 6, "not_yet_known"),
        (5, 2, "operand_count"),
        (6, 9, "word_wanted"),
        (7, 2, "operand_count"),
        (8, 9, "word_wanted"),
        (16, 4, "label_unwanted"),
        (17, 4, "label_unwanted"),
        (17, 11, "no_operands_wanted"),
        (18, 2, "block_open"),
    ]
    assert errors(" FIT 4\n SECTION a\n ORG 5\n ENDFIT\n") == [(2, 2, "fit_open"), (3, 2, "fit_open")]
    assert errors(" ORG 14\n FIT 16, MOVE, 300\n DS 3, 1\n ENDFIT\n FIT 16, MOVE, nothing\n ENDFIT\n") == [
        (2, 16, "out_of_range"),
        (5, 16, "undefined"),
    ]


# lengths that depend on addresses


@pytest.mark.parametrize(
    ("source", "wanted"),
    [
        (" STOP\n DS 8 - $, 1\n STOP\n", "00" + "01" * 7 + "00"),
        (" DS last - first, 7\nfirst: DB 1, 2\nlast:\n", "07070102"),
        ("n EQU (last - first) * 2\n DS n, 7\nfirst: DB 1\nlast:\n", "070701"),
        (" DB 9\n ALIGN last - first, 7\nfirst: DB 1, 2, 3, 4\nlast:\n", "09" + "070707" + "01020304"),
        (" DS last - first, 7\n SECTION a\nfirst: DB 1, 2\n SECTION b\nlast:\n", "07070102"),
        (" BR over\n DS 130 - $, 0\nover: STOP\n", "028200" + "00" * 127 + "00"),
        (" BR over\n DS 129 - $, 0\nover: STOP\n", "017f" + "00" * 127 + "00"),
        (" DS $ + 1 - $, 5\n", "05"),
    ],
)
def test_lengths_that_depend_on_addresses(source: str, wanted: str) -> None:
    assert code(source) == wanted


def test_words_left_free_that_depend_on_addresses() -> None:
    source = " STOP\n ORG $ + 2\n STOP\n ORG $+(last-first)\nfirst: STOP\nlast: STOP\n"
    assert xasm.assemble(source, CHIP).spans == [(0, b"\0"), (3, b"\0"), (5, b"\0\0")]


def test_asserts_see_where_everything_lies() -> None:
    asserts = " ASSERT end == 7\n ASSERT $ == 0\n ASSERT end - $ == 7 && tables == 5\n"
    first = " DS 2, 0\n ASSERT $ == 2\n ALIGN 4, 0\n ASSERT $ == 4\n"
    second = " SECTION a\n ASSERT $ == 5\ntables: DB 1, 2\nend:\n ASSERT $ == 7\n"
    assert code(asserts + first + second + " SECTION\n STOP\n") == "0000000000" + "0102"
    wrong = " SECTION a\n STOP\n ASSERT $ != 2\n SECTION\n STOP\n ASSERT $ == 2\n"
    assert errors(wrong) == [(3, 9, "assertion"), (6, 9, "assertion")]


def test_lengths_that_never_settle() -> None:
    assert errors("a: DS b - a + 1\nb:\n") == [(1, 4, "unstable")]
    assert errors(" STOP\n DS b & 1\nb: STOP\n") == [(2, 2, "unstable")]
