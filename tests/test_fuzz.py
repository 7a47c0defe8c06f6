"""Sources that chance made or spoiled: whatever they hold, the answer is an image or errors, and never anything else."""

from __future__ import annotations

import random
import re
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path
from types import FrameType

import pytest

import xasm
from tests.expander import Author
from tests.invented import BRANCHES, NOTATIONS, SPACES, chip
from xasm.assembly.directives import DIRECTIVES
from xasm.assembly.limits import Limits
from xasm.building import Choices, build_sources
from xasm.reports.listing import listing
from xasm.source.diagnostics import SourceErrors, render_all
from xasm.source.files import Source
from xasm.target.finding import load_target, table_paths
from xasm.target.model import Target

ROOT = Path(__file__).resolve().parent.parent
EXAMPLE = re.compile(r"^```xasm (\S+)\n(.*?)^```", re.DOTALL | re.MULTILINE)
LIMITS = Limits(lines=1000, depth=100, files=20)
PATIENCE = 60  # seconds for one source; a guard against a run without end, and no measure of speed
CASES = 1500
INVENTED = (chip(BRANCHES), chip(NOTATIONS), chip(SPACES), chip(BRANCHES, order="big"))
WORDS = (
    *DIRECTIVES,
    *"INSTEAD DEFINED EMPTY SAME NOT MOVE OF LOW HIGH MOD STOP BR LD GET WIPE PUT,P".split(),
    *"a b m .x a.x P P' Q data huge a: v {a} {#} a... a=1".split(),
    *"0 1 5 -1 255 256 0x10000 %1 0FFH H'1F' $ 5Q 'a' \"ab\" '' \" ' \\".split(),
    *"+ - * / % << >> < > == != && || ! ~ ? : # @ ( ) [ ] { } , ; = :=".split(),
    *("m MACRO", "b EQU", "v :=", "1 << 500", '"\\x41"', "DEFINED a", "EMPTY {a}", "REPT 3, a", "FIT 16, MOVE", "SECTION a, data"),
)
CHARACTERS = "\t \x0c\xa0\u20ac\u202e\x00\x01\x02\x03\x04\x1b\x7f\ufeff\ud800'\"{}()[]#$%&*+,-./:;<=>?@\\^_`|~aAzZ09\r"


class Base:
    """A source to be spoiled: the chip it is for, its text, the name that messages give it."""

    def __init__(self, target: Target, text: str, path: str) -> None:
        self.target = target
        self.text = text
        self.path = path


@lru_cache(maxsize=1)
def bases() -> list[Base]:
    """All samples, the examples of the page of the language, and a few programs of macros."""
    tables = table_paths()
    found = [
        Base(load_target(path.parent.name), path.read_text("ascii"), str(path))
        for path in sorted((ROOT / "samples").glob("*/*.asm"))
        if path.parent.name in tables
    ]
    examples = EXAMPLE.findall((ROOT / "xasm" / "README.md").read_text("ascii"))
    found += [Base(load_target(name), text, "example.asm") for name, text in examples]
    return found + [Base(INVENTED[0], Author(random.Random(seed)).program(), "macros.asm") for seed in range(20)]


# what chance does


def spoiled(text: str, other: str, choice: random.Random) -> str:
    """A text with one to six changes."""
    for _ in range(choice.randrange(1, 7)):
        lines = text.split("\n")
        row = choice.randrange(len(lines))
        line = lines[row]
        at = choice.randrange(len(line) + 1)
        pick = choice.randrange(11)
        if pick == 0:
            lines[row] = line[:at] + choice.choice(CHARACTERS) + line[at + 1 :]
        elif pick == 1:
            lines[row] = line[:at] + choice.choice(CHARACTERS) + line[at:]
        elif pick == 2:
            lines[row] = line[:at] + line[at + choice.randrange(1, 9) :]
        elif pick in (3, 4):
            words = re.split(r"(\s+|,)", line)
            words[choice.randrange(len(words))] = choice.choice(WORDS)
            lines[row] = "".join(words)
        elif pick == 5:
            lines[row] = f"{line[:at]} {choice.choice(WORDS)} {line[at:]}"
        elif pick == 6:
            del lines[row : row + choice.randrange(1, 4)]
        elif pick == 7:
            last = choice.randrange(len(lines))
            lines[row], lines[last] = lines[last], line
        elif pick == 8:
            rows = other.split("\n")
            first = choice.randrange(len(rows))
            lines[row:row] = rows[first : first + choice.randrange(1, 12)]
        elif pick == 9:
            lines[row:row] = [f" {soup(choice)}"]
        else:
            lines[row : row + 2] = ["".join(lines[row : row + 2])]
        text = "\n".join(lines)
    return text


def soup(choice: random.Random) -> str:
    return choice.choice(("", " ")).join(choice.choice(WORDS) for _ in range(choice.randrange(1, 7)))


def sources(count: int) -> Iterator[tuple[Target, str, str]]:
    """Chip, text and name of every case: two of three are spoiled, the others made of words."""
    for seed in range(count):
        choice = random.Random(seed)
        base, other = choice.choice(bases()), choice.choice(bases())
        if seed % 3:
            yield base.target, spoiled(base.text, other.text, choice), base.path
        else:
            lines = [choice.choice(("", " ", "a ", "b: ", " ")) + soup(choice) for _ in range(choice.randrange(1, 25))]
            yield choice.choice((*INVENTED, base.target)), "\n".join(lines), "soup.asm"


# what becomes of it


class TooLong(BaseException):
    """A run did not end."""


@contextmanager
def patience(seconds: float) -> Iterator[None]:
    """Raises TooLong when what is done inside has not ended by then."""

    def stop(signal_number: int, frame: FrameType | None) -> None:
        raise TooLong

    before = signal.signal(signal.SIGALRM, stop)
    signal.setitimer(signal.ITIMER_REAL, seconds, 0.1)  # again and again: one raised in a finalizer is lost
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def outcome(target: Target, text: str, path: str) -> str:
    """What becomes of a source, in a word: image or errors. Raises what nobody should see."""
    try:
        linked = build_sources([Source(path, text)], Choices(target, limits=LIMITS))
    except SourceErrors as found:
        assert found.diagnostics
        for one in found.diagnostics:
            assert one.severity == "error" and one.message and (one.line > 0) == (one.column > 0)
            assert one.column <= len(one.excerpt) + 1, one
        assert render_all(found.diagnostics).isprintable() or "\n" in render_all(found.diagnostics)
        return "errors"
    assert listing(linked).count("\n") >= text.count("\n")
    return "image"


def test_only_errors_come_out() -> None:
    seen = {"image": 0, "errors": 0}
    for number, (target, text, path) in enumerate(sources(CASES)):
        try:
            with patience(PATIENCE):
                seen[outcome(target, text, path)] += 1
        except Exception as error:
            raise AssertionError(f"case {number} for {target.name}: {error!r}\n{text}") from error
    assert seen["image"] > CASES // 20 and seen["errors"] > CASES // 2


def test_the_samples_and_examples_are_no_errors_themselves() -> None:
    assert len(bases()) > 20
    for base in bases():
        if base.path == "macros.asm":  # some of those are longer than the limits here
            continue
        if base.path == "example.asm" and re.search(r"INCLUDE|EMBED", base.text):  # needs a file of its page
            continue
        assert outcome(base.target, base.text, base.path) == "image", base.path


def test_what_nobody_should_see_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(assembler: object, call: object) -> None:
        raise IndexError

    monkeypatch.setitem(DIRECTIVES, "DS", DIRECTIVES["DS"]._replace(run=fails))
    with pytest.raises(AssertionError, match="IndexError"):
        test_only_errors_come_out()
    with pytest.raises(TooLong), patience(0.01):
        xasm.assemble(" REPT 190000\n STOP\n ENDM\n", INVENTED[0])
