"""Cases of messages, as data: what a person types, and every character that is shown in answer.

A file `*.txt` here holds cases one after the other:

    == code: title                     a case that must meet this entry of the catalogue, or several: `code, code: title`
    $ xasm build prog.asm -t NAME      what is typed; without this line `xasm build prog.asm`
    -- prog.asm                        a file; it ends before the next line that begins with `-- ` or `== `
    -- says, exit 1                    what is shown on standard error, and the exit code
    -- prints                          what is shown on standard output, where something is

Files under targets/ are all the chips that there are in such a case. Empty lines at the end of a text do not count. Behind a
heading `(with marks)` says that in the text `{3*ab}` stands for `ababab`, `{n}` for the file's number, `{n+1}` for the next
one, and `\\xFF` for that byte. A name with `{1..50}` in it makes as many files, each with its number.

`python -m tests.messages` writes what is shown now into all files; the change is to be read.
"""

from __future__ import annotations

import os
import re
import shlex
import sys
from collections.abc import Mapping
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from io import BytesIO, TextIOWrapper
from pathlib import Path
from typing import Any

from xasm.cli.main import main
from xasm.source import diagnostics
from xasm.source.messages import message
from xasm.target import finding

FOLDER = Path(__file__).resolve().parent
TITLE = re.compile(r"== ([a-z_]+(?:, [a-z_]+)*): (.+)")
SAYS = re.compile(r"says, exit (\d)")
MANY = re.compile(r"(.*)\{1\.\.(\d+)\}(.*)")
MARK = re.compile(rb"\{(\d+)\*([^}]*)\}|\{n(\+1)?\}|\\x([0-9A-F]{2})")
MARKED = " (with marks)"


@dataclass
class Case:
    """`origin` is file and line, `codes` the entries that the case must meet, `command` the words after `xasm`; `files` maps
    names to contents; `says` and `prints` are what is shown on standard error and on standard output."""

    origin: str
    codes: list[str]
    title: str
    command: list[str] = field(default_factory=lambda: ["build", "prog.asm"])
    files: dict[str, bytes] = field(default_factory=dict)
    says: str | None = None
    prints: str = ""
    exit: int = -1

    def write(self, folder: Path) -> None:
        """Puts the files into a folder."""
        for name, content in self.files.items():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_bytes(content)

    def add(self, heading: str, content: str) -> None:
        """Takes what stands under `-- heading`; raises ValueError when there is such a text already."""
        data = f"{content}\n".encode("ascii") if content else b""
        name = heading.removesuffix(MARKED)
        marked = name != heading
        says = SAYS.fullmatch(name)
        if says and self.says is None:
            self.says, self.exit = (marks(data) if marked else data).decode(), int(says[1])
        elif name == "prints" and not self.prints:
            self.prints = (marks(data) if marked else data).decode()
        elif name in self.files or says or name == "prints":
            raise ValueError(f"{self.origin}: '{name}' is there twice")
        else:
            many = MANY.fullmatch(name)
            for index in range(1, int(many[2]) + 1 if many else 2):
                path = f"{many[1]}{index}{many[3]}" if many else name
                self.files[path] = marks(data, index) if marked else data


class Shown:
    """What a case shows when it is run in a folder of its own: exit code, both streams, and the entries that were met."""

    def __init__(self, case: Case, folder: Path) -> None:
        self.met: set[str] = set()
        case.write(folder)
        before = content(folder)
        streams = [TextIOWrapper(BytesIO(), "utf-8", newline="") for _ in range(2)]
        kept = sys.argv, Path.cwd(), diagnostics.message, finding.FOLDERS
        try:
            sys.argv = ["xasm", *case.command]
            os.chdir(folder)
            diagnostics.message = self.message
            if (folder / "targets").is_dir():
                finding.FOLDERS = (folder / "targets",)  # what was loaded before stays known
            with redirect_stdout(streams[0]), redirect_stderr(streams[1]):
                self.exit = ended()
        finally:
            sys.argv, place, diagnostics.message, finding.FOLDERS = kept
            os.chdir(place)
        self.prints, self.says = (text_of(stream) for stream in streams)
        self.untouched = content(folder) == before

    def message(self, code: str, values: Mapping[str, Any]) -> str:
        self.met.add(code)
        return message(code, values)


def ended() -> int:
    """Runs the program with what stands in `sys.argv`; the exit code."""
    try:
        main()
    except SystemExit as end:
        return int(end.code or 0)
    return 0


def text_of(stream: TextIOWrapper) -> str:
    stream.flush()
    return stream.buffer.getvalue().decode()  # type: ignore[attr-defined]


def content(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def cases(folder: Path = FOLDER) -> list[Case]:
    """All cases of all files of a folder, in the order of their names."""
    return [case for path in sorted(folder.glob("*.txt")) for case in read(path.read_text("ascii"), path.name)]


def read(text: str, origin: str) -> list[Case]:
    """The cases of one text. Raises ValueError for what is no case."""
    found: list[Case] = []
    heading = ""
    lines: list[str] = []
    for number, line in enumerate([*text.split("\n"), "== end: of the file"], 1):
        if not line.startswith(("== ", "$ ", "-- ")):
            if heading:
                lines.append(line)
            elif line:
                raise ValueError(f"{origin}:{number}: '{line}' belongs to nothing")
            continue
        if heading:
            found[-1].add(heading, "\n".join(lines).rstrip("\n"))
            heading, lines = "", []
        if line.startswith("-- "):
            heading = line[3:]
        elif line.startswith("$ xasm "):
            found[-1].command = shlex.split(line)[2:]
        else:
            match = TITLE.fullmatch(line)
            if match is None:
                raise ValueError(f"{origin}:{number}: '{line}' is no title")
            found.append(Case(f"{origin}:{number}", match[1].split(", "), match[2]))
    return found[:-1]


def marks(text: bytes, index: int = 0) -> bytes:
    """A text with its marks replaced by what they stand for."""

    def meant(match: re.Match[bytes]) -> bytes:
        count, repeated, further, byte = match.groups()
        if count:
            return repeated * int(count)
        return bytes([int(byte, 16)]) if byte else str(index + bool(further)).encode()

    return MARK.sub(meant, text)
