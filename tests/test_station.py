"""The program of many files: built at once, module by module, from a library, and anywhere: always the same bytes."""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
FILES = ("log.asm", "ports.asm", "rom.asm", "station.asm")
TEXT = ("--build-text", "keeper 1")


def run(folder: Path, *words: str) -> str:
    """What a command says, in a folder; it must succeed."""
    environment = {"PYTHONPATH": str(ROOT), "HOME": str(folder)}
    done = subprocess.run([sys.executable, "-m", "xasm", *words], cwd=folder, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout + done.stderr


def copy(folder: Path) -> Path:
    shutil.copytree(ROOT / "samples", folder / "samples")
    return folder / "samples/6502/station"


@pytest.fixture(scope="module")
def station(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return copy(tmp_path_factory.mktemp("station"))


def built(station: Path, name: str, files: Sequence[str] = FILES) -> bytes:
    run(station, "build", *files, "--board", "board.yaml", *TEXT, "-o", name)
    return (station / name).read_bytes()


def test_modules_link_to_the_bytes_of_the_build(station: Path) -> None:
    whole = built(station, "rom.hex")
    run(station, "assemble", *FILES)
    run(station, "link", *[name.replace(".asm", ".xo") for name in FILES], "--board", "board.yaml", *TEXT, "-o", "linked.hex")
    assert (station / "linked.hex").read_bytes() == whole
    run(station, "build", "log.asm", "ports.xo", "rom.asm", "station.xo", "--board", "board.yaml", *TEXT, "-o", "mixed.hex")
    assert (station / "mixed.hex").read_bytes() == whole


def test_a_library_gives_what_is_needed(station: Path) -> None:
    run(station, "assemble", "log.asm", "ports.asm", "rom.asm", "-o", "drivers.zip")
    run(station, "link", "station.xo", "-l", "drivers.zip", "--board", "board.yaml", *TEXT, "-o", "library.hex")
    assert (station / "library.hex").read_bytes() == built(station, "last.hex", ["station.asm", "log.asm", "ports.asm", "rom.asm"])


def test_the_rom_adds_up(station: Path) -> None:
    words = built(station, "rom.bin")
    upper = words[0xF000 - 0xE000 :]
    assert len(upper) == 0x1000
    assert sum(upper) % 256 == 0
    assert b"keeper 1\0" in upper
    assert upper[0xFFC:0xFFE] == b"\x00\xf0"  # the vector to `reset`, which is the first word of the window


def test_the_same_input_gives_the_same_bytes_anywhere(station: Path, tmp_path: Path) -> None:
    other = copy(tmp_path / "elsewhere")
    kinds = ("hex", "bin", "srec", "mem", "txt", "h", "c", "lst")
    outputs = [word for kind in kinds for word in ("-o", f"same.{kind}")]
    for folder in (station, other):
        run(folder, "build", *FILES, "--board", "board.yaml", *TEXT, *outputs, "--depfile", "same.d")
        run(folder, "assemble", *FILES)
        run(folder, "assemble", *FILES, "-o", "same.zip")
    for name in [*(f"same.{kind}" for kind in kinds), "same.d", "same.zip", "log.xo", "station.xo"]:
        assert (station / name).read_bytes() == (other / name).read_bytes(), name
        assert str(tmp_path).encode() not in (other / name).read_bytes()


def test_builds_side_by_side_do_not_hurt_each_other(tmp_path: Path) -> None:
    """Eight at once into the same file, while it is read: every look at it shows a whole one."""
    station = copy(tmp_path)
    whole = built(station, "rom.hex")
    words = [sys.executable, "-m", "xasm", "build", *FILES, "--board", "board.yaml", *TEXT, "-q", "-o", "rom.hex"]
    environment = {"PYTHONPATH": str(ROOT), "HOME": str(tmp_path)}
    running = [subprocess.Popen(words, cwd=station, env=environment) for _ in range(8)]
    looks = 0
    while any(one.poll() is None for one in running):
        assert (station / "rom.hex").read_bytes() == whole
        looks += 1
    assert [one.returncode for one in running] == [0] * 8
    assert looks > 8
    assert [path.name for path in station.glob(".xasm-*")] == []
