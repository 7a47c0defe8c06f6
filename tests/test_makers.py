"""Listings as makers' manuals print them, with the makers' own directives and habits of notation.

`makers/NAME.asm` is a listing in one maker's manner; its head says what it is modelled on, what is from memory, and what
differs from print. `makers/NAME.hexdump` holds the bytes, put together by hand before anything was assembled.
`makers/habits.txt` takes the habits to their edges.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import NamedTuple

import pytest

import xasm
from tests.invented import BRANCHES, chip
from tests.test_programs import differences, read_image
from xasm.assembly.directives import DIRECTIVES
from xasm.source.diagnostics import SourceErrors
from xasm.target.finding import load_target, table_paths
from xasm.target.habits import HABITS, MakerDirective
from xasm.target.model import Target

FOLDER = Path(__file__).parent / "makers"
LISTINGS = sorted(FOLDER.glob("*.asm"))
HEAD = re.compile(r"; maker: (\w+(?: \w+)*), as in .+\n; from memory: .+\n(?:; .+\n)*?; differs from print: .+\n")
CHIP = re.compile(r"^\s+TARGET\s+(\S+)", re.MULTILINE)
FEWEST_MAKERS = 6
SHORTEST = 15  # statements of a listing
OPTIONS = MakerDirective._fields[1:]
INVENTED = (
    f"habits: [{', '.join(HABITS)}]\n"
    'directives: {"TEXT": {is: DB, delimited: true}, "BIG": {is: DW, order: big}, "HALVES": {is: DU, first: "4,"}}\n'
)
ROW = re.compile(r"(\w+) (reads|keeps|refuses) (.+?) \|(?: (.+))?")


def made(text: str, target: Target | None = None) -> dict[int, int] | None:
    """Address to word of a source; None when it has mistakes."""
    try:
        return dict(xasm.assemble(text, target=target).cells())
    except SourceErrors:
        return None


class Listing(NamedTuple):
    text: str
    target: Target
    words: dict[int, int]


@cache
def listing(path: Path) -> Listing:
    """A listing, the chip that it names, and its words."""
    text = path.read_text("ascii")
    match = CHIP.search(text)
    assert match, "no line names the chip"
    words = made(text)
    assert words is not None
    return Listing(text, load_target(match[1]), words)


def without_directive(target: Target, name: str) -> Target:
    return replace(target, directives={key: maker for key, maker in target.directives.items() if key != name})


def without_habit(target: Target, habit: str) -> Target:
    return replace(target, habits=target.habits - {habit})


def differs(path: Path, less: Target) -> bool:
    """Whether a listing comes out otherwise with a chip that lacks something."""
    return made(listing(path).text, less) != listing(path).words


# the listings


def test_there_are_listings_of_many_makers() -> None:
    assert {path.with_suffix(".hexdump") for path in LISTINGS} == set(FOLDER.glob("*.hexdump"))
    makers = set()
    for path in LISTINGS:
        match = HEAD.match(path.read_text("ascii"))
        assert match, f"the head of {path.name} does not say what it is"
        makers.add(match[1])
    assert len(makers) >= FEWEST_MAKERS
    assert not HEAD.match("; maker: Somebody\n; from memory: all\n")


@pytest.mark.parametrize("path", LISTINGS, ids=lambda path: path.stem)
def test_listing_gives_the_bytes_put_together_by_hand(path: Path) -> None:
    text = listing(path).text
    statements = [line for line in text.splitlines() if line.strip() and line[0] not in ";*"]
    assert len(statements) >= SHORTEST
    by_hand = read_image(path.with_suffix(".hexdump").read_text("ascii"))
    assert len(by_hand) >= SHORTEST
    assert differences(listing(path).words, by_hand) == []


@pytest.mark.parametrize("path", LISTINGS, ids=lambda path: path.stem)
def test_one_changed_word_is_noticed(path: Path) -> None:
    words = listing(path).words
    for address, word in words.items():
        assert len(differences(words, words | {address: word ^ 1})) == 1


# names of directives


def strangers(target: Target) -> list[str]:
    """Names of a table that stand for no directive of ours, or are one of ours already."""
    return [name for name, maker in target.directives.items() if maker.name not in DIRECTIVES or name in DIRECTIVES]


def uses_directive(path: Path, name: str, maker: MakerDirective) -> bool:
    """Whether a listing has need of a maker's name, and means the same by it."""
    target = listing(path).target
    return target.directives.get(name) == maker and differs(path, without_directive(target, name))


def unused(targets: Iterable[Target]) -> list[str]:
    """The makers' names that no listing uses."""
    return [
        f"{target.name}: {name}"
        for target in targets
        for name, maker in target.directives.items()
        if not any(uses_directive(path, name, maker) for path in LISTINGS)
    ]


def test_every_name_of_a_maker_is_a_directive_of_ours() -> None:
    targets = [load_target(name) for name in table_paths()]
    assert len({name for target in targets for name in target.directives}) > 10
    assert {target.name: strangers(target) for target in targets if strangers(target)} == {}


def test_a_name_that_is_none_is_noticed() -> None:
    target = chip(INVENTED + BRANCHES)
    assert strangers(target) == []
    more = {"WELL": MakerDirective("DB"), "BAD": MakerDirective("DBB"), "DW": MakerDirective("DB")}
    assert strangers(replace(target, directives=target.directives | more)) == ["BAD", "DW"]


def test_every_name_of_a_maker_stands_in_a_listing() -> None:
    assert unused(load_target(name) for name in table_paths()) == []


def test_a_name_that_no_listing_uses_is_noticed() -> None:
    target = listing(LISTINGS[0]).target
    name = next(iter(target.directives))
    other = {"NEVER": MakerDirective("DB"), name: target.directives[name]._replace(first="1,")}
    assert unused([replace(target, directives=target.directives | other)]) == [f"{target.name}: {name}", f"{target.name}: NEVER"]


# habits


def uses_habit(path: Path, habit: str) -> bool:
    """Whether a listing has need of a habit of its chip."""
    target = listing(path).target
    return habit in target.habits and differs(path, without_habit(target, habit))


def unused_habits(targets: Iterable[Target]) -> list[str]:
    """The habits in tables that no listing in the same manner uses."""
    return [
        f"{target.name}: {habit}"
        for target in targets
        for habit in sorted(target.habits)
        if not any(target.habits == listing(path).target.habits and uses_habit(path, habit) for path in LISTINGS)
    ]


def test_every_habit_stands_in_a_listing() -> None:
    targets = [load_target(name) for name in table_paths()]
    assert {habit for target in targets for habit in target.habits} == set(HABITS)
    assert unused_habits(targets) == []


def test_a_habit_that_no_listing_uses_is_noticed() -> None:
    target = next(listing(path).target for path in LISTINGS if listing(path).target.habits)
    assert "never" not in HABITS
    assert f"{target.name}: never" in unused_habits([replace(target, habits=target.habits | {"never"})])
    assert not any(uses_habit(path, "never") for path in LISTINGS)


class Row(NamedTuple):
    """`what` is the habit or option, `does` reads, keeps or refuses, `statement` as the maker writes it, `ours` the same in our
    words, or the code of the mistake."""

    what: str
    does: str
    statement: str
    ours: str


def rows() -> list[Row]:
    found = []
    for line in (FOLDER / "habits.txt").read_text("ascii").splitlines():
        if line and line[0] != "#":
            match = ROW.fullmatch(line)
            assert match, f"not a row: {line!r}"
            found.append(Row(match[1], match[2], match[3], match[4] or ""))
    return found


def source(statement: str) -> str:
    """A statement at an address that is easily told from others; one that begins with a star begins the line."""
    return f" ORG 0x0234\n{'' if statement[:1] == '*' else ' '}{statement}\n"


@cache
def invented() -> Target:
    return chip(INVENTED + BRANCHES)


@cache
def lacking(what: str) -> Target:
    """The invented chip without a habit or an option."""
    if what in HABITS:
        return without_habit(invented(), what)
    neutral = {option: MakerDirective._field_defaults[option] for option in OPTIONS}
    makers = {name: maker._replace(**{what: neutral[what]}) for name, maker in invented().directives.items()}
    return replace(invented(), directives=makers)


def wrong(row: Row, target: Target, less: Target) -> str:
    """What is not as a row says, on a chip that has the habit and one that lacks it; "" when all is."""
    text = source(row.statement)
    if row.does == "refuses":
        try:
            xasm.assemble(text, target=target)
        except SourceErrors as errors:
            codes = [diagnostic.code for diagnostic in errors.diagnostics]
            return "" if codes == [row.ours] else f"refused as {codes}"
        return "not refused"
    ours = made(source(row.ours), less)
    if ours is None:
        return "our words have a mistake"
    if made(text, target) != ours:
        return f"made {made(text, target)}, wanted {ours}"
    if (made(text, less) == ours) != (row.does == "keeps"):
        return "the habit makes a difference" if row.does == "keeps" else "the habit makes no difference"
    return ""


def test_habits_at_their_edges() -> None:
    found = rows()
    assert {row.what for row in found} == {*HABITS, *OPTIONS}
    for what in (*HABITS, *OPTIONS):
        assert {"reads", "refuses"} <= {row.does for row in found if row.what == what}, what
    assert [(row, why) for row in found if (why := wrong(row, invented(), lacking(row.what)))] == []


def test_a_row_of_habits_that_is_wrong_is_noticed() -> None:
    told = {"reads": "the habit makes no difference", "keeps": "the habit makes a difference", "refuses": "not refused"}
    for row in rows():
        if row.does == "reads":
            assert wrong(row, lacking(row.what), lacking(row.what))
            assert wrong(row._replace(does="keeps"), invented(), lacking(row.what)) == told["keeps"]
            assert wrong(row._replace(does="refuses"), invented(), lacking(row.what)) == told["refuses"]
        elif row.does == "keeps":
            assert wrong(row._replace(does="reads"), invented(), lacking(row.what)) == told["reads"]
        else:
            assert wrong(row._replace(ours="never"), invented(), lacking(row.what)).startswith("refused as")
    with pytest.raises(AssertionError, match="not a row"):
        assert ROW.fullmatch("here_star reads DB *"), "not a row"
