"""Writing outputs: all or none, and nothing left over."""

from __future__ import annotations

import errno
import os
import resource
import stat
import threading
from pathlib import Path

import pytest

from tests.formats import refused
from xasm.formats.files import write_files

OLD = b"from an earlier run"


@pytest.fixture
def folder(tmp_path, monkeypatch) -> Path:
    """A folder to work in, with one output of an earlier run."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "old.bin").write_bytes(OLD)
    return tmp_path


def content(folder: Path) -> dict[str, bytes]:
    """Every file of a folder; hidden ones too, so that nothing left over stays unseen."""
    return {name: (folder / name).read_bytes() for name in sorted(os.listdir(folder)) if (folder / name).is_file()}


def cannot_write(outputs: dict[str, bytes]) -> str:
    return refused("cannot_write", write_files, outputs)


def failing(monkeypatch, name: str, error: BaseException, after: int = 0) -> None:
    """Makes a function of the system fail once it was called `after` times."""
    real = getattr(os, name)
    calls = []

    def call(*arguments, **named):
        calls.append(arguments)
        if len(calls) == after + 1:
            raise error
        return real(*arguments, **named)

    monkeypatch.setattr(os, name, call)


# ---- what is written


def test_files_are_written(folder):
    write_files({"old.bin": b"1", "new.hex": b"22", str(folder / "empty.h"): b""})
    assert content(folder) == {"empty.h": b"", "new.hex": b"22", "old.bin": b"1"}
    write_files({})
    assert len(content(folder)) == 3


def test_long_names_can_be_written(folder):
    name = "n" * 251 + ".bin"
    write_files({name: b"1"})
    write_files({name: b"2"})
    assert content(folder) == {name: b"2", "old.bin": OLD}


def test_modes(folder):
    os.chmod("old.bin", 0o751)
    before = os.umask(0o027)
    try:
        write_files({"old.bin": b"1", "new.bin": b"2"})
    finally:
        os.umask(before)
    assert stat.S_IMODE(os.stat("old.bin").st_mode) == 0o751
    assert stat.S_IMODE(os.stat("new.bin").st_mode) == 0o640


def test_readers_of_the_old_file_never_see_a_part_of_the_new_one(folder):
    with open("old.bin", "rb") as reader:
        write_files({"old.bin": b"1"})
        assert reader.read() == OLD
    assert content(folder) == {"old.bin": b"1"}


def test_symbolic_links_are_followed(folder):
    (folder / "there").mkdir()
    (folder / "there" / "real.bin").write_bytes(OLD)
    os.symlink("there/real.bin", "link.bin")
    os.symlink("link.bin", "second.bin")
    os.symlink("there/new.bin", "dangling.bin")
    write_files({"second.bin": b"1", "dangling.bin": b"2"})
    assert content(folder / "there") == {"real.bin": b"1", "new.bin": b"2"}
    assert [os.readlink(name) for name in ("link.bin", "second.bin", "dangling.bin")] == ["there/real.bin", "link.bin", "there/new.bin"]


def test_two_names_of_one_file(folder):
    os.symlink("old.bin", "link.bin")
    write_files({"old.bin": b"1", "link.bin": b"2"})
    assert content(folder) == {"link.bin": b"2", "old.bin": b"2"}


def test_devices_and_pipes_are_written_to(folder):
    os.mkfifo("pipe.bin")
    os.symlink("pipe.bin", "link.bin")
    read = []
    reader = threading.Thread(target=lambda: read.append(Path("pipe.bin").read_bytes()))
    reader.start()
    write_files({"/dev/null": b"1", "link.bin": b"2" * 10_000})
    reader.join()
    assert read == [b"2" * 10_000]
    assert stat.S_ISFIFO(os.stat("pipe.bin").st_mode)
    assert stat.S_ISCHR(os.stat("/dev/null").st_mode)
    assert sorted(os.listdir(folder)) == ["link.bin", "old.bin", "pipe.bin"]


# ---- what cannot be written


@pytest.mark.parametrize(
    ("path", "why"),
    [
        ("missing/out.bin", "no such file or directory"),
        ("missing/../out.bin", "no such file or directory"),
        ("old.bin/out.bin", "not a directory"),
        ("folder", "is a directory"),
        ("folder/", "is a directory"),
        ("folder/..", "is a directory"),
        ("new/", "is a directory"),
        ("missing/..", "is a directory"),
        (".", "is a directory"),
        ("", "no such file or directory"),
        ("n" * 300, "file name too long"),
        ("loop.bin", "too many levels of symbolic links"),
        ("to_missing.bin", "no such file or directory"),
        ("to_folder", "is a directory"),
        ("/dev/full", "no space left on device"),
    ],
)
@pytest.mark.parametrize("first", [False, True])
def test_one_that_fails_leaves_all_as_they_were(folder, path, why, first):
    (folder / "folder").mkdir()
    os.symlink("loop.bin", "loop.bin")
    os.symlink("missing/out.bin", "to_missing.bin")
    os.symlink("folder", "to_folder")
    names = sorted(os.listdir(folder))
    good = {"old.bin": b"1", "new.bin": b"2"}
    assert cannot_write({path: b"3", **good} if first else {**good, path: b"3"}) == f"cannot write '{path}': {why}"
    assert content(folder) == {"old.bin": OLD}
    assert sorted(os.listdir(folder)) == names
    assert os.listdir("folder") == []
    write_files(good)
    assert content(folder) == {"new.bin": b"2", "old.bin": b"1"}, "without the one that fails the others can be written"


@pytest.mark.parametrize(("path", "shown"), [("a\0b", r"a\x00b"), ("\ud800.bin", r"\ud800.bin")])
def test_paths_that_no_file_can_have(folder, path, shown):
    assert cannot_write({"old.bin": b"1", path: b"2"}).startswith(f"cannot write '{shown}': ")
    assert content(folder) == {"old.bin": OLD}


def test_a_folder_that_takes_no_file(folder):
    """Not even from root, to whom the system gives another reason than to others."""
    reasons = ("no such file or directory", "permission denied")
    assert cannot_write({"old.bin": b"1", "/proc/out.bin": b"2"}) in [f"cannot write '/proc/out.bin': {reason}" for reason in reasons]
    assert content(folder) == {"old.bin": OLD}


def test_a_file_that_must_not_be_written(folder, monkeypatch):
    """Root may write everything, so the answer of the system is given here."""
    monkeypatch.setattr(os, "access", lambda path, mode: path != "old.bin")
    assert cannot_write({"new.bin": b"1", "old.bin": b"2"}) == "cannot write 'old.bin': permission denied"
    assert content(folder) == {"old.bin": OLD}


def test_a_file_that_the_system_cuts_off(folder):
    """A limit on the size of files makes a real write fail half-way."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, hard))
    try:
        message = cannot_write({"new.bin": b"1", "old.bin": bytes(200_000), "more.bin": b"2"})
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert message == "cannot write 'old.bin': file too large"
    assert content(folder) == {"old.bin": OLD}


@pytest.mark.parametrize("after", [0, 1])
def test_a_disk_found_full_at_the_end(folder, monkeypatch, after):
    failing(monkeypatch, "fsync", OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)), after)
    name = ("new.bin", "old.bin")[after]
    assert cannot_write({"new.bin": b"1", "old.bin": b"2"}) == f"cannot write '{name}': no space left on device"
    assert content(folder) == {"old.bin": OLD}


@pytest.mark.parametrize("links", [True, False])
@pytest.mark.parametrize("after", [0, 1, 2, 3])
def test_a_move_that_fails_takes_the_earlier_ones_back(folder, monkeypatch, after, links):
    Path("other.bin").write_bytes(b"other")
    before = {name: os.stat(name).st_ino for name in ("old.bin", "other.bin")}
    outputs = {"new.bin": b"1", "old.bin": b"2", "newer.bin": b"3", "other.bin": b"4"}
    if not links:
        monkeypatch.setattr(os, "link", lambda *paths: (_ for _ in ()).throw(OSError(errno.EPERM, "Operation not permitted")))
    with monkeypatch.context() as broken:
        failing(broken, "replace", OSError(errno.EIO, os.strerror(errno.EIO)), after)
        assert cannot_write(outputs) == f"cannot write '{list(outputs)[after]}': input/output error"
    assert content(folder) == {"old.bin": OLD, "other.bin": b"other"}
    assert {name: os.stat(name).st_ino for name in before} == before
    write_files(outputs)
    assert content(folder) == {"new.bin": b"1", "newer.bin": b"3", "old.bin": b"2", "other.bin": b"4"}


@pytest.mark.parametrize("function", ["fsync", "replace"])
def test_an_interruption_leaves_all_as_they_were(folder, monkeypatch, function):
    failing(monkeypatch, function, KeyboardInterrupt(), 1)
    with pytest.raises(KeyboardInterrupt):
        write_files({"old.bin": b"1", "new.bin": b"2"})
    assert content(folder) == {"old.bin": OLD}


def test_an_old_file_that_cannot_be_put_back_is_kept(folder, monkeypatch):
    """The only copy is never thrown away."""
    real = os.replace
    moves = []

    def replace(source, target):
        moves.append(target)
        if len(moves) > 1:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        real(source, target)

    monkeypatch.setattr(os, "replace", replace)
    cannot_write({"old.bin": b"1", "new.bin": b"2"})
    assert sorted(content(folder).values()) == [b"1", OLD]
