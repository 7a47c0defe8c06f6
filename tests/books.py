"""The shipped book values."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from xasm.source.diagnostics import Report
from xasm.source.files import read_source
from xasm.target.bookvalues import Book, read_book

FOLDER = Path(__file__).parent / "book"
UNLISTED = FOLDER / "undocumented"
FEWEST = 200  # values of one chip: fewer, and the file was not read whole


@lru_cache(maxsize=64)
def book(name: str) -> Book:
    """The book values of a table; a table without them fails here."""
    found = _read(FOLDER / f"{name}.txt", f"table '{name}' has no book values")
    assert len(found.values) >= FEWEST
    return found


@lru_cache(maxsize=64)
def unlisted(name: str) -> Book:
    """The values of a table's undocumented rows; a table without them fails here."""
    found = _read(UNLISTED / f"{name}.txt", f"table '{name}' has no values of its undocumented rows")
    assert found.undocumented
    return found


def books(name: str) -> list[Book]:
    """All values of a table."""
    return [book(name), *([unlisted(name)] if (UNLISTED / f"{name}.txt").is_file() else [])]


def _read(path: Path, otherwise: str) -> Book:
    assert path.is_file(), f"{otherwise}: {path.name} is missing"
    report = Report()
    found = read_book(read_source(path, path.name), report)
    report.stop()
    return found
