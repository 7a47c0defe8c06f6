"""The shipped book values."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from xasm.source.diagnostics import Report
from xasm.source.files import read_source
from xasm.target.bookvalues import Book, read_book

FOLDER = Path(__file__).parent / "book"
FEWEST = 200  # values of one chip: fewer, and the file was not read whole


@lru_cache(maxsize=64)
def book(name: str) -> Book:
    """The book values of a table; a table without them fails here."""
    path = FOLDER / f"{name}.txt"
    assert path.is_file(), f"table '{name}' has no book values: {path.name} is missing"
    report = Report()
    found = read_book(read_source(path, path.name), report)
    report.stop()
    assert len(found.values) >= FEWEST
    return found
