"""The page of the tables is complete: every key, word and kind that the loader knows, and everything that the check says."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path

from xasm.target.finding import VARIABLE
from xasm.target.forms import FLOWS
from xasm.target.habits import DIRECTIVE, HABITS
from xasm.target.kind_loader import KEYS
from xasm.target.kinds import ORIGINS, STOCK
from xasm.target.loader import BOOK, CLOCK, COUNT, EXTENDING, HEAD, SPACE, START
from xasm.target.row_loader import ROW
from xasm.target.symbols import AREA

PAGE = (Path(__file__).resolve().parent.parent / "targets" / "README.md").read_text("utf-8")
REFERENCE = PAGE.partition("\n# Reference\n")[2]
WORDS = {
    "head": [*HEAD, *EXTENDING],
    "inside the head": [*START, *BOOK, *CLOCK, *COUNT, *SPACE, *DIRECTIVE, *AREA],
    "rows": ROW,
    "flows": FLOWS,
    "kinds": STOCK,
    "options": [key for keys in KEYS.values() for key in keys],
    "origins": [*ORIGINS, "zero"],
    "habits": HABITS,
}


def lacking(words: Iterable[str], page: str) -> list[str]:
    """The words that the page does not show as code: in a line of code, in `code`, or in a table of keys."""
    code = "\n".join(re.findall(r"`[^`\n]+`|^    .*$", page, re.MULTILINE)) + "".join(re.findall(r"^```yaml.*?^```", page, re.M | re.S))
    return [word for word in dict.fromkeys(words) if not re.search(rf"(?<![A-Za-z0-9_]){re.escape(word)}(?![A-Za-z0-9_])", code)]


def test_the_reference_shows_every_word_of_a_table() -> None:
    assert len(REFERENCE) > 10_000
    assert {what: lacking(words, REFERENCE) for what, words in WORDS.items() if lacking(words, REFERENCE)} == {}


def test_every_key_and_kind_has_a_row_or_an_example_of_its_own() -> None:
    rows = re.findall(r"^\| (.*?) \|", REFERENCE, re.MULTILINE)
    shown = " ".join(rows)
    assert lacking([*ROW, *FLOWS, *STOCK], shown) == []
    head = re.search(r"^## The head\n(.*?)^## ", REFERENCE, re.M | re.S)
    assert head is not None
    assert lacking([key for key in HEAD if key not in ("kinds", "forms", "extends")], head[1]) == []


def test_the_tutorial_shows_the_whole_way() -> None:
    tutorial = PAGE.partition("\n# Reference\n")[0]
    commands = re.findall(r"^\$ (.*)$", tutorial, re.MULTILINE)
    for words in ("xasm target new", "xasm target check", "--book", "xasm build", "xasm target show", VARIABLE):
        assert any(words in command for command in commands), words
    assert tutorial.count("error:") >= 3 and "warning:" in tutorial


def test_a_word_that_is_not_shown_is_noticed() -> None:
    assert lacking(["asm", "flow"], "| `asm` | the flow |") == ["flow"]
    assert lacking(["taken"], "    - {taken: 3}\n") == []
