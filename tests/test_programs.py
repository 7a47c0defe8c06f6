"""Whole programs that makers printed: what xasm makes of their text is the memory image that was printed with it.

`programs/NAME.asm` holds the text, `programs/NAME.hexdump` the image, typed from the publication or from memory before
anything was assembled. A source may name another program's image in a line `; image: NAME.hexdump`. A line of an image
is `ADDRESS: WORDS` in hexadecimal, or a comment behind `#`.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import xasm

FOLDER = Path(__file__).parent / "programs"
SOURCES = sorted(FOLDER.glob("*.asm"))
IMAGES = sorted(FOLDER.glob("*.hexdump"))
SHORTEST = 20  # words of the shortest image that says something
ROW = re.compile(r"([0-9A-F]{3,4}):((?: [0-9A-F]{2,3})+)")
OTHER_IMAGE = re.compile(r"^; image: (\S+)$", re.MULTILINE)


def image_path(source: Path) -> Path:
    """The file with the printed image of a source."""
    other = OTHER_IMAGE.search(source.read_text(encoding="ascii"))
    return source.parent / other[1] if other else source.with_suffix(".hexdump")


def read_image(text: str) -> dict[int, int]:
    """Address to word; no address may be given twice."""
    cells: dict[int, int] = {}
    for line in text.splitlines():
        row = line.partition("#")[0].strip()
        if not row:
            continue
        match = ROW.fullmatch(row)
        assert match, f"not a row of an image: {line!r}"
        for address, word in enumerate(match[2].split(), int(match[1], 16)):
            assert address not in cells, f"{address:04X} is given twice"
            cells[address] = int(word, 16)
    return cells


def differences(made: dict[int, int], printed: dict[int, int]) -> list[str]:
    """One line for every address whose words are not the same; `--` stands where there is none."""

    def shown(word: int | None) -> str:
        return "--" if word is None else f"{word:02X}"

    return [
        f"{address:04X}: made {shown(made.get(address))}, printed {shown(printed.get(address))}"
        for address in sorted(made.keys() | printed.keys())
        if made.get(address) != printed.get(address)
    ]


def assembled(source: Path) -> dict[int, int]:
    """Address to word of a source, whose TARGET statement names the chip."""
    return dict(xasm.assemble(source.read_text(encoding="ascii"), path=str(source)).cells())


def test_there_are_programs() -> None:
    assert len(SOURCES) >= 14
    assert {image_path(source) for source in SOURCES} == set(IMAGES)


@pytest.mark.parametrize("source", SOURCES, ids=lambda source: source.stem)
def test_text_gives_the_printed_image(source: Path) -> None:
    text = source.read_text(encoding="ascii")
    assert re.match(r"; source: .+, .+[,;] .+", text), "the first line says what was printed, by whom and how it was read"
    printed = read_image(image_path(source).read_text(encoding="ascii"))
    assert len(printed) >= SHORTEST
    assert differences(assembled(source), printed) == []


def test_every_image_is_read_whole() -> None:
    for path in IMAGES:
        rows = [row.partition("#")[0] for row in path.read_text(encoding="ascii").splitlines()]
        words = sum(len(row.split()) - 1 for row in rows if row.strip())
        assert len(read_image("\n".join(rows))) == words > 0, path.name


def test_one_changed_word_is_told_with_its_address() -> None:
    source = min(SOURCES, key=lambda path: len(read_image(image_path(path).read_text(encoding="ascii"))))
    made = assembled(source)
    for address, word in made.items():
        wrong = made | {address: word ^ 1}
        assert differences(made, wrong) == [f"{address:04X}: made {word:02X}, printed {word ^ 1:02X}"]


def test_words_at_the_wrong_place_are_told() -> None:
    made = {0x10: 0xAA, 0x11: 0xBB}
    printed = read_image("0011: BB CC  # a comment\n")
    assert differences(made, printed) == ["0010: made AA, printed --", "0012: made --, printed CC"]


def test_an_image_that_gives_an_address_twice_is_refused() -> None:
    with pytest.raises(AssertionError, match="0011 is given twice"):
        read_image("0010: 01 02\n0011: 03\n")
    with pytest.raises(AssertionError, match="not a row"):
        read_image("0010 01 02\n")
