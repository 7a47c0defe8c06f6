"""Writes what is shown into the data files: `python -m tests.messages`, or with the names of files. Read the change.

What stands under `says` and `prints` is replaced, and nothing else.
"""

from __future__ import annotations

import re
import sys
import tempfile
from pathlib import Path

from tests.messages import FOLDER, MARKED, Case, Shown, read

ELSEWHERE = [FOLDER.parent / "cli", FOLDER.parent / "charts"]
BEGIN = re.compile(r"^(?=== )", re.MULTILINE)
ANSWER = re.compile(r"^-- (?:says, exit|prints).*", re.MULTILINE | re.DOTALL)


def filled(text: str, name: str) -> str:
    """A data file with the answers of now."""
    return "\n".join(f"{ANSWER.sub('', block).rstrip()}\n{answer(*read(block, name))}" for block in BEGIN.split(text) if block)


def answer(case: Case) -> str:
    with tempfile.TemporaryDirectory() as folder:
        shown = Shown(case, Path(folder))
    heading = f"says, exit {shown.exit}"
    return section(heading, shown.says) + (section("prints", shown.prints) if shown.prints else "")


def section(heading: str, text: str) -> str:
    """A text under its heading; with marks where something in it cannot stand in the file as it is."""
    plain = text.isascii() and "\t" not in text
    shown = "".join(one if one.isascii() and one != "\t" else "".join(f"\\x{byte:02X}" for byte in one.encode()) for one in text)
    return f"-- {heading}{'' if plain else MARKED}\n{shown}"


def main() -> None:
    paths = [Path(name) for name in sys.argv[1:]] or sorted(
        [*FOLDER.glob("*.txt"), *(path for folder in ELSEWHERE for path in folder.glob("*.txt"))]
    )
    for path in paths:
        path.write_text(filled(path.read_text("ascii"), path.name))


if __name__ == "__main__":
    main()
