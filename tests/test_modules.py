"""Programs of several modules: what names mean in them, and that files of modules keep everything."""

from __future__ import annotations

import io
import json
import random
import zipfile
from pathlib import Path
from typing import Any

import pytest

from tests.asking import CHIP
from xasm.building import Choices, assemble_sources, build, build_sources, link_modules
from xasm.formats.libraries import needed, read_library, write_library
from xasm.formats.module_reading import read_module
from xasm.formats.modules import write_module
from xasm.linking.linker import Linked
from xasm.reports.listing import listing
from xasm.source.diagnostics import Fault, Report, SourceErrors
from xasm.source.files import Source
from xasm.target.finding import load_target, table_paths
from xasm.target.model import Target

SAMPLES = sorted((Path(__file__).resolve().parent.parent / "samples").glob("*/*.asm"))


def linked(*texts: str, target: str | Target = CHIP, **more: Any) -> Linked:
    return build_sources([Source(f"{index}.asm", text) for index, text in enumerate(texts)], Choices(target, **more))


def codes(*texts: str, **more: Any) -> list[tuple[str, int, str]]:
    """File, line and catalogue entry of every message."""
    with pytest.raises(SourceErrors) as caught:
        linked(*texts, **more)
    return [(one.path, one.line, one.code) for one in caught.value.diagnostics]


def again(module: Any, target: Target) -> Any:
    """A module written and read."""
    return read_module(write_module(module), "again.xo", lambda name, undocumented: target)


# names


def test_a_name_belongs_to_its_module() -> None:
    found = linked("a: DB a, b\nb EQU 5\n", "a: DB a\nb: DB b\n").image
    assert found.spans == [(0, bytes([0, 5, 2, 3]))]
    assert found.symbols == {"a": 0, "b": 5}


def test_local_names_belong_to_their_module() -> None:
    assert linked("m: DB 1\n.x: DB .x\n", "m: DB 2\n.x: DB .x, m.x\n").image.spans == [(0, bytes([1, 1, 2, 3, 3]))]


def test_public_names_of_every_kind() -> None:
    one = " PUBLIC label, constant, later, last\nconstant EQU 7\nlater EQU last + 1\nlabel: DB 1\nlast: DB 2\n"
    two = " EXTERN label, constant, later, last\n DB label, constant, later, last\nmine EQU later * 2\n DB mine\n"
    assert linked(one, two).image.spans == [(0, bytes([1, 2, 0, 7, 2, 1, 4]))]
    assert linked(two, one).image.spans == [(0, bytes([5, 7, 7, 6, 14, 1, 2]))]


def test_a_shared_file_may_say_extern_of_what_the_module_defines() -> None:
    head = " EXTERN one, two\n"
    assert linked(head + " PUBLIC one\none: DB two\n", head + " PUBLIC two\ntwo: DB one\n").image.spans == [(0, bytes([1, 0]))]


def test_equates_of_several_modules_may_need_each_other_and_not_themselves() -> None:
    one = " PUBLIC a, c\n EXTERN b\na EQU b + 1\nc EQU $ + 4\n"
    two = " PUBLIC b\n EXTERN a, c\nb EQU c + 1\n DB a, b, c\n"
    assert linked(one, two).image.spans == [(0, bytes([6, 5, 4]))]
    assert codes(" PUBLIC a\n EXTERN b\na EQU b\n DB a\n", " PUBLIC b\n EXTERN a\nb EQU a\n")[0] == ("0.asm", 3, "circular")


def test_names_that_cannot_be() -> None:
    assert codes(" DB b\n", " PUBLIC b\nb: DB 1\n") == [("0.asm", 1, "undefined")]
    assert codes(" EXTERN b\n DB b\n", "b: DB 1\n") == [("0.asm", 2, "nobody_defines")]
    assert codes(*[f" PUBLIC a\n DS {count}\na: DB 1\n" for count in range(1, 5)]) == [
        (f"{index}.asm", 3, "public_twice") for index in (1, 2, 3)
    ]
    assert codes("a: DB 1\n END a\n", "b: DB 1\n END b\n") == [("1.asm", 2, "start_twice")]


def test_variables_and_macros_are_not_shared() -> None:
    assert codes("n := 1\n DB n\n", " DB n\n") == [("1.asm", 1, "undefined")]
    assert codes("m MACRO\n DB 1\n ENDM\n m\n", " m\n") == [("1.asm", 1, "unknown_operation")]


def test_modules_for_different_chips() -> None:
    chips = list(table_paths())[:2]
    modules = [assemble_sources([Source(f"{name}.asm", " DB 1\n")], Choices(name), Report())[0] for name in chips]
    with pytest.raises(SourceErrors) as caught:
        link_modules(modules, Choices(), Report())
    assert [one.code for one in caught.value.diagnostics] == ["other_target"]


def test_sizes_are_chosen_across_modules() -> None:
    """A branch is short where the label of another module is near, and long where what lies between grows."""
    one = " EXTERN far, zero\nhere: BR far\n LD zero\n LD far\n"
    assert linked(one, " PUBLIC far, zero\nfar: STOP\nzero EQU 5\n").image.spans == [(0, bytes.fromhex("01040305030600"))]
    away = " PUBLIC far, zero\n DS 200\n DS 200\nfar: STOP\nzero EQU 0x100\n"
    assert linked(one, away).image.spans == [(0, bytes.fromhex("029901040001049901")), (0x199, b"\0")]


# sections


def test_sections_of_one_name_come_together() -> None:
    text = " DB {0}1\n SECTION t\n DB {0}2\n SECTION\n DB {0}3\n SECTION u\n DB {0}4\n"
    found = linked(text.format(1), text.format(2), " SECTION u\n DB 99\n").image
    assert found.spans == [(0, bytes([11, 13, 21, 23, 12, 22, 14, 24, 99]))]


def test_a_named_section_that_begins_with_an_org_holds_nobody_up() -> None:
    found = linked(" DB 1\n SECTION top\n ORG 0x80\n DB 9\n SECTION more\n DB 2\n", " DB 3\n").image
    assert found.spans == [(0, bytes([1, 3, 2])), (0x80, bytes([9]))]


def test_only_what_is_used() -> None:
    one = " EXTERN print\nstart: BR print\n SECTION spare\n DB 1\n SECTION table\ntable: DB 2\n END start\n"
    two = (
        " PUBLIC print\n EXTERN never\n SECTION p\nprint: DB there\n SECTION q\nthere EQU far + 1\n"
        " SECTION r\nfar: DB 7\n SECTION s\n DB 8\n"
    )
    whole = linked(one, two).image
    less = linked(one, two, only_used=True)
    assert len(whole) - len(less.image) == 3
    assert {symbol.name for symbol in less.symbols} == {"start", "print", "there", "far"}
    assert linked(" DB 1\n SECTION x\n ORG 9\n DB 2\n SECTION y\n DB 3\n END 0\n", only_used=True).image.spans == [(9, b"\2")]


def test_without_a_start_the_first_section_is_used() -> None:
    assert linked(" DB 1\n SECTION x\n DB 2\n", " DB 3\n", only_used=True).image.spans == [(0, b"\1")]


# files of modules


@pytest.mark.parametrize("path", SAMPLES, ids=[f"{path.parent.name}/{path.name}" for path in SAMPLES])
def test_a_module_comes_back_as_it_was(path: Path) -> None:
    """The same image and the same listing, from a file whose bytes are the same when it is written once more."""
    first = build([str(path)])
    module = first.program.modules[0]
    written = write_module(module)
    back = again(module, first.image.target)
    assert write_module(back) == written
    second = link_modules([back], Choices(), Report())
    assert second.image.spans == first.image.spans
    assert listing(second) == listing(first)


def test_messages_of_a_module_show_its_source() -> None:
    text = "m MACRO x\n DB {x}\n ENDM\n EXTERN far\n m far\n DB 300 + far\n"
    other = " PUBLIC far\n DS 400\nfar: DB 1\n"
    texts = [Source("a.asm", text), Source("b.asm", other)]
    found = []
    for keep in (False, True):
        modules = assemble_sources(texts, Choices(CHIP), Report())
        if keep:
            assert isinstance(CHIP, Target)
            modules = [again(module, CHIP) for module in modules]
        with pytest.raises(SourceErrors) as caught:
            link_modules(modules, Choices(), Report())
        found.append(str(caught.value))
    assert found[0] == found[1]
    assert "in macro m, used at a.asm:5" in found[0]


def spoilt(value: Any, random: random.Random) -> Any:
    """A JSON value with one part changed."""
    if isinstance(value, dict) and value:
        key = random.choice(sorted(value))
        if random.random() < 0.1:
            return {name: part for name, part in value.items() if name != key}
        return {**value, key: spoilt(value[key], random)}
    if isinstance(value, list) and value:
        index = random.randrange(len(value))
        if random.random() < 0.1:
            return value[:index] + value[index + 1 :]
        return [*value[:index], spoilt(value[index], random), *value[index + 1 :]]
    return random.choice([None, True, -1, 0, 1, 7, 1 << 40, -(1 << 600), "", "x", "F", [], {}, [[]], 1.5, float("nan"), "\x01"])


@pytest.mark.parametrize("seed", range(8))
def test_a_spoilt_module_never_ends_in_a_traceback(seed: int) -> None:
    """It is refused, or links with messages, or is a module like any other."""
    path = next(path for path in SAMPLES if path.name == "beacon.asm" and path.parent.name == sorted(table_paths())[seed])
    first = build([str(path)])
    plain = json.loads(write_module(first.program.modules[0]))
    dice = random.Random(seed)
    refused = 0
    for _ in range(150):
        data = json.dumps(spoilt(plain, dice)).encode()
        try:
            module = read_module(data, "spoilt.xo", lambda name, undocumented: load_target(name, undocumented))
        except Fault:
            refused += 1
            continue
        try:
            listing(link_modules([module], Choices(), Report()))
        except SourceErrors:
            refused += 1
    assert refused > 30


@pytest.mark.parametrize(
    "data", [b"", b"\0\1\2", b"[" * 100_000, b"{" * 10, b'{"xasm":"module","version":1}', b"1" * 10_000, "\u20ac".encode("utf-16")]
)
def test_junk_is_no_module(data: bytes) -> None:
    with pytest.raises(Fault) as caught:
        read_module(data, "junk.xo", load_target)
    assert caught.value.code in ("not_a_module", "module_broken")
    assert caught.value.place is not None


# libraries


def library() -> dict[str, Any]:
    """Modules a, b, c, d: a needs b, b needs c; d is needed by nobody."""
    texts = {
        "a": " PUBLIC a\n EXTERN b, d\na: DB b\n",
        "b": " PUBLIC b\n EXTERN c\nb: DB c\n",
        "c": " PUBLIC c\nc: DB 7\n",
        "d": " PUBLIC d\nd: DB 8\n",
    }
    return {f"{name}.xo": assemble_sources([Source(f"{name}.asm", text)], Choices(CHIP), Report())[0] for name, text in texts.items()}


def test_of_a_library_only_what_is_needed_is_taken() -> None:
    modules = library()
    main = assemble_sources([Source("main.asm", " EXTERN a, never\n DB a\n")], Choices(CHIP), Report())
    assert [module.path for module in needed(main, list(modules.values()))] == ["a.asm", "b.asm", "c.asm"]
    own = assemble_sources([Source("main.asm", " EXTERN a\n PUBLIC b\n DB a\nb: DB 1\n")], Choices(CHIP), Report())
    assert [module.path for module in needed(own, list(modules.values()))] == ["a.asm"]


def test_folders_and_archives_hold_the_same(tmp_path: Path) -> None:
    modules = library()
    (tmp_path / "lib.zip").write_bytes(write_library(modules))
    (tmp_path / "lib").mkdir()
    for name, module in modules.items():
        (tmp_path / "lib" / name).write_bytes(write_module(module))
    assert isinstance(CHIP, Target)
    chip = CHIP
    for path in ("lib", "lib.zip"):
        found = read_library(str(tmp_path / path), lambda name, undocumented: chip)
        assert [module.path for module in found] == ["a.asm", "b.asm", "c.asm", "d.asm"]
    assert write_library(modules) == write_library(dict(reversed(modules.items())))


def test_an_archive_that_grows_without_end_is_refused(tmp_path: Path) -> None:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for number in range(5):
            archive.writestr(f"{number}.xo", bytes(64 << 20))
    (tmp_path / "bomb.zip").write_bytes(buffer.getvalue())
    with pytest.raises(Fault) as caught:
        read_library(str(tmp_path / "bomb.zip"), load_target)
    assert caught.value.code == "not_a_library"
