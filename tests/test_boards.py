"""Boards: where sections go, what the image holds, what the host must give."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.asking import CHIP
from xasm.building import Choices, assemble_sources, build_sources
from xasm.linking.board import Window, read_board
from xasm.linking.linker import Linked, Wishes, link
from xasm.source.diagnostics import Report, SourceErrors
from xasm.source.files import Source
from xasm.target.finding import load_target, table_paths
from xasm.target.model import Target

EXAMPLES = settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
ROM = "{name: rom, start: 0, size: 0x100, kind: rom}"
RAM = "{name: ram, start: 0x100, size: 0x100, kind: ram}"


def on_board(board: str, *texts: str, target: Target = CHIP, **more: Any) -> Linked:
    report = Report()
    read = read_board(Source("board.yaml", board), target, report)
    modules = assemble_sources([Source(f"{index}.asm", text) for index, text in enumerate(texts)], Choices(target), report)
    report.stop()
    return link(modules, target, report, Wishes(read, **more))


def wrong(board: str, *texts: str) -> list[str]:
    with pytest.raises(SourceErrors) as caught:
        on_board(board, *texts)
    return [one.code for one in caught.value.diagnostics]


def windows(*rows: str) -> str:
    return "windows:\n" + "".join(f"  - {row}\n" for row in rows)


# where things go


def test_words_go_to_rom_and_free_space_to_ram() -> None:
    found = on_board(windows(ROM, RAM), " DB 1, HIGH there\n SECTION v\nthere: DS 2\n SECTION t\n DB 2\n").image
    assert found.spans == [(0, bytes([1, 1, 2]))]
    assert found.symbols["there"] == 0x100


def test_sections_take_the_first_window_that_holds_them() -> None:
    small = "{name: small, start: 0x10, size: 3, kind: rom}"
    big = "{name: big, start: 0x40, size: 16, kind: rom}"
    board = windows(small, big) + "sections: {a: [small, big], b: [small, big], c: big}\n"
    text = " SECTION a\n DB 4 OF 1\n SECTION b\n DB 3 OF 2\n SECTION c\n DB 3\n"
    assert on_board(board, text).image.spans == [(0x10, b"\2\2\2"), (0x40, b"\1\1\1\1\3")]


def test_sections_go_around_what_an_org_places() -> None:
    text = " SECTION f\n ORG 4\n DB 9\n SECTION a\n DB 1,1,1\n SECTION b\n DB 2,2,2\n"
    assert on_board(windows(ROM), text).image.spans == [(0, b"\1\1\1"), (4, b"\x09\2\2\2")]


def test_banks_share_addresses_and_not_places_in_the_image() -> None:
    one = "{name: one, start: 0x40, size: 16, kind: rom, bank: 1, image: 0x1000}"
    two = "{name: two, start: 0x40, size: 16, kind: rom, bank: 2, image: 0x2000}"
    board = windows(one, two) + "sections: {a: one, b: two}\n"
    found = on_board(board, " SECTION a\nx: DB 1,x,y\n SECTION b\n ORG 0x42\ny: DB 2\n").image
    assert found.spans == [(0x1000, b"\1\x40\x42"), (0x2002, b"\2")]


def test_a_program_may_go_on_from_one_window_into_the_next() -> None:
    one = "{name: one, start: 0, size: 8, kind: rom, image: 0x1000}"
    two = "{name: two, start: 8, size: 8, kind: rom, image: 0x2000}"
    text = " ORG 4\n DB 4 OF 1\n DB 4 OF 2\n"
    assert on_board(windows(one, two), text).image.spans == [(0x1004, b"\1" * 4), (0x2000, b"\2" * 4)]
    assert wrong(windows(one, two), " ORG 7\n DW 5\n") == ["leaves_window"]
    assert on_board(windows(one, two.replace("0x2000", "0x1008")), " ORG 7\n DW 5\n").image.spans == [(0x1007, b"\5\0")]


def test_a_gap_is_filled_where_the_board_says_by_what() -> None:
    other = "{name: other, start: 0x200, size: 4, kind: rom}"
    small = "{name: small, start: 0x10, size: 3, kind: rom}"
    assert on_board(windows(small, other) + "fill: 0xEE\n", " DB 1\n").image.spans == [(0x10, b"\1\xee\xee")]


def test_sizes_are_chosen_with_what_the_windows_say() -> None:
    """A jump from one window to the other is long, one inside is short."""
    chip = load_target("6502")
    low = "{name: low, start: 0, size: 0x80, kind: rom}"
    high = "{name: high, start: 0x8000, size: 0x80, kind: rom}"
    board = windows(low, high) + "sections: {main: low, far: high}\n"
    found = on_board(board, "near: DB 1\n LDA near\n LDA away\n SECTION far\naway: DB 2\n", target=chip).image
    assert found.spans == [(0, bytes.fromhex("01A500AD0080")), (0x8000, b"\2")]


@pytest.mark.parametrize("name", sorted(table_paths()))
def test_the_board_says_where_to_start(name: str) -> None:
    """For every chip: a vector is written where the chip has one, and elsewhere the label must be at the first address."""
    chip = load_target(name)
    top = (1 << chip.address) - 1
    board = windows(f"{{name: all, start: 0, size: {top + 1}, kind: rom}}") + "start: go\n"
    place = 16 if chip.start_vector else chip.start
    image = on_board(board, f" ORG {place}\ngo: DB 1\n", target=chip).image
    if chip.start_vector:
        value = [image[chip.start + index] for index in range(2)]
        assert value == ([16, 0] if chip.order == "little" else [0, 16])
    else:
        assert image[chip.start] == 1
        with pytest.raises(SourceErrors) as caught:
            on_board(board, f" ORG {place + 1 if place < top else place - 1}\ngo: DB 1\n", target=chip)
        assert [one.code for one in caught.value.diagnostics] == ["starts_elsewhere"]


def test_vectors_are_words_of_the_image() -> None:
    found = on_board(windows(ROM) + "vectors: {0x20: b, 0xFE: a}\n", "a: DB 1\nb: DB 2\n").image
    assert [address for address, _ in found.spans] == [0, 0x20, 0xFE]
    assert found[0x20 if CHIP.order == "little" else 0x21] == 1


def test_the_host_gives_what_is_used_of_rom_and_all_of_ram() -> None:
    rom, ram = ROM.replace("}", ", costs: flash}"), RAM.replace("}", ", costs: ram}")
    text = " DB 1\n DS 8\n DB 2\n SECTION v\n DS 1\n"
    on_board(windows(rom, ram) + "host: {flash: 10, ram: 256}\n", text)
    assert wrong(windows(rom, ram) + "host: {flash: 9, ram: 255}\n", text) == ["host_exceeded", "host_exceeded"]
    assert wrong(windows(rom, ram) + "fill: 0\nhost: {flash: 255, ram: 256}\n", text) == ["host_exceeded"]


# whatever the program


@st.composite
def layouts(draw: st.DrawFn) -> tuple[str, str]:
    """A board of a few windows and a program of a few sections, some placed by an ORG."""
    rows, at = [], 0
    for index in range(draw(st.integers(1, 5))):
        at += draw(st.integers(0, 6))
        size = draw(st.integers(1, 24))
        kind = draw(st.sampled_from(["rom", "rom", "ram"]))
        rows.append(f"{{name: w{index}, start: {at}, size: {size}, kind: {kind}}}")
        at += size
    lines = []
    for index in range(draw(st.integers(1, 6))):
        lines.append(f" SECTION s{index}\ns{index}l:")
        for _ in range(draw(st.integers(1, 4))):
            lines.append(
                draw(
                    st.sampled_from(
                        [" DB 1,2", " DS 3", " ALIGN 4", f" ORG {draw(st.integers(0, 100))}", " DS 2,5", " DB 7 OF 3", f" BR s{index}l"]
                    )
                )
            )
    return windows(*rows), "\n".join(lines) + "\n"


def occupied(linked: Linked) -> Iterator[tuple[int, int, bool]]:
    """Address, words, and whether they are filled, of every statement that takes room."""
    addresses = linked.layout.addresses
    for index, words in enumerate(linked.words):
        piece = linked.program.entries[index].piece
        size = addresses[index + 1] - addresses[index] if type(piece).__name__ not in ("Origin", "SectionStart") else 0
        if size > 0:
            yield addresses[index], size, len(words) > 0


@EXAMPLES
@given(layouts())
def test_placement_never_overlaps_and_never_leaves_a_window(layout: tuple[str, str]) -> None:
    board, text = layout
    try:
        linked = on_board(board, text)
    except SourceErrors as errors:
        allowed = {
            "section_too_long", "no_window", "outside_windows", "leaves_window", "value_not_rom", "code_not_rom", "overlap", "unstable",
            "out_of_range",
        }  # fmt: skip
        assert {one.code for one in errors.diagnostics} <= allowed
        return
    taken: dict[int, bool] = {}
    every: tuple[Window, ...] = linked.board.windows if linked.board else ()
    for address, size, filled in occupied(linked):
        for at in range(address, address + size):
            window = next(window for window in every if window.holds(at))
            assert window.kind == "rom" or not filled
            assert not (filled and taken.get(at, False))
            taken[at] = taken.get(at, False) or filled
    assert sum(taken.values()) == len(linked.image)


BOARD = """name: "bench"
clock: 1MHz
windows:
  - {name: rom, start: 0x10, size: 0x80, kind: rom, bank: 1, image: 0x400, costs: flash}
  - {name: ram, start: 0x100, size: 256, kind: ram, costs: ram}
sections: {main: rom, more: [rom]}
start: go
vectors: {0x20: go}
fill: 0xFF
host: {flash: 3000, ram: 2048}
"""


@EXAMPLES
@given(st.data())
def test_a_spoilt_board_only_ever_gives_messages(data: st.DataObject) -> None:
    """With a piece of its text cut out, doubled, or put elsewhere."""
    first, last = sorted((data.draw(st.integers(0, len(BOARD))), data.draw(st.integers(0, len(BOARD)))))
    at = data.draw(st.integers(0, len(BOARD)))
    without, doubled, junk = BOARD[:first] + BOARD[last:], BOARD[:at] + BOARD[first:last] + BOARD[at:], BOARD[:at] + "\t{-:" + BOARD[at:]
    try:
        on_board(data.draw(st.sampled_from([without, doubled, junk])), "go: DB 1\n SECTION more\n DB 2\n")
    except SourceErrors as errors:
        assert all(one.message and one.path in ("board.yaml", "0.asm") for one in errors.diagnostics)


PARTS = st.sampled_from(["DB {0}", "DB {0}, {1}", "BR {0}", "DW {0} - {1}", "DS 2", "DB 3 OF 7", "ALIGN 4", "DW {0}"])


@st.composite
def programs(draw: st.DrawFn) -> tuple[list[str], list[int]]:
    """Statements with a label each that name each other, and where the program is cut."""
    count = draw(st.integers(2, 30))
    name = st.integers(0, count - 1).map("n{}".format)
    lines = []
    for index in range(count):
        if draw(st.integers(0, 5)) == 0:
            lines.append(f"n{index} EQU {draw(name)} + {draw(st.integers(0, 3))}" if draw(st.booleans()) else f"n{index} EQU 5")
        else:
            lines.append(f"n{index}: " + draw(PARTS).format(draw(name), draw(name)))
    return lines, sorted(draw(st.lists(st.integers(0, count), max_size=4)))


@EXAMPLES
@given(programs())
def test_any_split_of_a_program_links_to_the_bytes_of_the_whole(program: tuple[list[str], list[int]]) -> None:
    lines, cuts = program
    names = [f"n{index}" for index in range(len(lines))]
    whole = result(["\n".join(lines) + "\n"])
    head = f" EXTERN {', '.join(names)}\n"
    pieces = []
    for first, last in zip([0, *cuts], [*cuts, len(lines)], strict=True):
        mine = f" PUBLIC {', '.join(names[first:last])}\n" if first < last else ""
        pieces.append(head + mine + "\n".join(lines[first:last]) + "\n")
    assert result(pieces) == whole


def result(texts: list[str]) -> Any:
    """The spans and symbols of a program, or what is wrong with it."""
    try:
        image = build_sources([Source(f"{index}.asm", text) for index, text in enumerate(texts)], Choices(CHIP)).image
    except SourceErrors as errors:
        return sorted({one.code for one in errors.diagnostics})
    return image.spans, sorted(image.symbols.items())
