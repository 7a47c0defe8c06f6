"""The pages tell the truth: their files are written, their commands run, their outputs compared.

In a page, a fenced block whose first line names a file after the language (```asm first.asm) is that file. A ```console
block holds commands after `$ ` and what they print. A ```python block is run. Blocks of one page share a folder.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

from xasm.assembly.directives import DIRECTIVES
from xasm.building import Choices, build_sources
from xasm.source.files import Source
from xasm.syntax.expressions import BINARY, UNARY, WORDS

ROOT = Path(__file__).resolve().parent.parent
PAGES = [
    path for path in ("README.md", "DEVELOPERS.md", "xasm/README.md", "targets/README.md", "samples/README.md") if (ROOT / path).exists()
]
FENCE = re.compile(r"^```(\w+)(?: +(\S+))?\n(.*?)^```$", re.MULTILINE | re.DOTALL)


class Block(NamedTuple):
    language: str
    name: str
    text: str


def blocks(page: str) -> list[Block]:
    return [Block(match[1], match[2] or "", match[3]) for match in FENCE.finditer(page)]


def commands(text: str) -> Iterator[tuple[str, str]]:
    """The commands of a console block, each with the output that the page shows."""
    for part in re.split(r"^\$ ", text, flags=re.MULTILINE)[1:]:
        command, _, output = part.partition("\n")
        yield command, output


def run(command: str, folder: Path) -> str:
    """What a command prints, standard output and error together. `xasm` is this checkout's."""
    shim = folder / ".bin"
    shim.mkdir(exist_ok=True)
    (shim / "xasm").write_text(f'#!/bin/sh\nexec "{sys.executable}" -m xasm "$@"\n')
    (shim / "xasm").chmod(0o755)
    path = os.pathsep.join([str(shim), str(Path(sys.executable).parent), os.environ["PATH"]])
    environment = {**os.environ, "PATH": path, "PYTHONPATH": str(ROOT), "COLUMNS": "80", "LC_ALL": "C.UTF-8"}
    done = subprocess.run(
        ["sh", "-c", command],
        cwd=folder,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
        timeout=120,
    )
    return done.stdout


def play(page: str, folder: Path) -> list[str]:
    """Plays a page in a folder; returns what differs."""
    shutil.copytree(ROOT / "samples", folder / "samples", dirs_exist_ok=True)
    wrong = []
    for block in blocks(page):
        if block.language == "console":
            for command, output in commands(block.text):
                printed = run(command, folder)
                if printed != output:
                    wrong.append(f"$ {command}\n-- the page says:\n{output}-- it prints:\n{printed}")
        elif block.language == "python":
            printed = run(f"{sys.executable} - <<'END'\n{block.text}END\n", folder)
            if printed:
                wrong.append(f"{block.text}-- it prints:\n{printed}")
        elif block.language == "xasm":
            wrong += example(block, folder)
        elif block.name:
            (folder / block.name).write_text(block.text, "utf-8")
    return wrong


def example(block: Block, folder: Path) -> list[str]:
    """What differs in an ```xasm TARGET block, whose lines say behind `; ->` what they make."""
    linked = build_sources([Source(str(folder / "example"), block.text)], Choices(block.name))
    made: dict[int, list[int]] = {}
    for entry, words in zip(linked.program.entries, linked.words, strict=True):
        source, number, _ = entry.place
        while source.parent is not None:  # what a macro brought belongs to the line that uses it
            source, number, _ = source.parent
        made.setdefault(number, []).extend(words)
    wrong = []
    for number, line in enumerate(block.text.split("\n"), 1):
        told = line.partition("; ->")[2].strip()
        shown = " ".join(linked.image.target.hex_word(word) for word in made.get(number, []))
        if told != shown:
            wrong.append(f"{line}\n-- it makes: {shown}")
    return wrong


@pytest.mark.parametrize("page", PAGES)
def test_page(page: str, tmp_path: Path) -> None:
    wrong = play((ROOT / page).read_text("utf-8"), tmp_path)
    assert not wrong, "\n\n".join(wrong)


def test_the_first_page_has_commands() -> None:
    shown = [block.language for block in blocks((ROOT / "README.md").read_text("utf-8"))]
    assert shown.count("console") >= 4
    assert "python" in shown


def test_the_language_page_shows_every_directive_and_operator() -> None:
    shown = "\n".join(block.text for block in blocks((ROOT / "xasm/README.md").read_text("utf-8")) if block.language == "xasm")
    code = re.sub(r";.*", "", shown)
    assert len(code) > 2000
    words = set(re.findall(r"[A-Z]+|:=", code))
    assert {word for word in (*DIRECTIVES, *WORDS, "OF", "DEFINED", "EMPTY", "SAME") if word not in words} == set()
    signs = set(re.findall(r"&&|\|\||<<|>>|<=|>=|==|!=|:=|[^\sA-Za-z0-9_]", code))
    assert {sign for sign in (*UNARY, *BINARY, "&&", "||", "?", "#", "@", "'", "$", "%") if sign not in signs} == set()


def test_a_page_that_lies_is_noticed(tmp_path: Path) -> None:
    assert play("```console\n$ echo yes\nno\n```\n", tmp_path)
    assert play("```xasm 6502\n DB 1 ; -> 02\n```\n", tmp_path)
    assert not play("```xasm 6502\n DB 1 ; -> 01\n```\n", tmp_path)
    assert play("```python\nassert 1 == 2\n```\n", tmp_path)
    assert not play("```asm a.txt\nhere\n```\n\n```console\n$ cat a.txt\nhere\n```\n", tmp_path)


def test_local_links_lead_somewhere() -> None:
    seen = 0
    for page in PAGES:
        for link in re.findall(r"\]\(([^)#]+)\)", (ROOT / page).read_text("utf-8")):
            if "://" not in link:
                assert ((ROOT / page).parent / link).exists(), (page, link)
                seen += 1
    assert seen >= 4
