"""Sizes: the shortest form that reaches, forward references included; it ends, and the result is minimal."""

from __future__ import annotations

import itertools
import random

import pytest

import xasm
from tests.invented import BRANCHES, chip

CHIP = chip(BRANCHES)
SHORT, LONG, NEAR, FAR = 1, 2, 3, 4


def code(source: str) -> bytes:
    """The bytes of a program that fills one span."""
    ((_, words),) = xasm.assemble(source, CHIP).spans
    return bytes(words)


def test_forward_and_backward_branches_take_the_short_form_where_it_reaches() -> None:
    assert code(" BR on\n DS 127,0\non: STOP\n")[:2] == bytes([SHORT, 127])
    assert code(" BR on\n DS 128,0\non: STOP\n")[:3] == bytes([LONG, 131, 0])
    assert code("back: DS 126,0\n BR back\n")[-2:] == bytes([SHORT, 0x80])
    assert code("back: DS 127,0\n BR back\n")[-3:] == bytes([LONG, 0, 0])


def test_an_address_in_page_zero_takes_the_short_form_before_and_behind_its_definition() -> None:
    assert code(" LD near\nnear EQU 0x12\n LD near\n") == bytes([NEAR, 0x12, NEAR, 0x12])
    assert code(" LD far\nfar EQU 0x100\n LD far\n") == bytes([FAR, 0, 1, FAR, 0, 1])
    assert code(" LD label\nlabel: STOP\n") == bytes([NEAR, 2, 0])


def test_a_label_pushed_out_of_page_zero_by_the_growth_it_causes() -> None:
    # with the short form the label lies at 0xFF; a second statement before it pushes it out, and both grow
    assert code(" LD label\n LD label\n DS 251,0\nlabel: STOP\n")[:4] == bytes([NEAR, 0xFF, NEAR, 0xFF])
    assert code(" LD label\n LD label\n DS 252,0\nlabel: STOP\n")[:6] == bytes([FAR, 0x02, 0x01, FAR, 0x02, 0x01])


@pytest.mark.parametrize("count", [1, 2, 10, 3000])
@pytest.mark.parametrize("downward", [True, False])
def test_a_chain_in_which_each_growth_causes_the_next(count: int, downward: bool) -> None:
    """Every branch reaches just as long as the next one in the chain is short; the last does not reach. So all grow."""
    if downward:
        lines = []
        for index in range(count):
            # 63 short branches of 2 words lie between a branch and its label: 126 words and one more
            lines.append(f"p{index}: BR p{index + 64}")
        lines += [f"p{index}: BR far" if index == count else f"p{index}: BR p{index}" for index in range(count, count + 64)]
        lines += [" DS 300,0", "far: STOP"]
    else:
        lines = ["far: STOP", " DS 300,0"]
        lines += [f"p{index}: BR {'far' if index == 63 else f'p{index}'}" for index in range(64)]
        lines += [f"p{index}: BR p{index - 63}" for index in range(64, count + 64)]
    image = xasm.assemble("\n".join(lines) + "\n", CHIP)
    ((_, words),) = image.spans
    opcode = {index: words[image.symbols[f"p{index}"]] for index in range(count + 64)}
    if downward:
        assert opcode[count] == LONG
        chained = [opcode[index] for index in range(count)]
    else:
        assert opcode[63] == LONG
        chained = [opcode[index] for index in range(64, count + 64)]
    assert chained == brute(lines, image)


def brute(lines: list[str], image: xasm.Image) -> list[int]:
    """The opcodes of the chain when sizes are chosen in the plainest way: all short, again and again one pass over all."""
    size = {}
    while True:
        address = 0
        place = {}
        for number, line in enumerate(lines):
            label, _, rest = line.partition(":")
            if rest:
                place[label] = address
            address += length(line, size.get(number, 2))
        grown = False
        address = 0
        for number, line in enumerate(lines):
            if "BR" in line and size.get(number, 2) == 2 and not -128 <= place[line.split()[-1]] - address - 2 <= 127:
                size[number] = 3
                grown = True
            address += length(line, size.get(number, 2))
        if not grown:
            break
    names = [line.partition(":")[0] for line in lines]
    chain = [number for number, line in enumerate(lines) if "BR p" in line and line.split()[-1] != names[number]]
    assert [place[name] for name in ("far", "p0")] == [image.symbols[name] for name in ("far", "p0")]
    return [LONG if size.get(number, 2) == 3 else SHORT for number in chain]


def length(line: str, branch: int) -> int:
    return branch if "BR" in line else 300 if "DS" in line else 1


def test_random_programs_are_as_short_as_the_best_of_all_assignments() -> None:
    """Every way to choose sizes is tried; ours is valid and none that is valid is shorter."""
    generator = random.Random(7)
    seen_growth = 0
    for _ in range(150):
        count = generator.randrange(2, 8)
        gaps = [generator.choice((0, 1, 60, 120, 124, 126)) for _ in range(count)]
        goals = [generator.randrange(count + 1) for _ in range(count)]
        source = "".join(f"l{index}: BR l{goal}\n DS {gap},0\n" for index, (goal, gap) in enumerate(zip(goals, gaps, strict=True)))
        image = xasm.assemble(source + f"l{count}: STOP\n", CHIP)
        best = None
        for sizes in itertools.product((2, 3), repeat=count):
            places = [0]
            for size, gap in zip(sizes, gaps, strict=True):
                places.append(places[-1] + size + gap)
            if all(
                size == 3 or -128 <= places[goal] - places[index] - 2 <= 127
                for index, (size, goal) in enumerate(zip(sizes, goals, strict=True))
            ):
                best = places[-1] if best is None else min(best, places[-1])
        assert image.symbols[f"l{count}"] == best, source
        seen_growth += best != sum(gaps) + 2 * count
    assert seen_growth > 20


def test_growth_across_org_and_align() -> None:
    source = " BR on\n ALIGN 16,0\n DS 110,0\non: BR off\n ORG 0x400\n DS 128,0\n BR back\nback: STOP\noff: STOP\n"
    image = xasm.assemble(source, CHIP)
    first, second = image.spans
    assert first[1][0] == SHORT
    assert first[1][image.symbols["on"]] == LONG
    assert second[1][128] == SHORT


def test_a_length_that_depends_on_what_follows_settles() -> None:
    image = xasm.assemble("first: DS 0x80 - (last - then)\nthen: BR first\n BR first\nlast: STOP\n", CHIP)
    assert image.symbols == {"first": 0, "then": 0x7C, "last": 0x80}


def test_a_length_that_never_settles_is_an_error() -> None:
    with pytest.raises(xasm.SourceErrors) as caught:
        xasm.assemble("first: DS last - first + 1\nlast: STOP\n", CHIP)
    assert str(caught.value) == (
        "<source>:1:8: error: the sizes never settle: an address depends on itself here\n    first: DS last - first + 1\n           ^"
    )
