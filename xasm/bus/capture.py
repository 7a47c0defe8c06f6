"""What the firmware printed: one access of the bus a line, in a layout that is described or found out."""

from __future__ import annotations

import re
from array import array
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple, Protocol

from xasm.bus.memory import Memory
from xasm.source.diagnostics import Fault
from xasm.source.files import Source, read_bytes, whole

MOST = 1_000_000  # accesses
SAMPLE = 400  # lines that a layout is found out from
LONGEST = 400  # characters of a line that can be an access
SPLIT = re.compile(r"[^0-9A-Za-z_$.]+")
HEX = re.compile(r"(?:0x|\$)?([0-9a-f]{1,16})(?:h)?\Z", re.IGNORECASE)
READS = frozenset(("r", "rd", "read", "f", "fetch", "opcode", "m1", "i", "in"))
WRITES = frozenset(("w", "wr", "write", "o", "out"))
MOST_PASSED = 4  # lines that are no accesses, for each that is one: with more of them the file is no capture
NOTHING = -1  # a value that a line does not say


class Capture:
    """Accesses in order: `addresses` and `words` (NOTHING where a line has none), `writes` (1 for a write), `lines` (their line
    numbers). `passed` counts the lines that are no access."""

    def __init__(self, path: str) -> None:
        self.path = path
        self.addresses = array("q")
        self.words = array("q")
        self.writes = bytearray()
        self.lines = array("q")
        self.passed = 0
        self._reads: dict[tuple[int, int], list[int]] = {}

    def __len__(self) -> int:
        return len(self.addresses)

    def reads_of(self, address: int, most: int) -> list[int]:
        """The numbers of the first accesses that read an address."""
        key = (address, most)
        if key not in self._reads:
            found: list[int] = []
            index = -1
            while len(found) < most:
                try:
                    index = self.addresses.index(address, index + 1)
                except ValueError:
                    break
                if not self.writes[index]:
                    found.append(index)
            self._reads[key] = found
        return self._reads[key]

    def moved(self, writes: bytes) -> Capture:
        """The same where each address stands with the word that came with the one before it; the first has none."""
        new = Capture(self.path)
        new.addresses, new.words = self.addresses[:], array("q", [NOTHING]) + self.words[:-1]
        new.lines, new.writes = self.lines[:], bytearray(writes)
        return new

    def add(self, address: int, word: int, write: bool, line: int) -> None:
        if len(self) >= MOST:
            raise Fault("capture_long", place=whole(self.path), limit=MOST)
        self.addresses.append(address)
        self.words.append(word)
        self.writes.append(write)
        self.lines.append(line)


class Access(NamedTuple):
    address: int
    word: int
    write: bool


def read_capture(path: str, memory: Memory, layout: str | None = None) -> Capture:
    """Reads a capture. Raises Fault: cannot_read, capture_layout, capture_unknown (with a place), capture_long."""
    lines = read_bytes(Path(path), path).decode("latin-1").splitlines()
    reading = _described(layout) if layout is not None else _found(lines, memory)
    capture = Capture(path)
    first = 0
    for number, line in enumerate(lines, 1):
        access = reading.access(line[:LONGEST])
        if access is not None and access.address <= memory.target.top and access.word >> memory.target.word <= 0:
            capture.add(*access, number)
        elif line.strip():
            first = first or number
            capture.passed += 1
    # who describes how a line is written may have many others in the file
    if capture.passed > MOST_PASSED * len(capture) and not (layout and capture):
        source = Source(path, "\n".join(line[:LONGEST] for line in lines[:first]))
        hint = "describe a line with --layout, as in '{r} {a}: {d}': {a} address, {d} data, {r} read or write, {x} anything"
        values = {"count": len(capture) or "none", "lines": len(capture) + capture.passed}
        raise Fault("capture_unknown", 0, 1, hint, (source, first, 1), **values)
    return capture


class _Reading(Protocol):
    """How a line is read: which of its parts is what."""

    def access(self, line: str) -> Access | None:
        """What a line says, None where it is no access."""


class _Described:
    def __init__(self, pattern: re.Pattern[str]) -> None:
        self.pattern = pattern

    def access(self, line: str) -> Access | None:
        match = self.pattern.fullmatch(line.strip())
        if match is None:
            return None
        found = match.groupdict()
        word = found.get("d")
        return Access(int(found["a"], 16), int(word, 16) if word else NOTHING, (found.get("r") or "r").lower() in (*WRITES, "0"))


def _described(layout: str) -> _Described:
    """The reading of a layout such as `{r} {a}: {d}`; blanks stand for any number of them."""
    parts = {"a": r"(?:0x|\$)?(?P<a>[0-9A-Fa-f]{1,16})h?", "d": r"(?:0x|\$)?(?P<d>[0-9A-Fa-f]{1,16})h?", "r": r"(?P<r>\w+)", "x": r".*?"}
    pattern = ""
    seen = set()
    for piece in re.split(r"(\{.*?\}|\s+)", layout.strip()):
        name = piece[1:-1] if piece.startswith("{") else ""
        if name and (name not in parts or (name in seen and name != "x")):
            raise Fault("capture_layout", layout=layout, hint="{a} address, {d} data, {r} read or write, {x} anything; each once but {x}")
        seen.add(name)
        pattern += parts[name] if name else r"\s+" if piece and not piece.strip() else re.escape(piece)
    if "a" not in seen:
        raise Fault("capture_layout", layout=layout, hint="{a} says where the address stands")
    return _Described(re.compile(pattern))


class _Columns:
    """Columns between anything that is no letter or digit. `count` is how many a line has; -1: it has no such column."""

    def __init__(self, count: int, address: int, word: int, way: int) -> None:
        self.count = count
        self.address = address
        self.word = word
        self.way = way

    def access(self, line: str) -> Access | None:
        parts = _parts(line)
        if len(parts) != self.count:
            return None
        address, word = _hex(parts[self.address]), _hex(parts[self.word]) if self.word >= 0 else NOTHING
        way = parts[self.way].lower() if self.way >= 0 else "r"
        if address is None or word is None or way not in (*READS, *WRITES):
            return None
        return Access(address, word, way in WRITES)


def _parts(line: str) -> list[str]:
    return [part for part in SPLIT.split(line) if part]


def _hex(part: str) -> int | None:
    match = HEX.match(part)
    return int(match[1], 16) if match else None


def _found(lines: Sequence[str], memory: Memory) -> _Reading:
    """The layout that most lines have, and under which most of them agree with the program."""
    rows = [parts for parts in (_parts(line[:LONGEST]) for line in lines[:SAMPLE]) if parts]
    if not rows:
        return _Columns(0, 0, 0, 0)
    counts = Counter(len(row) for row in rows if any(HEX.match(part) for part in row))
    best: tuple[tuple[int, int, int, int], _Columns] | None = None
    for count in counts:
        same = [row for row in rows if len(row) == count]
        for reading in _columns(count, same, memory):
            score = (*_score(reading, same, memory), -reading.address)
            if best is None or score > best[0]:
                best = (score, reading)
    return best[1] if best is not None else _Columns(0, 0, 0, 0)


def _columns(count: int, rows: list[list[str]], memory: Memory) -> Iterator[_Columns]:
    """Every way to name the columns of rows of one length."""
    columns = [[row[index] for row in rows] for index in range(count)]
    ways = [index for index, column in enumerate(columns) if sum(part.lower() in READS | WRITES for part in column) * 10 > len(column) * 9]
    way = ways[0] if ways else -1
    numbers = [
        index
        for index, column in enumerate(columns)
        if index != way and sum(HEX.match(part) is not None for part in column) * 10 > len(column) * 9 and not _is_tag(column)
    ]
    for address in numbers:
        yield _Columns(count, address, -1, way)
        for word in numbers:
            if word != address:
                yield _Columns(count, address, word, way)


def _is_tag(column: list[str]) -> bool:
    """Whether a column is a word that stands in every line, as the A of `A=0200`."""
    return len(set(column)) == 1 and len(column[0]) == 1 and column[0].isalpha() and len(column) > 1


def _score(reading: _Columns, rows: list[list[str]], memory: Memory) -> tuple[int, int, int]:
    """How many lines hold a word of the program at its address, how many columns have the width of what they are, how many
    lines can be read."""
    target = memory.target
    agree = wide = can = 0
    for row in rows:
        access = reading.access(" ".join(row))
        if access is None or access.address > target.top or access.word >> target.word > 0:
            continue
        can += 1
        agree += access.word != NOTHING and not access.write and memory.word(access.address) == access.word
        wide += _digits(row[reading.address]) == (target.address + 3) // 4
        wide += reading.word >= 0 and _digits(row[reading.word]) == (target.word + 3) // 4
    return agree, wide, can


def _digits(part: str) -> int:
    match = HEX.match(part)
    return len(match[1]) if match else 0
