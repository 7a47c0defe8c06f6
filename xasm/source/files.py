"""Source files as lines, and places in them.

A place is a plain tuple `(source, line, column)`: line and column count from 1. Tuples, because a
program of 100,000 lines makes 100,000 of them and almost none is ever shown.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from xasm.source.diagnostics import Fault

Place = tuple["Source", int, int]

CONTROL = re.compile(r"[\x00-\x08\x0e-\x1f\x7f]")
LONGEST_FILE = 64 * 1024 * 1024  # bytes; more is not a program for a chip with a 16-bit address bus


class Source:
    """One text with the name it is shown by.

    `lines` is a list of strings without line ends; a byte-order mark in front is no part of them. The first of them is line
    `first`. `parent` is the place that brought this text in (an INCLUDE statement, a macro call), None for a file of the
    command line; `role` says how, in front of that place.
    """

    __slots__ = ("first", "lines", "parent", "path", "role")

    def __init__(self, path: str, text: str, parent: Place | None = None, role: str = "included from") -> None:
        self.path = path
        self.first = 1
        self.lines: Sequence[str] = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n").split("\n")
        self.parent = parent
        self.role = role

    @classmethod
    def of_lines(cls, path: str, lines: Sequence[str], first: int, parent: Place, role: str) -> Source:
        """A part of a source, or lines made out of it, whose first line bears the number `first`."""
        source = cls(path, "", parent, role)
        source.lines = lines
        source.first = first
        return source

    @property
    def is_made(self) -> bool:
        """Whether a macro or a repeat made these lines; then `parent` is where it is used."""
        return self.parent is not None and self.role.startswith("in ")

    def control(self) -> Place | None:
        """The place of the first control character that no text file has, or None."""
        for number, text in enumerate(self.lines, 1):
            if not text.isprintable():
                match = CONTROL.search(text)
                if match:
                    return (self, number, match.start() + 1)
        return None

    def line(self, number: int) -> str:
        """The text of line `number`, empty beyond the end."""
        index = number - self.first
        return self.lines[index] if 0 <= index < len(self.lines) else ""

    def chain(self) -> list[Place]:
        """The places that brought this text in, innermost first."""
        places = []
        parent = self.parent
        while parent is not None:
            places.append(parent)
            parent = parent[0].parent
        return places


def read_bytes(path: Path, shown: str, longest: int = LONGEST_FILE) -> bytes:
    """The content of a file; raises Fault when it cannot be read (its place is unknown then) or is longer than `longest`
    bytes (its place is the file)."""
    try:
        with path.open("rb") as file:
            data = file.read(longest + 1)
    except OSError as error:
        raise Fault("cannot_read", path=shown, why=reason(error)) from None
    except ValueError as error:
        raise Fault("cannot_read", path=shown, why=str(error)) from None
    if len(data) > longest:
        raise Fault("file_too_long", place=whole(shown), limit=longest)
    return data


def read_source(path: Path, shown: str, parent: Place | None = None) -> Source:
    """Reads a source file as UTF-8; raises Fault when it cannot be read or is not text (its place is the byte)."""
    data = read_bytes(path, shown)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        # what precedes the byte is text, and says in which line the byte stands
        before = Source(shown, error.object[: error.start].decode())
        source = Source(shown, error.object.decode(errors="replace").replace("\ufffd", "?"), parent)
        place = (source, len(before.lines), len(before.lines[-1]) + 1)
        raise Fault("not_text", place=place, byte=error.object[error.start]) from None
    return Source(shown, text.rstrip("\x1a"), parent)  # old systems padded texts with this character


def whole(shown: str) -> Place:
    """The place of a fault that is one of the whole file."""
    return (Source(shown, ""), 0, 0)


def reason(error: OSError) -> str:
    """What the operating system said, in lower case and without numbers or paths."""
    return (error.strerror or type(error).__name__).lower()
