"""Writes what the commands of a page print into the page: `python -m tests.fill_pages README.md ...`. Read the change."""

from __future__ import annotations

import re
import shutil
import sys
import tempfile
from pathlib import Path

from tests.test_pages import FENCE, ROOT, commands, run


def filled(page: str, folder: Path) -> str:
    shutil.copytree(ROOT / "samples", folder / "samples", dirs_exist_ok=True)

    def play(match: re.Match[str]) -> str:
        language, name, text = match.groups()
        if name:
            (folder / name).write_text(text, "utf-8")
        if language != "console":
            return match[0]
        return "```console\n" + "".join(f"$ {command}\n{run(command, folder)}" for command, _ in commands(text)) + "```"

    return FENCE.sub(play, page)


for path in map(Path, sys.argv[1:]):
    with tempfile.TemporaryDirectory() as folder:
        path.write_text(filled(path.read_text("utf-8"), Path(folder)), "utf-8")
