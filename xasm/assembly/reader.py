"""Reads sources line by line: what is skipped, what is kept for a macro, what a line brings in.

The reader knows lines, the assembler statements. A line that was assembled before costs one look-up here.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from xasm.assembly.limits import Limits
from xasm.assembly.macros import BLOCK, Macro, bind, expanded, substituted
from xasm.assembly.module import Entry
from xasm.assembly.parsing import label_unwanted
from xasm.source.diagnostics import Fault
from xasm.source.files import Place, Source, read_bytes, read_source
from xasm.syntax.lines import OPERATION, Line, read_lines

if TYPE_CHECKING:
    from xasm.assembly.assembler import Assembler, Call

Diversion = Callable[[Line, Source], None]
USUAL_LINE = 256  # characters
FRAMES = 8  # of Python for each macro, repeat or file that is being read
MORE_FRAMES = 2000  # for whoever called us, and for an expression as deep as can be


class Condition:
    """An IF that is open: where it stands, whether one of its parts has been read, whether ELSE was met."""

    __slots__ = ("call", "last", "taken")

    def __init__(self, call: Call, taken: bool) -> None:
        self.call = call
        self.taken = taken
        self.last = False


class Expansion(NamedTuple):
    """A macro or repeat that is being read. `macro` is None for a repeat."""

    macro: Macro | None


class Reader:
    """The reading of one program. `folders` are searched for files after the including file's own."""

    def __init__(self, assembler: Assembler, folders: Sequence[Path], limits: Limits) -> None:
        self.assembler = assembler
        self.folders = folders
        self.limits = limits
        self.macros: dict[str, Macro] = {}
        self.conditions: list[Condition] = []
        self.expansions: list[Expansion] = []
        self.ended = False  # nothing more is read
        self.leaving = False  # the innermost macro or repeat is left
        self._diverted: Diversion | None = None
        self._open_block: Call | None = None
        self._embedded: tuple[Path | None, bytes] = (None, b"")  # the last file
        self._outer = 0  # conditions that were open before the source that is being read
        self._depth = 0
        self._lines = 0
        self._files = 0
        self._included: set[Path] = set()
        self._serial = 0

    def read(self, source: Source) -> None:
        """All lines of a file; errors go to the report."""
        self.assembler.report.reads(source)
        control = source.control()
        if control is not None:
            value = f"0x{ord(source.line(control[1])[control[2] - 1]):02X}"
            self.assembler.report.fault(Fault("control", value=value), control)
            return
        self.lines(source)

    def lines(self, source: Source) -> None:
        """All lines of a source, up to its end, END, or LEAVE."""
        assembler = self.assembler
        seen = assembler.seen
        module = assembler.module
        symbols = assembler.symbols
        outer, self._outer = self._outer, len(self.conditions)
        for line in read_lines(source, assembler.is_operation, assembler.is_remark):
            if self._diverted is not None:
                self._diverted(line, source)
                if self.ended or self.leaving or assembler.report.full:
                    break
                continue
            known = seen.get(line.body)
            if known is not None:
                if line.label:
                    assembler.label(line, source)
                piece, offset = known
                module.section.entries.append(Entry(piece, (source, line.number, line.column), offset, symbols.local))
            else:
                assembler.line(line, source)
                if self.ended or self.leaving or assembler.report.full:
                    break
        self._close()
        self._outer = outer

    def _close(self) -> None:
        """At the end of a source: what it opened must be closed, unless it was left in the middle."""
        if not (self.ended or self.leaving or self.assembler.report.full):
            if self._open_block is not None:
                self._fault("block_open", self._open_block)
            for condition in self.conditions[self._outer :]:
                self._fault("if_open", condition.call)
        del self.conditions[self._outer :]
        self._diverted = self._open_block = None

    def _fault(self, code: str, call: Call) -> None:
        fault = Fault(code, directive=call.statement.operation, closing="ENDM")
        self.assembler.report.fault(fault, call.place, 0, len(call.statement.word))

    # conditions

    def open_condition(self, call: Call, value: bool) -> None:
        """IF: reads on when the value holds, otherwise skips to the next part."""
        self.conditions.append(Condition(call, value))
        if not value:
            self._skip()

    def close_condition(self, call: Call) -> None:
        """ENDIF."""
        if len(self.conditions) <= self._outer:
            raise Fault("no_if", directive=call.statement.operation)
        self.conditions.pop()

    def _part(self, call: Call) -> Condition:
        if len(self.conditions) <= self._outer:
            raise Fault("no_if", directive=call.statement.operation)
        condition = self.conditions[-1]
        if condition.last:
            raise Fault("behind_else", directive=call.statement.operation)
        condition.last = call.statement.operation == "ELSE"
        return condition

    def _skip(self) -> None:
        """Skips lines up to the part of the innermost condition that is to be read."""
        nested = 0

        def skip(line: Line, source: Source) -> None:
            nonlocal nested
            match = OPERATION.match(line.body)
            word = match[0].upper() if match else ""
            if word == "IF":
                nested += 1
            elif word == "ENDIF" and nested:
                nested -= 1
            elif word in ("ENDIF", "ELSE", "ELSEIF") and not nested:
                self._diverted = None
                self.assembler.line(line, source)

        self._diverted = skip

    def turn(self, call: Call, value: Callable[[], bool]) -> None:
        """ELSEIF and ELSE: reads the part when none before it was read and its value holds."""
        condition = self._part(call)
        if not condition.taken:
            condition.taken = value()
            if condition.taken:
                return
        self._skip()

    # blocks of lines

    def collect(self, call: Call, finish: Callable[[list[str], int], None]) -> None:
        """Keeps the lines up to the ENDM that belongs to this statement, then calls `finish` with them and the number of
        the first."""
        depth = 1
        first = call.place[1] + 1
        self._open_block = call

        def keep(line: Line, source: Source) -> None:
            nonlocal depth
            match = BLOCK.match(source.line(line.number))
            if match is None:
                return
            depth += -1 if match[1].upper() == "ENDM" else 1
            if not depth:
                self._diverted = self._open_block = None
                self._alone(match, (source, line.number, match.start(1) + 1))
                try:
                    finish([source.line(number) for number in range(first, line.number)], first)
                except Fault as fault:
                    self.assembler.report.fault(fault, call.place, call.statement.offset, len(call.statement.word))

        self._diverted = keep

    def _alone(self, closing: re.Match[str], place: Place) -> None:
        """Reports what stands before or behind the ENDM that closes a block, which stands at `place`."""
        word = closing[1].upper()
        if closing[0][: -len(word)].strip():
            self.assembler.report.fault(label_unwanted(word), place, 0, len(word))
        behind = closing.string[closing.end() :].partition(";")[0]
        if behind.strip():
            start = len(word) + len(behind) - len(behind.lstrip())
            self.assembler.report.fault(Fault("no_operands_wanted", start, len(word) + len(behind.rstrip()), operation=word), place)

    def call_macro(self, macro: Macro, text: str, place: Place) -> None:
        """Reads the lines of a macro in place of a call. Raises Fault."""
        values = bind(macro, text)
        self._serial += 1
        lines = self._bring(expanded(macro, values, self._serial))
        source = Source.of_lines(macro.source.path, lines, macro.first, place, f"in macro {macro.name}, used at")
        self._inside(source, Expansion(macro), place)
        self.leaving = False

    def repeat(self, lines: list[str], first: int, count: int, index: str, call: Call) -> None:
        """Reads lines `count` times; `{index}` in them is the number of the turn, from 0. Raises Fault."""
        if count * max(1, len(lines)) > self.limits.lines - self._lines:
            raise self._too_much("too_many_lines", limit=self.limits.lines)
        for turn in range(count if any(line.strip() for line in lines) else 0):
            brought = self._bring(substituted(line, {index: str(turn)}, {}) if index else line for line in lines)
            source = Source.of_lines(call.place[0].path, brought, first, call.place, f"in turn {turn} of REPT at")
            self._inside(source, Expansion(None), call.place)
            if self.leaving or self.ended or self.assembler.report.full:
                self.leaving = False
                return

    def leave(self) -> None:
        """LEAVE: the rest of the innermost macro or repeat is not read."""
        if not self.expansions:
            raise Fault("nothing_to_leave")
        self.leaving = True

    def _inside(self, source: Source, expansion: Expansion, place: Place) -> None:
        if self._depth >= self.limits.depth:
            raise self._too_much("too_deep_inside", limit=self.limits.depth)
        self.assembler.module.brought.setdefault(place[:2], []).append(source)
        self.expansions.append(expansion)
        self._depth += 1
        self.lines(source)
        self._depth -= 1
        self.expansions.pop()

    def _bring(self, lines: Iterable[str]) -> list[str]:
        """Takes lines that are brought in, and counts them; a long one counts as several, none as one."""
        brought = []
        for line in lines:
            brought.append(line)
            self._count(1 + len(line) // USUAL_LINE)
        if not brought:
            self._count(1)
        return brought

    def _count(self, lines: int) -> None:
        self._lines += lines
        if self._lines > self.limits.lines:
            raise self._too_much("too_many_lines", limit=self.limits.lines)

    def _too_much(self, code: str, limit: int) -> Fault:
        """A limit was hit: one error is enough."""
        self.ended = True
        return Fault(code, limit=limit)

    # files

    def include(self, path: str, call: Call) -> None:
        """Reads another file in place of the statement. Raises Fault."""
        found = self.find(path, call)
        source = call.place[0]
        chain = [source, *(place[0] for place in source.chain())]
        if any(same_file(found, Path(one.path)) for one in chain):
            paths = [path for path, _ in groupby(one.path for one in reversed(chain))]  # macros and repeats are no files
            names = " -> ".join([*paths, str(found)])
            raise Fault("include_cycle", 0, len(call.statement.operands), path=path, chain=names)
        if self._depth >= self.limits.depth:
            raise self._too_much("too_deep_inside", limit=self.limits.depth)
        brought = read_source(found, str(found), call.place)
        if found in self._included:
            self._bring(brought.lines)  # a file read again is a repeat
        self._included.add(found)
        self.assembler.module.brought.setdefault(call.place[:2], []).append(brought)
        self._depth += 1
        self.read(brought)
        self._depth -= 1

    def embed(self, path: str, call: Call, longest: int) -> bytes:
        """The bytes of a file. Raises Fault."""
        found = self.find(path, call)
        if self._embedded[0] != found:  # a file may be embedded in many parts
            self.assembler.module.embedded.append(str(found))
            self._embedded = (found, read_bytes(found, path, longest))
        return self._embedded[1]

    def find(self, path: str, call: Call) -> Path:
        """A file that a statement names: beside the file that holds the statement, then in each folder. Raises Fault."""
        self._files += 1
        if self._files > self.limits.files:
            raise self._too_much("too_many_files", limit=self.limits.files)
        folders = [Path(call.place[0].path).parent, *self.folders]
        found = next((folder / path for folder in folders if is_file(folder / path)), None)
        if found is None:
            looked = ", ".join(f"'{folder}'" for folder in folders)
            raise Fault("include_missing", 0, len(call.statement.operands), path=path, looked=looked)
        return found


@contextmanager
def room_for(depth: int) -> Iterator[None]:
    """Lets Python go as deep as a program may be; afterwards it may go as deep as before."""
    before = sys.getrecursionlimit()
    sys.setrecursionlimit(max(before, FRAMES * depth + MORE_FRAMES))
    try:
        yield
    finally:
        sys.setrecursionlimit(before)


def is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


def same_file(a: Path, b: Path) -> bool:
    try:
        return a.samefile(b)
    except OSError:
        return False
