"""`--watch`: builds again whenever a file that was read has changed, and shows only what is different."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Sequence
from itertools import islice
from typing import NamedTuple

import click

from xasm.linking.linker import Linked
from xasm.reports.comparing import comparison, differences
from xasm.source.diagnostics import Diagnostic, Fault, Report, SourceErrors

PAUSE = 0.2  # seconds between two looks at the files
MOST_RANGES = 10  # shown of what has changed in the image

Stamps = dict[str, tuple[int, int] | None]


class Outcome(NamedTuple):
    """What a build came to: the program, or None and the mistakes; and the files that it depends on."""

    linked: Linked | None
    mistakes: tuple[Diagnostic, ...]
    read: tuple[str, ...]


def watch(build: Callable[[], tuple[Linked, Sequence[str]]], first: Sequence[str], wait: Callable[[Stamps], bool] | None = None) -> None:
    """Builds, and again after every change, until the user stops it. `build` links and writes, and gives the program and the
    files that were read; `first` are those that the command line names. `wait` returns when a file differs from its
    stamp; False ends the watch."""
    last: Outcome | None = None
    good: Linked | None = None
    try:
        while True:
            stamps = stamps_of(last.read if last else first)
            outcome = attempt(build, last.read if last else tuple(first))
            stamps |= {path: stamp for path, stamp in stamps_of(outcome.read).items() if path not in stamps}
            for line in news(outcome, last, good):
                click.echo(line, err=True)
            last, good = outcome, outcome.linked or good
            if not (wait or waiting)(stamps):
                return
    except KeyboardInterrupt:
        return


def attempt(build: Callable[[], tuple[Linked, Sequence[str]]], known: tuple[str, ...]) -> Outcome:
    """One build. Of one that failed, the files are those of before and those that the mistakes are in."""
    try:
        linked, read = build()
    except SourceErrors as errors:
        found = errors.diagnostics
    except Fault as fault:
        report = Report()
        report.lost(fault)
        found = report.diagnostics
    else:
        return Outcome(linked, (), tuple(read))
    return Outcome(None, tuple(found), tuple(dict.fromkeys((*known, *(one.path for one in found if one.path)))))


def news(outcome: Outcome, last: Outcome | None, good: Linked | None) -> list[str]:
    """The lines to show: mistakes that are new, how many are gone, what has changed in the image since the last good one."""
    before = {same(one) for one in last.mistakes} if last else set()
    lines = [one.render() for one in outcome.mistakes if same(one) not in before]
    gone = len(before - {same(one) for one in outcome.mistakes})
    if gone:
        lines.append(f"{gone} mistake{'s are' if gone > 1 else ' is'} gone")
    if outcome.linked is None:
        left = len(outcome.mistakes)
        return [*lines, f"nothing written: {left} mistake{'s' if left > 1 else ''} left"]
    if good is None:
        return [*lines, "built; waiting for a change (Ctrl-C ends)"]
    image = outcome.linked.image
    found = list(islice(differences(good.image.parts, image.parts), MOST_RANGES + 1))
    lines += comparison(found[:MOST_RANGES], image.target.word, outcome.linked)
    if len(found) > MOST_RANGES:
        lines.append("... and more")
    return [*lines, "built" if found else "built: the image is the same"]


def same(one: Diagnostic) -> tuple[str, str, str]:
    """What makes two messages the same one: not their line, which moves with the text in front of it."""
    return one.path, one.message, one.excerpt


def stamps_of(paths: Sequence[str]) -> Stamps:
    """What tells whether a file has changed: its time and size, None when it is not there."""
    stamps: Stamps = {}
    for path in paths:
        try:
            status = os.stat(path)
            stamps[path] = (status.st_mtime_ns, status.st_size)
        except (OSError, ValueError):
            stamps[path] = None
    return stamps


def waiting(stamps: Stamps) -> bool:
    """Waits for a change, and until nothing changes any more: an editor may write a file in parts."""
    seen = stamps
    while True:
        time.sleep(PAUSE)
        now = stamps_of(list(stamps))
        if now == seen and now != stamps:
            return True
        seen = now
