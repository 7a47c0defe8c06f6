"""Finding tables: those that come with xasm by name, a user's own by path, or by name in folders that hold such.

A folder of own tables is named in the environment variable XASM_TABLES (several, as in PATH) or by whoever calls.
"""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path

from xasm.source.diagnostics import Fault, Report
from xasm.source.files import Source, read_source
from xasm.source.nearest import nearest
from xasm.target.loader import read_target
from xasm.target.model import Target

PACKAGE = Path(__file__).resolve().parent.parent
# In a wheel the tables lie in the package, in a checkout beside it.
FOLDERS = (PACKAGE / "tables", PACKAGE.parent / "targets")
VARIABLE = "XASM_TABLES"
SUFFIXES = (".yaml", ".yml")
MOST_HEAD = 1 << 16  # bytes of a table that are searched for its other names
ALSO = re.compile(r"^also:\s*\[(.*)\]", re.MULTILINE)


def table_paths() -> dict[str, Path]:
    """The shipped tables: name (the file's, in small letters) to file, sorted by name."""
    folder = next((folder for folder in FOLDERS if folder.is_dir()), FOLDERS[0])
    return _in_folder(folder)


def own_folders(more: Sequence[str | Path] = ()) -> list[Path]:
    """The folders of a user's own tables: `more`, then those of the environment. Raises Fault where one is not there."""
    inherited = [folder for folder in os.environ.get(VARIABLE, "").split(os.pathsep) if folder]
    folders = [*map(Path, (*more, *inherited))]
    for index, folder in enumerate(folders):
        if not folder.is_dir():
            hint = f"the environment variable {VARIABLE} names it" if index >= len(more) else None
            raise Fault("no_table_folder", hint=hint, path=str(folder))
    return folders


def known_tables(own: Sequence[str | Path] = ()) -> dict[str, Path]:
    """All tables that have a name: those in the folders `own` and in the environment's, and the shipped ones, sorted by name.
    Of several with one name the first counts, so that a table of one's own can take the place of a shipped one."""
    found = table_paths()
    for folder in reversed(own_folders(own)):
        found |= _in_folder(folder)
    return dict(sorted(found.items()))


def _in_folder(folder: Path) -> dict[str, Path]:
    files = [path for path in folder.iterdir() if path.suffix in SUFFIXES and path.is_file()] if folder.is_dir() else []
    return {path.stem.lower(): path for path in sorted(files, key=lambda path: (path.stem.lower(), path.name))}


def is_path(name: str) -> bool:
    """Whether a chip is named by the path of its table."""
    return name.endswith(SUFFIXES) or "/" in name or os.sep in name


def find_table(name: str, own: Sequence[str | Path] = ()) -> Path:
    """The table of a chip by its path, its name or another name of it; `own` are folders of own tables. Raises Fault with
    the nearest names."""
    paths = known_tables(own)
    if is_path(name):
        return _file(Path(name))
    wanted = name.lower()
    if wanted in paths:
        return paths[wanted]
    other_names = {other: path for path in reversed(paths.values()) for other in also(path)}
    if wanted in other_names:
        return other_names[wanted]
    near = nearest(wanted, [*paths, *other_names], alike=0.5)
    known = ", ".join(paths)
    hint = f"did you mean {' or '.join(near)}? " if near else ""
    if any(Path(name + suffix).is_file() for suffix in SUFFIXES):
        hint = f"did you mean the table {name}.yaml? "
    raise Fault("unknown_target", hint=f"{hint}there are: {known}", name=name)


def also(path: Path) -> list[str]:
    """The other names in a table's head, without loading the table; none where the file cannot be read."""
    try:
        with path.open("rb") as file:
            match = ALSO.search(file.read(MOST_HEAD).decode("utf-8", "replace"))
    except OSError:
        return []
    return [name.strip(" \"'").lower() for name in match[1].split(",")] if match else []


def table_text(path: Path) -> Source:
    """The text of a table; messages name a shipped one by its file's name only. Raises Fault."""
    return read_source(path, path.name if path.parent in FOLDERS else str(path))


def table_source(name: str) -> Source:
    """The text of the table of that chip; raises Fault when there is none."""
    return table_text(find_table(name))


class Bases:
    """Finds what a table extends, one step after another: beside the table that says so, then among all others."""

    def __init__(self, path: Path, own: Sequence[str | Path] = ()) -> None:
        self.path = path
        self.own = own

    def __call__(self, name: str) -> Source:
        """The text of the table that the last one extends by that name. Raises Fault."""
        beside = self.path.parent
        if is_path(name):
            found = _file(beside / name)
        else:
            near = _in_folder(beside).get(name.lower(), self.path)
            # a table may bear the name of the one it extends: that is another file then
            found = near if not _same(near, self.path) else self._elsewhere(name)
        self.path = found
        return table_text(found)

    def _elsewhere(self, name: str) -> Path:
        found = find_table(name, self.own)
        return table_paths().get(name.lower(), found) if _same(found, self.path) else found


def _file(path: Path) -> Path:
    """The file that a path means; the suffix may be left out."""
    return path if path.exists() else next((file for file in map(path.with_suffix, SUFFIXES) if file.exists()), path)


def _same(one: Path, other: Path) -> bool:
    return one.resolve() == other.resolve()


def load_target(name: str, undocumented: bool = False, own: Sequence[str | Path] = ()) -> Target:
    """The chip of that name, or of the table at that path, with its undocumented forms if wanted: the same object each
    time, whichever of its names is used, until its table changes. `own` are folders of own tables. Raises Fault when there is
    none, SourceErrors when its table has mistakes."""
    path = find_table(name, own)
    try:
        state = path.stat()
    except (OSError, ValueError):
        return read_table(path, own)  # raises what there is to say
    return _loaded(path, (state.st_mtime_ns, state.st_size), tuple(own), undocumented)


@lru_cache(maxsize=64)
def _loaded(path: Path, stamp: tuple[int, int], own: tuple[str | Path, ...], undocumented: bool) -> Target:
    """`stamp` tells one state of the file from another."""
    if undocumented:
        return _loaded(path, stamp, own, False).with_undocumented()
    return read_table(path, own)


def read_table(path: Path, own: Sequence[str | Path] = (), report: Report | None = None) -> Target:
    """The chip of a table as the file is now. Raises Fault when it cannot be read, SourceErrors (through the report) when it
    has mistakes."""
    return read_target(table_text(path), report or Report(), Bases(path, own))
