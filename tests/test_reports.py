"""Reports of programs that were linked: maps, pictures, facts, names in C, the summary.

`tests/reports/` holds two programs and what is written of them, character for character; `python -m tests.test_reports`
writes these files anew, and the change is to be read.
"""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.asking import CHIP
from tests.invented import BRANCHES, chip
from tests.test_boards import EXAMPLES, RAM, ROM, layouts, on_board, programs, windows
from tests.test_formats_c import output, printing
from xasm.building import Choices, build, build_sources
from xasm.formats import FORMATS
from xasm.formats.options import Options
from xasm.linking.linker import Linked
from xasm.reports import REPORTS, facts
from xasm.reports.memory_map import memory_map
from xasm.reports.picture import MOST_ROWS, WIDTH, picture
from xasm.reports.summary import overview
from xasm.reports.usage import Usage, names_of_files
from xasm.reports.users import users
from xasm.source.diagnostics import SourceErrors, where
from xasm.source.files import Source
from xasm.target.model import Target

FOLDER = Path(__file__).parent / "reports"
PROGRAMS = {"alone": (["alone.asm"], None), "bench": (["monitor.asm", "lamps.asm"], "bench.yaml")}
WRITTEN = (".map", ".svg", ".json", ".names.h")


def of(name: str) -> Linked:
    paths, board = PROGRAMS[name]
    return build([str(FOLDER / path) for path in paths], Choices(board=str(FOLDER / board) if board else None))


def texts(name: str) -> dict[str, str]:
    """What is written of a program, by the name of the file that holds it."""
    linked = of(name)
    return {f"{name}{suffix}": REPORTS[suffix].write(linked, Options(name=name)) for suffix in WRITTEN} | {
        f"{name}.summary": overview(linked)
    }


def linked_of(*sources: str, target: Target | str = CHIP) -> Linked:
    return build_sources([Source(f"{index}.asm", text) for index, text in enumerate(sources)], Choices(target))


@pytest.mark.parametrize("name", PROGRAMS)
def test_what_is_written_is_what_was_read(name: str) -> None:
    found = texts(name)
    assert len(found) == 5
    for file, text in found.items():
        assert text == (FOLDER / file).read_text("ascii"), file


# numbers


def check_numbers(linked: Linked) -> None:
    """Pieces and gaps are the areas, and what is loaded is the image, in the usage and in the map's text."""
    usage = Usage(linked)
    for area in usage.areas:
        covered: set[int] = set()
        for piece in area.pieces:
            covered.update(range(piece.start, piece.end))
        gaps = {address for gap in area.gaps for address in range(gap.start, gap.end)}
        assert not covered & gaps
        assert covered | gaps == set(range(area.start, area.end))
        assert (area.used, area.free) == (len(covered), len(gaps))
        assert (area.hole.words if area.hole else 0) == max((gap.words for gap in area.gaps), default=0)
    total = len(linked.image)
    assert sum(area.loaded for area in usage.areas) + usage.filler == total
    for sizes in (usage.sections, usage.files):
        assert sum(size.code + size.data for size in sizes.values()) + usage.filler == total
        assert sum(size.words for size in sizes.values()) == sum(piece.words for area in usage.areas for piece in area.pieces)
    text = memory_map(linked)
    loaded = [int(match[1].replace(",", "")) for match in re.finditer(r"^  0x\S+ +[\d,]+ +([\d,]+)  ", text, re.MULTILINE)]
    assert sum(loaded) + usage.filler == total
    assert f"\n{total:,} word" in text


@EXAMPLES
@given(layouts(), st.sampled_from(["", "fill: 0xEE\n"]))
def test_numbers_add_up_to_the_image_on_any_board(layout: tuple[str, str], fill: str) -> None:
    board, text = layout
    try:
        linked = on_board(board + fill, text)
    except SourceErrors:
        return
    check_numbers(linked)


@EXAMPLES
@given(layouts())
def test_numbers_add_up_to_the_image_without_a_board(layout: tuple[str, str]) -> None:
    try:
        linked = linked_of(layout[1])
    except SourceErrors:
        return
    check_numbers(linked)


def test_layouts_that_are_counted_are_real() -> None:
    """The two tests above see programs, and not mistakes only."""
    linked = on_board(windows(ROM, RAM) + "fill: 0\n", " DB 1,2\n DS 3\n SECTION v\n DS 4\n")
    check_numbers(linked)
    usage = Usage(linked)
    assert [(area.name, area.used, area.loaded) for area in usage.areas] == [("rom", 5, 2), ("ram", 4, 0)]
    assert usage.filler == 254


def test_words_wider_than_a_byte_are_counted_as_words() -> None:
    wide = chip(BRANCHES.replace('"0', '"00'), word=12, address=12)
    linked = linked_of(" DB 0xFFF, 1\n DS 2\n DB 3\n", target=wide)
    check_numbers(linked)
    assert "3 words of 12 bits in the image" in memory_map(linked)
    assert '"start": 0, "words": 5, "loaded": 3' in facts.facts(linked)


def test_what_a_macro_makes_belongs_to_the_file_that_uses_it(tmp_path: Path) -> None:
    (tmp_path / "kit.inc").write_text("two MACRO\n DB 1,2\n ENDM\n DB 3\n")
    (tmp_path / "main.asm").write_text(' INCLUDE "kit.inc"\n two\n REPT 2\n two\n ENDM\n')
    usage = Usage(build([str(tmp_path / "main.asm")], Choices(CHIP)))
    assert {name: size.data for name, size in usage.files.items()} == {"main.asm": 6, "kit.inc": 1}


def test_a_piece_is_cut_where_its_window_ends() -> None:
    one = "{name: one, start: 0, size: 8, kind: rom, image: 0x1000}"
    two = "{name: two, start: 8, size: 8, kind: rom, image: 0x2000}"
    linked = on_board(windows(one, two), " ORG 4\n DB 4 OF 1\n DB 4 OF 2\n")
    check_numbers(linked)
    assert [[(piece.start, piece.words) for piece in area.pieces] for area in Usage(linked).areas] == [[(4, 4)], [(8, 4)]]


# users

USERS = {
    "values that were known early": ("a EQU 5\n DB a\n LD a + 1\n", {"a": [2, 3]}),
    "names of names": ("a EQU 5\nb EQU a * 2\nc EQU later - b\nlater: DB 1\n", {"a": [2], "b": [3], "later": [3]}),
    "no text, comment or number": ("a EQU 5\nFFH EQU 1\n DB \"a\", 'a', 0FFH ; a\n", {}),
    "each line once": ("a EQU 5\n DB a, a, a + a\n DB a, a, a + a\n", {"a": [2, 3]}),
    "local names": (
        "m: DB .x\n.x: DB m.x\n.y EQU 3\nn: DB .x\n.x: DB m.y\n",
        {"m.x": [1, 2], "m.y": [5], "n.x": [4]},
    ),
    "conditions, also in what is skipped": (
        "a EQU 0\n IF a\n DB a\n IF a > 1\n ENDIF\n ENDIF\n IF DEFINED b\n ENDIF\nb: DB 1\n",
        {"a": [2, 4], "b": [7]},
    ),
    "an argument counts where it is written": ("p MACRO x\n DB {x}\n ENDM\na EQU 1\n p a\n p 2\n p a\n", {"a": [5, 7]}),
    "the lines of a macro": ("p MACRO\n DB a\n ENDM\na EQU 1\n p\n p\n", {"a": [2]}),
    "the lines of a repeat": ("a EQU 2\n REPT a\n DB a\n ENDM\n", {"a": [2, 3]}),
    "a name that changes": ("a := 1\n DB a\na := a + 1\n", {"a": [2, 3]}),
    "codes and what they are of": ("a EQU 4\nb EQU 5\n CODED a: LD b\nc: CODED 2: BR c\n", {"a": [3], "b": [3], "c": [4]}),
    "room, places, checks, the end": (
        "a EQU 16\n ORG a\n DS a\n ALIGN a\n DS 1, a\n ASSERT a == 16\n FIT a\n ENDFIT\n END a\n",
        {"a": [2, 3, 4, 5, 6, 7, 9]},
    ),
}  # fmt: skip


def lines_of(linked: Linked, number: int = 0) -> dict[str, list[int]]:
    return {name: [line for _, line, _ in places] for (module, name), places in users(linked).items() if module == number}


@pytest.mark.parametrize("case", USERS)
def test_users_of_names(case: str) -> None:
    text, wanted = USERS[case]
    assert lines_of(linked_of(text)) == wanted


def test_users_in_other_modules() -> None:
    found = users(linked_of(" PUBLIC a\na: DB b\nb: DB a\n", " EXTERN a\nb EQU 1\n DB a, b\n", " DB c\nc EQU 3\n"))
    shown = {key: [where(place) for place in places] for key, places in found.items()}
    assert shown == {(0, "a"): ["0.asm:3", "1.asm:3"], (0, "b"): ["0.asm:2"], (1, "b"): ["1.asm:3"], (2, "c"): ["2.asm:1"]}


def test_users_in_a_makers_own_words() -> None:
    found = linked_of("aa EQU 5\nbb FCB aa\n FCC /aa bb/\n RMB aa\n FDB bb,*\n", target="6809")
    assert lines_of(found) == {"aa": [2, 4], "bb": [5]}


def test_what_was_left_out_uses_nothing() -> None:
    found = build_sources([Source("0.asm", "a EQU 1\n DB 1\n SECTION x\n DB a\n")], Choices(CHIP, only_used=True))
    assert lines_of(found) == {}


@EXAMPLES
@given(programs())
def test_users_are_the_lines_that_name_a_name(program: tuple[list[str], list[int]]) -> None:
    lines, _ = program
    try:
        linked = linked_of("\n".join(lines) + "\n")
    except SourceErrors:
        return
    wanted: dict[str, list[int]] = {}
    for number, line in enumerate(lines, 1):
        for name in sorted(set(re.findall(r"\bn\d+\b", line.partition(" ")[2]))):
            wanted.setdefault(name, []).append(number)
    assert lines_of(linked) == wanted


# names in C


def header(linked: Linked, name: str = "rom") -> str:
    return REPORTS[".names.h"].write(linked, Options(name=name))


NAMED = (
    "a EQU 5\nlowest EQU -9223372036854775808\nminus EQU -1\nhighest EQU 0xFFFFFFFFFFFFFFFF\nfar EQU 1 << 64\n"
    "main: DB a\n.x: DB 2\nmain_x: DB 3\n_y EQU 1\nint EQU 2\nn := 1\n"
)


@pytest.mark.parametrize("language", ["C", "C++"])
def test_compilers_take_the_names(tmp_path: Path, language: str) -> None:
    text = header(linked_of(NAMED))
    names = ["a", "minus", "main", "main_x", "_y", "int"]
    shown = output(language, tmp_path, printing(text, constants=[f"rom_SYMBOL_{name}".replace("rom", "ROM") for name in names]))
    assert shown == ["5", "-1", "0", "1", "1", "2"]
    wide = printing(text + text, constants=["(ROM_SYMBOL_highest == 18446744073709551615U)", "(ROM_SYMBOL_lowest < 0)"])
    assert output(language, tmp_path, wide) == ["1", "1"]


def test_what_c_cannot_have_is_left_out_and_told() -> None:
    text = header(linked_of(NAMED))
    assert "/* ROM_SYMBOL_far has more than 64 bits */" in text
    assert "/* main_x is left out: its constant would be that of main.x */" in text
    assert "SYMBOL_n " not in text
    assert header(linked_of(" DB 1\n", " DB 2\na: DB 3\n")).count("#define") == 1
    odd = build_sources([Source("a*/b\u20ac??/c.asm", " PUBLIC a\na: DB 1\n"), Source("d.asm", " DB 2\n")], Choices(CHIP))
    assert "/* label, a* /b? ? ?/c.asm:2 */" in header(odd)


@pytest.mark.parametrize("language", ["C", "C++"])
def test_names_go_with_the_c_array(tmp_path: Path, language: str) -> None:
    linked = linked_of(" PUBLIC a, b\na: DB 1\nb EQU -3\nc EQU 4\n")
    both = FORMATS[".h"].write(linked.image, Options(name="rom")).decode() + header(linked)
    assert output(language, tmp_path, printing(both, ["rom"], ["ROM_SYMBOL_a", "ROM_SYMBOL_b"])) == ["1 ", "0", "-3"]
    assert "SYMBOL_c" not in both


# pictures


def shapes(text: str) -> Iterator[ElementTree.Element]:
    for element in ElementTree.fromstring(text).iter():
        element.tag = element.tag.removeprefix("{http://www.w3.org/2000/svg}")
        yield element


def check_picture(text: str) -> list[ElementTree.Element]:
    """A picture is well-formed, holds nothing from elsewhere, and lies on its paper."""
    found = list(shapes(text))
    assert {element.tag for element in found} <= {"svg", "title", "rect", "polygon", "text"}
    assert not re.search(r"href|url\(|script|style|@import", re.sub(r">[^<]*<", "><", text))
    tall = float(found[0].attrib["height"])
    for element in found:
        x, y, width, height = (float(element.attrib.get(key, 0)) for key in ("x", "y", "width", "height"))
        assert x >= 0 and x + width <= WIDTH + 0.2 and y >= 0 and y + height <= tall + 0.2
        assert all(float(element.attrib[key]) >= 0 for key in ("width", "height") if key in element.attrib)
    return found


def words(found: list[ElementTree.Element]) -> list[str]:
    return [element.text or "" for element in found if element.tag == "text"]


def test_a_bar_is_to_scale() -> None:
    linked = on_board(windows(ROM), " DB 64 OF 1\n SECTION t\n ORG 0xC0\n DB 64 OF 2\n")
    bars = [element for element in check_picture(picture(linked)) if element.tag == "rect" and element.get("x") == "20"]
    whole, first, second, _ = bars
    top, tall = float(whole.attrib["y"]), float(whole.attrib["height"])
    assert float(first.attrib["y"]) == pytest.approx(top, abs=0.1)
    assert float(first.attrib["height"]) == pytest.approx(tall / 4, abs=0.1)
    assert float(second.attrib["y"]) == pytest.approx(top + tall * 3 / 4, abs=0.1)


def test_pictures_of_odd_programs() -> None:
    few = words(check_picture(picture(linked_of(" ORG 0x8000\n DB 16 OF 1\n"))))
    assert {"32,768", "16", "32,752"} <= set(few)
    text = "".join(f" SECTION s{'x' * (index % 70)}{index}\n ORG {index * 200}\n DB {index % 90 + 1} OF 1\n" for index in range(300))
    many = check_picture(picture(linked_of(text)))
    assert MOST_ROWS / 2 < len([row for row in words(many) if row.startswith("0x")]) <= MOST_ROWS
    assert any("pieces" in row for row in words(many))
    odd = build_sources([Source("a&b<c>\x07\u20ac.asm", " SECTION t\n DB 1\n")], Choices(CHIP))
    assert "Memory: a&b<c>\\x07\u20ac.asm" in words(check_picture(picture(odd)))


@pytest.mark.parametrize(("count", "panels"), [(2, True), (6, True), (7, False), (1024, False)])
def test_banks_stand_side_by_side(count: int, panels: bool) -> None:
    rows = [f"{{name: b{bank}, start: 0x4000, size: 0x4000, kind: rom, bank: {bank}, image: {bank << 14}}}" for bank in range(count)]
    board = windows(*rows) + "sections: {main: b0, t: b1}\n"
    found = check_picture(picture(on_board(board, " DB 7\n SECTION t\n DB 5000 OF 1\n")))
    assert ("b0" in words(found)) == panels
    assert (f"{count:,} windows at 0x4000..0x7FFF" in words(found)) != panels
    titles = [element.text or "" for element in found if element.tag == "title"]
    assert any("5,000 words" in title for title in titles)
    assert float(found[0].attrib["height"]) < 5000


def test_ports_and_the_host_are_drawn() -> None:
    rows = [f"{{name: p{port}, start: {0x200 + port}, size: 1, kind: io}}" for port in range(30)]
    board = windows(ROM.replace("}", ", costs: flash}"), *rows) + "host: {flash: 4, none: 0}\n"
    found = words(check_picture(picture(on_board(board, " DB 7\n"))))
    assert "p29, io" in found
    assert "flash: 1 of 4 bytes (25.0 %)" in found
    assert "none: 0 of 0 bytes" in found


@EXAMPLES
@given(layouts())
def test_any_layout_has_a_picture_and_facts(layout: tuple[str, str]) -> None:
    try:
        linked = on_board(*layout)
    except SourceErrors:
        return
    check_picture(picture(linked))
    json.loads(facts.facts(linked))


# facts


def keys_of(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        for key, item in value.items():
            yield key
            yield from keys_of(item)
    elif isinstance(value, list):
        for item in value:
            yield from keys_of(item)


def test_facts_are_documented_and_true() -> None:
    linked = of("bench")
    found = json.loads(facts.facts(linked))
    documented = re.findall(
        r"`(\w+)`", (FOLDER.parent.parent / "xasm" / "README.md").read_text("utf-8").partition("The keys of the facts")[2]
    )
    keys = set(keys_of(found))
    assert len(keys) > 25
    assert keys <= set(documented)
    assert {symbol["name"]: symbol["value"] for symbol in found["symbols"]} == linked.image.symbols
    assert [(span["start"], span["words"]) for span in found["spans"]] == [(part.start, len(part.words)) for part in linked.image.parts]
    assert {one["name"]: one["section"] for one in found["symbols"] if one["name"] in ("levels", "PORT", "reset")} == {
        "levels": "tables", "PORT": None, "reset": "main",
    }  # fmt: skip


# the command


def xasm(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    root = str(Path(__file__).parent.parent)
    command = [sys.executable, "-m", "xasm", *arguments]
    return subprocess.run(command, cwd=folder, env={**os.environ, "PYTHONPATH": root}, capture_output=True, text=True, check=False)


def test_the_end_of_the_name_chooses_and_the_place_changes_nothing(tmp_path: Path) -> None:
    """The same bytes from the folder itself by plain names, and from elsewhere by whole paths; no path of the machine."""
    ends = [f"rom{suffix}" for suffix in (".h", *WRITTEN)]
    sources = [*PROGRAMS["bench"][0], "shared.inc", "bench.yaml"]
    made = []
    for name in ("one", "two"):
        folder = tmp_path / name / "work"
        folder.mkdir(parents=True)
        for source in sources:
            (folder / source).write_bytes((FOLDER / source).read_bytes())
        prefix = "" if name == "one" else f"{folder}/"
        paths = [f"{prefix}{source}" for source in sources[:2]]
        outputs = [part for end in ends for part in ("-o", f"{folder}/{end}")]
        place = folder if name == "one" else tmp_path
        done = xasm(place, "build", *paths, "--board", f"{prefix}bench.yaml", "--name", "bench", *outputs)
        assert (done.returncode, done.stdout) == (0, ""), done.stderr
        assert "rom.names.h: names in a C header" in done.stderr
        made.append({end: (folder / end).read_text("ascii") for end in ends})
    assert made[0] == made[1]
    assert "uint8_t" in made[0]["rom.h"]
    for suffix in WRITTEN:
        assert made[0][f"rom{suffix}"] == (FOLDER / f"bench{suffix}").read_text("ascii")
        assert str(tmp_path) not in made[0][f"rom{suffix}"]


def test_a_report_on_the_screen(tmp_path: Path) -> None:
    (tmp_path / "a.asm").write_text(" TARGET 6502\n NOP\n")
    done = xasm(tmp_path, "build", "a.asm", "--report")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("file   code  data  reserved  total\na.asm     1     0         0      1\n")
    done = xasm(tmp_path, "build", "a.asm", "-o", "-.map", "-o", "-.json", "-q")
    assert done.stdout.startswith("xasm map, ")
    assert '"xasm": "program"' in done.stdout
    done = xasm(tmp_path, "assemble", "a.asm", "-q")
    done = xasm(tmp_path, "link", "a.xo", "-o", "-.map", "-q")
    assert "main     a.asm" in done.stdout


def test_names_of_files() -> None:
    named = names_of_files(["/one/src/a.asm", "/one/lib/b.asm"])
    paths = ["/one/src/a.asm", "/one/lib/b.asm", "/one/c.inc", "/two/d.inc"]
    assert [named(path) for path in paths] == ["src/a.asm", "lib/b.asm", "c.inc", "d.inc"]
    assert names_of_files(["/one/src/a.asm"])("/one/lib/b.inc") == "../lib/b.inc"
    assert names_of_files(["/one/a.asm", "/two/b.asm"])("/one/a.asm") == "a.asm"


if __name__ == "__main__":
    for program in PROGRAMS:
        for path, content in texts(program).items():
            (FOLDER / path).write_text(content, "ascii")
