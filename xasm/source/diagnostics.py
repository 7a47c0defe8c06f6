"""Errors as data: faults on the way up, diagnostics when they have found their line.

A stage raises `Fault` where something is wrong; whoever knows the line turns it into a `Diagnostic` in
its `Report` and goes on, so that one run shows all errors. `Report.stop` raises `SourceErrors`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

from xasm.source.messages import message

if TYPE_CHECKING:
    from xasm.source.files import Place, Source

MARK = "\x01"  # in names that the assembler made; no source can hold it
MOST_FOUND = 1000  # diagnostics in one run; then a stage stops looking
MOST_SHOWN = 100  # diagnostics printed in full; the rest is counted
WIDEST = 160  # columns of a source line shown around the caret
LONGEST_CHAIN = 8  # places shown that brought a line in
LONGEST_ROW = 1000  # characters of a message, or of a hint, as printed


class Fault(Exception):
    """Something is wrong at a span of the text being read.

    `code` names an entry of the catalogue of messages, `values` fill it. `start` and `end` are offsets in
    characters into the operand text at hand (None: the whole statement). `hint` is one more line of help.
    `place` is set where the fault belongs to another line than the one at hand.
    """

    def __init__(
        self,
        code: str,
        start: int | None = None,
        end: int | None = None,
        hint: str | None = None,
        place: Place | None = None,
        **values: Any,
    ) -> None:
        super().__init__(code)
        self.code = code
        self.start = start
        self.end = end
        self.hint = hint
        self.place = place
        self.values = values

    @property
    def text(self) -> str:
        return message(self.code, self.values)

    def __str__(self) -> str:
        return self.text


class Diagnostic(NamedTuple):
    """One message for a person.

    path, line and column (both from 1; 0 where the message is about no line), severity ("error" or
    "warning"), message (one line), hint (or None), excerpt (the source line), length (characters under the
    caret), chain (places from the innermost outward that brought this line in: INCLUDE, for one), code (the entry of
    the catalogue of messages).
    """

    path: str
    line: int
    column: int
    severity: str
    message: str
    hint: str | None = None
    excerpt: str = ""
    length: int = 1
    chain: tuple[str, ...] = ()
    code: str = ""

    def render(self) -> str:
        """The message as printed: place, text, source line, caret, hint, chain; no end of line."""
        path = printable(self.path)
        where = f"{path}:{self.line}:{self.column}: " if self.line else f"{path}: " if path else ""
        rows = [where + printable(f"{self.severity}: {self.message}")]
        if self.line and self.excerpt:
            rows += self._picture()
        if self.hint:
            rows.append(f"    {printable(self.hint)}")
        chain = list(self.chain)
        if len(chain) > LONGEST_CHAIN:
            chain[LONGEST_CHAIN // 2 : 1 - LONGEST_CHAIN // 2] = [f"... {len(chain) - LONGEST_CHAIN + 1} more ..."]
        rows += [f"    {printable(step)}" for step in chain]
        return "\n".join(rows)

    def _picture(self) -> list[str]:
        column = self.column - 1
        first = max(0, column - WIDEST // 2)
        shown = self.excerpt[first : first + WIDEST]
        before = "".join("\t" if character == "\t" else " " for character in shown[: column - first])
        length = max(1, min(self.length, len(shown) - (column - first)))
        excerpt = "".join(character if character.isprintable() or character == "\t" else "?" for character in shown)
        return ["    " + excerpt.rstrip(), "    " + before + "^" * length]


def printable(text: str) -> str:
    """A text as it can be shown: what has no picture of its own is written as an escape, and what goes on and on is cut."""
    if len(text) > LONGEST_ROW:
        text = f"{text[:LONGEST_ROW]}..."
    if text.isprintable():
        return text
    return "".join(one if one.isprintable() else one.encode("unicode_escape").decode() for one in text)


class SourceErrors(Exception):
    """The input has errors. `diagnostics` is the list of all of them, sorted by place."""

    def __init__(self, diagnostics: list[Diagnostic]) -> None:
        super().__init__(diagnostics)
        self.diagnostics = diagnostics

    def __str__(self) -> str:
        return "\n".join(diagnostic.render() for diagnostic in self.diagnostics)


def at(
    place: Place,
    code: str,
    values: Mapping[str, Any],
    start: int = 0,
    length: int = 1,
    hint: str | None = None,
    severity: str = "error",
) -> Diagnostic:
    """A diagnostic `start` characters right of a place."""
    source, line, column = place
    text = message(code, values)
    excerpt = source.line(line)
    if MARK in excerpt:
        # names that LOCAL made new are shown as they were written
        begin = column - 1 + start
        start -= begin - len(unmarked(excerpt[:begin]))
        length = len(unmarked(excerpt[begin : begin + length])) or 1
        excerpt = unmarked(excerpt)
        text = unmarked(text)
    return Diagnostic(source.path, line, column + start, severity, text, hint, excerpt, length, steps(source), code)


def unmarked(text: str) -> str:
    """A text without the marks of names that LOCAL made new."""
    return re.sub(MARK + "[0-9]+", "", text)


def where(place: Place) -> str:
    """`file:line`, as lists name a place."""
    return f"{place[0].path}:{place[1]}"


def elsewhere(place: Place, here: Place) -> str:
    """A place as a message about `here` names it. Where both are one line, of a macro for one, it is told what brought in
    the other."""
    differing = (one for one, other in zip(steps(place[0]), steps(here[0]), strict=False) if one != other)
    step = next(differing, "") if where(place) == where(here) else ""
    return f"{where(place)} ({step})" if step else where(place)


def steps(source: Source) -> tuple[str, ...]:
    """How a text was brought in, innermost first."""
    parents = source.chain()
    roles = [source.role, *(parent[0].role for parent in parents)]
    return tuple(f"{role} {where(parent)}" for role, parent in zip(roles, parents, strict=False))


class Report:
    """Collects diagnostics. The files are ranked in the order in which they were first read."""

    def __init__(self) -> None:
        self._found: dict[Diagnostic, None] = {}
        self._ranks: dict[str, int] = {}

    def reads(self, source: Source) -> None:
        """Says that a file is being read; the others come behind those that were."""
        self._ranks.setdefault(source.path, len(self._ranks))

    @property
    def diagnostics(self) -> list[Diagnostic]:
        """All so far, each once, in the order in which they were found."""
        return list(self._found)

    @property
    def full(self) -> bool:
        """Whether so much is wrong that looking for more helps nobody."""
        return len(self._found) >= MOST_FOUND

    def add(self, diagnostic: Diagnostic) -> None:
        self._found[diagnostic] = None

    def fault(self, fault: Fault, place: Place, offset: int = 0, length: int = 1) -> None:
        """Adds a fault found in the statement at `place`, whose operands begin `offset` characters further
        right; `length` is that of the statement's first word, marked when the fault names no span."""
        if fault.place is not None:
            place, offset = fault.place, 0
        if fault.start is None:
            start = 0
        else:
            start = offset + fault.start
            length = (fault.end or fault.start + 1) - fault.start
        self.add(at(place, fault.code, fault.values, start, length, fault.hint))

    def lost(self, fault: Fault) -> None:
        """Adds a fault that belongs to no statement."""
        if fault.place is not None:
            self.fault(fault, fault.place)
        else:
            self.add(Diagnostic("", 0, 0, "error", fault.text, fault.hint, code=fault.code))

    @property
    def failed(self) -> bool:
        return any(diagnostic.severity == "error" for diagnostic in self._found)

    def stop(self) -> None:
        """Raises SourceErrors when there was an error."""
        if self.failed:
            raise SourceErrors(self.sorted())

    def sorted(self) -> list[Diagnostic]:
        ranks = dict(self._ranks)
        for diagnostic in self._found:
            ranks.setdefault(diagnostic.path, len(ranks))
        return sorted(self._found, key=lambda one: (ranks[one.path], one.line, one.column))


def render_all(diagnostics: Iterable[Diagnostic]) -> str:
    """All messages as printed on standard error, the first hundred in full."""
    found = list(diagnostics)
    rows = [diagnostic.render() for diagnostic in found[:MOST_SHOWN]]
    if len(found) > MOST_SHOWN:
        rows.append(f"... and {len(found) - MOST_SHOWN} more")
    return "\n".join(rows)
