"""Finding tables by name: the ones that come with xasm."""

from __future__ import annotations

import re
from difflib import get_close_matches
from functools import lru_cache
from pathlib import Path

from xasm.source.diagnostics import Fault, Report
from xasm.source.files import Source, read_source
from xasm.target.loader import read_target
from xasm.target.model import Target

PACKAGE = Path(__file__).resolve().parent.parent
# In a wheel the tables lie in the package, in a checkout beside it.
FOLDERS = (PACKAGE / "tables", PACKAGE.parent / "targets")
ALSO = re.compile(r"^also:\s*\[(.*)\]", re.MULTILINE)


def table_paths() -> dict[str, Path]:
    """The shipped tables: name (the file's, in small letters) to file, sorted by name."""
    folder = next((folder for folder in FOLDERS if folder.is_dir()), FOLDERS[0])
    return {path.stem.lower(): path for path in sorted(folder.glob("*.yaml"))}


def find_table(name: str) -> Path:
    """The table of a chip by its name or another name of it; raises Fault with the nearest names."""
    paths = table_paths()
    wanted = name.lower()
    if wanted in paths:
        return paths[wanted]
    other_names = {other: path for path in paths.values() for other in also(path)}
    if wanted in other_names:
        return other_names[wanted]
    near = get_close_matches(wanted, [*paths, *other_names], n=3, cutoff=0.5)
    known = ", ".join(paths)
    hint = f"did you mean {' or '.join(near)}? " if near else ""
    raise Fault("unknown_target", hint=f"{hint}there are: {known}", name=name)


def also(path: Path) -> list[str]:
    """The other names in a table's head, without loading the table."""
    match = ALSO.search(path.read_text("utf-8"))
    return [name.strip(" \"'").lower() for name in match[1].split(",")] if match else []


def table_source(name: str) -> Source:
    """The text of the table of that chip; raises Fault when there is none."""
    path = find_table(name)
    return read_source(path, path.name)


def load_target(name: str, undocumented: bool = False) -> Target:
    """The chip of that name, with its undocumented forms if wanted: the same object each time, whichever of its names is
    used. Raises Fault when there is none, SourceErrors when its table has mistakes."""
    return _loaded(find_table(name), undocumented)


@lru_cache(maxsize=64)
def _loaded(path: Path, undocumented: bool) -> Target:
    if undocumented:
        return _loaded(path, False).with_undocumented()
    return read_target(read_source(path, path.name), Report(), table_source)
