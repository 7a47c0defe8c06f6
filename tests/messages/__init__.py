"""Cases of messages, as data: what a person types, and every character that is shown in answer.

A file `*.txt` here holds cases one after the other:

    == code: title                     a case that must meet this entry of the catalogue (further ones: `code, code: title`)
    $ xasm build prog.asm -t NAME      what is typed; without this line `xasm build prog.asm`
    -- prog.asm                        a file, down to the next line that begins with `-- ` or `== `; empty lines at its end do not count
    -- says                            what is shown on standard error
    -- prints                          what is shown on standard output, where something is

In the text of a file whose name is followed by `(with marks)`, `{3*ab}` stands for `ababab`, `{n}` for the file's number,
`{n+1}` for the next one, and `\\xFF` for that byte. A name with `{1..50}` in it makes as many files, each with its number.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path

FOLDER = Path(__file__).resolve().parent
TITLE = re.compile(r"== ([a-z_]+(?:, [a-z_]+)*): (.+)")
MANY = re.compile(r"(.*)\{1\.\.(\d+)\}(.*)")
MARK = re.compile(rb"\{(\d+)\*([^}]*)\}|\{n(\+1)?\}|\\x([0-9A-F]{2})")
MARKED = " (with marks)"


@dataclass
class Case:
    """`codes` are the entries it must meet; `command` the words after `xasm`; `files` names to contents; `says` and `prints`
    what is shown on standard error and on standard output."""

    origin: str
    codes: list[str]
    title: str
    command: list[str] = field(default_factory=lambda: ["build", "prog.asm"])
    files: dict[str, bytes] = field(default_factory=dict)
    says: str = ""
    prints: str = ""

    def __str__(self) -> str:
        return f"{self.origin}: {', '.join(self.codes)}: {self.title}"

    def write(self, folder: Path) -> None:
        """Puts the files into a folder."""
        for name, content in self.files.items():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_bytes(content)


def cases() -> list[Case]:
    """All cases of all files, in the order of their names."""
    return [case for path in sorted(FOLDER.glob("*.txt")) for case in read(path.read_text("ascii"), path.stem)]


def read(text: str, origin: str) -> list[Case]:
    """The cases of one text."""
    found: list[Case] = []
    name = ""
    lines: list[str] = []
    for number, line in enumerate([*text.split("\n"), "== end: end"], 1):
        if not line.startswith(("== ", "$ ", "-- ")):
            if name:
                lines.append(line)
            elif line:
                raise ValueError(f"{origin}, line {number}: '{line}' belongs to nothing")
            continue
        if name:
            close(found[-1], name, "\n".join(lines).rstrip("\n"))
            name, lines = "", []
        if line.startswith("== "):
            match = TITLE.fullmatch(line)
            if match is None:
                raise ValueError(f"{origin}, line {number}: '{line}' is no title")
            found.append(Case(origin, match[1].split(", "), match[2]))
        elif line.startswith("$ xasm "):
            found[-1].command = line[len("$ xasm ") :].split()
        else:
            name = line[3:]
    return found[:-1]


def close(case: Case, name: str, content: str) -> None:
    """Adds what stood under `-- name` to a case."""
    if name == "says":
        case.says = content
    elif name == "prints":
        case.prints = content
    else:
        text = f"{content}\n".encode("ascii") if content else b""
        marked = name.endswith(MARKED)
        name = name.removesuffix(MARKED)
        many = MANY.fullmatch(name)
        for index in range(1, int(many[2]) + 1 if many else 2):
            path = f"{many[1]}{index}{many[3]}" if many else name
            case.files[path] = marks(text, index) if marked else text


def marks(text: bytes, index: int) -> bytes:
    """A text with its marks replaced by what they stand for."""

    def meant(match: re.Match[bytes]) -> bytes:
        count, repeated, further, byte = match.groups()
        if count:
            return repeated * int(count)
        if byte:
            return bytes([int(byte, 16)])
        return str(index + bool(further)).encode()

    return MARK.sub(meant, text)
