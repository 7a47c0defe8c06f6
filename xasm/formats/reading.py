"""What all readers share: the text with its places, the words as they gather, and what comes out."""

from __future__ import annotations

import re
from array import array
from bisect import bisect_right, insort
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

from xasm.linking.image import Image, Span
from xasm.source.diagnostics import Fault
from xasm.source.files import Place, Source, whole
from xasm.target.model import Target

HIGHEST = 0xFFFF_FFFF  # no table has wider addresses
WIDEST = 64  # bits; no table has wider words
MOST_PIECES = 100_000  # pieces of words with gaps between them, or in no order: each costs memory and time of its own
LONGEST_SHOWN = 40  # characters of the text that a message shows
LONGEST_REST = 1000  # bytes of a line that are kept behind a place
MARK = b"\xef\xbb\xbf"  # the byte-order mark of UTF-8
ROW = re.compile(rb"[^\r\n]++")
# Blanks, and what fills paper tapes and the last record of old disk files.
FILLERS = b" \t\0\x1a"

Store: TypeAlias = "bytearray | array[int]"


@dataclass(frozen=True, slots=True)
class Reading:
    """What a reader has to be told.

    address: of the first word, for formats that say none (raw binary, C arrays without a constant). word: bits of a word;
    None: a byte in a raw binary, whatever comes in a format with whole words. order: "little" or "big", how a word of
    several bytes lies in a raw binary.
    """

    address: int | None = None
    word: int | None = None
    order: str = "little"


@dataclass(frozen=True)
class ReadImage:
    """What a file holds: the suffix of its format, its words as disjoint and sorted spans, the start address that it names
    (None: none; S-records always name one, and 0 often means none), its title (what an S0 record says), and what was put where
    only because of what stands in front of it, as (name, address)."""

    path: str
    suffix: str
    parts: tuple[Span, ...]
    entry: int | None = None
    title: str = ""
    put: tuple[tuple[str, int], ...] = ()

    @property
    def spans(self) -> list[tuple[int, bytes | tuple[int, ...]]]:
        """(address, words) of each span: bytes where all words of the file are bytes, else a tuple of integers."""
        return [(start, bytes(words) if isinstance(words, bytearray) else tuple(words)) for start, words in self.parts]

    def image(self, target: Target) -> Image:
        """The words as an image for a chip. Raises Fault when a word or an address is wider than the chip's: read_wide,
        read_beyond (the place of both is the file)."""
        parts = []
        for start, words in self.parts:
            if start + len(words) - 1 > target.top:
                raise Fault("read_beyond", place=whole(self.path), top=f"0x{target.top:X}")
            widest = max(words)
            if widest >> target.word:
                raise Fault("read_wide", place=whole(self.path), word=f"0x{widest:X}", bits=target.word)
            parts.append(Span(start, bytearray(iter(words)) if target.word <= 8 and not isinstance(words, bytearray) else words))
        return Image(target, tuple(parts), entry=self.entry)


class Text:
    """The bytes of a file and the places in them. Lines end with LF, CR or both."""

    def __init__(self, data: bytes, path: str) -> None:
        self.data = data
        self.path = path
        self.begin = len(MARK) if data.startswith(MARK) else 0

    def rows(self) -> Iterator[tuple[int, bytes]]:
        """(offset, content without blanks at its end) of every line with something in it."""
        for match in ROW.finditer(self.data, self.begin):
            row = match[0]
            start = match.start()
            if row[-1] in FILLERS or row[0] in FILLERS:
                if not row.strip(FILLERS):
                    continue
                row = row.rstrip(b" \t").lstrip(b"\0")
                start = match.end() - len(match[0].lstrip(b"\0"))
            yield start, row

    def place(self, offset: int) -> tuple[Place, int]:
        """The place of a byte and where its line ends; only that line is kept."""
        data = self.data
        offset = max(self.begin, min(offset, len(data)))
        ends = data.count(b"\n", 0, offset) + data.count(b"\r", 0, offset) - data.count(b"\r\n", 0, offset)
        start = max(data.rfind(b"\n", 0, offset) + 1, data.rfind(b"\r", 0, offset) + 1, self.begin)
        found = ROW.match(data, start, offset + LONGEST_REST)
        end = found.end() if found else start
        source = Source(self.path, data[start:end].decode("utf-8", "replace"))
        source.first = ends + 1
        return (source, ends + 1, len(data[start:offset].decode("utf-8", "replace")) + 1), end

    def fault(self, code: str, start: int, end: int | None = None, hint: str | None = None, **values: Any) -> Fault:
        """A fault at the bytes from `start` to `end` (None: one byte); what lies behind the line's end is not marked."""
        place, last = self.place(start)
        length = len(self.data[start : min(last, end or start + 1)].decode("utf-8", "replace"))
        return Fault(code, 0, max(1, length), hint, place, **values)

    def shown(self, start: int, end: int) -> str:
        """A part of the text for a message."""
        text = self.data[start : min(end, start + 4 * LONGEST_SHOWN)].decode("utf-8", "replace")
        return text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]}..."

    def digit_fault(self, start: int, end: int) -> Fault:
        """The fault of the first byte there that is no hexadecimal digit."""
        bad = re.compile(rb"[^0-9A-Fa-f]").search(self.data, start, end)
        at = bad.start() if bad else start
        return self.fault("read_digit", at, found=self.character(at))

    def character(self, offset: int) -> str:
        """The character that begins at a byte."""
        return self.data[offset : offset + 4].decode("utf-8", "replace")[:1]

    def ends(self, what: str) -> Fault:
        """The fault of a file that is cut off; its place is behind the last line with something in it."""
        last = len(self.data.rstrip(b"\r\n" + FILLERS))
        return self.fault("read_cut", last, what=what)


class Clash(Exception):
    """Word `index` of those just added cannot be: the reader knows where it stands and makes a Fault of it."""

    def __init__(self, index: int, code: str, **values: Any) -> None:
        super().__init__(code)
        self.index = index
        self.code = code
        self.values = values

    def at(self, text: Text, start: int, end: int) -> Fault:
        return text.fault(self.code, start, end, **self.values)


class Pieces:
    """Words as they are read, in any order; what is given twice must be the same both times.

    All words lie in bytes, or, once a wider one came or `word` (bits, None: not known) says so, in wider numbers.
    """

    def __init__(self, word: int | None = None) -> None:
        self.limit = 1 << (word or WIDEST)
        self.bits = word or WIDEST
        self.code = array_code(word or 0)
        self.starts: list[int] = []
        self.stores: dict[int, Store] = {}
        self.end = -1  # the address behind the last words added; the fast way leads there while `free` lies beyond it
        self.free = 0  # the first address behind `end` that is taken
        self.last: Store = bytearray()

    def __bool__(self) -> bool:
        return bool(self.starts)

    def add(self, address: int, words: Sequence[int]) -> None:
        """Adds words. Raises Clash: read_beyond, read_word, read_overlap, read_pieces."""
        if not words:
            return
        stored = self._stored(words)
        end = address + len(stored)
        if end > HIGHEST + 1:
            raise Clash(max(0, HIGHEST + 1 - address), "read_beyond", top=f"0x{HIGHEST:X}")
        if address == self.end and end <= self.free:
            self.last += stored  # type: ignore[operator]
            self.end = end
            return
        self._place(address, stored)

    def parts(self) -> tuple[Span, ...]:
        """All words: disjoint, sorted, joined where they touch."""
        joined: list[Span] = []
        for start in self.starts:
            store = self.stores.pop(start)
            if joined and joined[-1].end == start:
                before = joined[-1].words
                before += store  # type: ignore[operator]
            else:
                joined.append(Span(start, store))
        self.starts = []
        return tuple(joined)

    def _stored(self, words: Sequence[int]) -> Store | bytes:
        if isinstance(words, (bytes, bytearray)) and self.code == "B" and self.limit > 255:
            return words
        highest = max(words)
        if highest >= self.limit:
            index = next(index for index, word in enumerate(words) if word >= self.limit)
            raise Clash(index, "read_word", word=hexadecimal(words[index]), bits=self.bits)
        code = array_code(highest.bit_length())
        if array(code).itemsize > array(self.code).itemsize:
            self._widen(code)
        return bytearray(iter(words)) if self.code == "B" else array(self.code, iter(words))

    def _widen(self, code: str) -> None:
        self.code = code
        for start in self.starts:
            wide = array(code, iter(self.stores[start]))
            if self.stores[start] is self.last:
                self.last = wide
            self.stores[start] = wide

    def _place(self, address: int, words: Store | bytes) -> None:
        done = 0
        while done < len(words):
            at = address + done
            index = bisect_right(self.starts, at)
            following = self.starts[index] if index < len(self.starts) else HIGHEST + 1
            before = self.starts[index - 1] if index else 0
            store = self.stores[before] if index else None
            if store is not None and at < before + len(store):
                done += self._same(store, at - before, words, done, address)
                continue
            count = min(len(words) - done, following - at)
            if store is None or at > before + len(store):
                if len(self.starts) >= MOST_PIECES:
                    raise Clash(done, "read_pieces", limit=MOST_PIECES)
                insort(self.starts, at)
                store = self.stores[at] = bytearray() if self.code == "B" else array(self.code)
            store += words[done : done + count]  # type: ignore[operator]
            done += count
            self.last, self.end, self.free = store, at + count, following

    def _same(self, store: Store, offset: int, words: Store | bytes, done: int, address: int) -> int:
        """How many words the store has already; raises Clash where they are others."""
        count = min(len(words) - done, len(store) - offset)
        if store[offset : offset + count] != words[done : done + count]:
            index = next(index for index in range(count) if store[offset + index] != words[done + index])
            first, second = (f"0x{word:02X}" for word in (store[offset + index], words[done + index]))
            raise Clash(done + index, "read_overlap", address=f"0x{address + done + index:04X}", first=first, second=second)
        return count


def hexadecimal(word: int) -> str:
    """A word for a message."""
    text = f"0x{word:X}"
    return text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]}..."


def array_code(bits: int) -> str:
    """The letter by which the module array knows the smallest kind of number that holds so many bits."""
    return next(code for code in "BHIQ" if bits <= 8 * array(code).itemsize)
