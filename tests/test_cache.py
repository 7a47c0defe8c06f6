"""What is remembered from run to run: safe to read, never in the way."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

import xasm
from tests.invented import BRANCHES, chip
from xasm.source import cache
from xasm.source.diagnostics import Report
from xasm.source.files import Source
from xasm.target.document import Value, packed, read_document, unpacked
from xasm.target.finding import table_paths

TEXT = 'name: "a"\nlist: [1, "2", {deep: true}]\n'


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    return tmp_path / "xasm"


def read(text: str) -> Value:
    return read_document(Source("a.yaml", text), Report())


def plain(value: Value) -> str:
    return json.dumps(packed(value))


def test_a_value_comes_back(folder: Path) -> None:
    assert cache.recall("kind", "key") is None
    cache.remember("kind", "key", [1, "two", {"three": None}])
    assert cache.recall("kind", "key") == [1, "two", {"three": None}]
    assert cache.recall("kind", "another key") is None
    assert [path.suffix for path in folder.iterdir()] == [".json"]


def test_a_table_is_the_same_from_yaml_and_from_the_cache(folder: Path) -> None:
    seen = 0
    for path in table_paths().values():
        text = path.read_text("utf-8")
        first, second = read(text), read(text)
        assert plain(first) == plain(second)
        assert plain(unpacked(packed(first), Source("a.yaml", text))) == plain(first)
        seen += 1
    assert seen == len(list(folder.glob("table-*.json"))) > 3


def test_a_changed_table_is_read_anew(folder: Path) -> None:
    assert plain(read(TEXT)) != plain(read(TEXT.replace("[1", "[3")))
    assert len(list(folder.glob("table-*.json"))) == 2


def test_junk_in_the_cache_is_not_believed(folder: Path) -> None:
    wanted = plain(read(TEXT))
    (path,) = folder.glob("table-*.json")
    for junk in (b"", b"\xff\x00", b"[", b"[1]", b'["list",1,1,[["list"]]]', b'{"a": 1}', b"[" * 100_000, b'"text"', b"12"):
        path.write_bytes(junk)
        assert plain(read(TEXT)) == wanted, junk


def test_only_the_newest_values_are_kept(folder: Path) -> None:
    for number in range(cache.MOST_KEPT + 5):
        cache.remember("kind", str(number), number)
    assert len(list(folder.glob("kind-*.json"))) == cache.MOST_KEPT
    assert cache.recall("kind", str(cache.MOST_KEPT + 4)) == cache.MOST_KEPT + 4


def test_a_mistaken_table_is_not_remembered(folder: Path) -> None:
    report = Report()
    read_document(Source("a.yaml", "a: 1\na: 2\n"), report)
    assert report.failed
    assert not list(folder.glob("table-*.json"))


def test_a_cache_that_cannot_be_written_or_read_is_no_error(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    below_a_file = tmp_path / "file"
    below_a_file.write_text("")
    for place in (below_a_file, Path("/dev/null"), Path("/proc")):
        monkeypatch.setenv("XDG_CACHE_HOME", str(place))
        cache.remember("kind", "key", 1)
        assert cache.recall("kind", "key") is None
        assert plain(read(TEXT))


def test_a_run_with_a_spoiled_cache_gives_the_same(tmp_path: Path) -> None:
    """The grammar's tables and the chip's table come from the cache in the second run, from junk in the third."""
    source = tmp_path / "first.asm"
    name = next(iter(table_paths()))
    source.write_text(f"        TARGET {name}\nhere:   DB 1, (2 + 3) * here, 'A'\n")
    environment = {"XDG_CACHE_HOME": str(tmp_path / "cache"), "PYTHONPATH": str(Path(xasm.__file__).parent.parent)}
    command = [sys.executable, "-m", "xasm", "build", str(source), "-q", "-o", "-.txt"]
    printed = []
    for turn in range(3):
        done = subprocess.run(command, env=environment, capture_output=True, text=True, check=True)
        printed.append(done.stdout)
        found = list((tmp_path / "cache" / "xasm").glob("*.json"))
        assert {path.name.partition("-")[0] for path in found} == {"grammar", "table"}
        if turn == 1:
            for path in found:
                path.write_text('[{"options": {}, "parser": {"parser": {"states": {}}}}, {}]')
    assert printed[0] == printed[1] == printed[2] != ""


def test_an_image_does_not_depend_on_the_cache(folder: Path) -> None:
    assert xasm.assemble(" BR 5\n", chip(BRANCHES)).spans == xasm.assemble(" BR 5\n", chip(BRANCHES)).spans
