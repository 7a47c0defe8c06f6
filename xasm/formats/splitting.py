"""One image to several, as for a memory of several chips. Each function is pure and gives pieces that any format writes.

Without a filler gaps stay gaps, and addresses with no word among them give no piece; with one every piece is whole, from
its first address to its last.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

from xasm.formats.blocks import LARGEST, packed
from xasm.formats.options import Options, filler
from xasm.formats.reading import HIGHEST
from xasm.linking.image import Image, Span
from xasm.source.diagnostics import Fault

MOST = 65536  # pieces of one image, each a file
MOST_LANES = 256


class Piece(NamedTuple):
    """An image and what goes behind the name of its file: the "_0" of `rom_0.bin`."""

    name: str
    image: Image


class Window(NamedTuple):
    """Addresses that belong together: a name, the first of them, how many."""

    name: str
    start: int
    size: int


def by_size(image: Image, size: int, origin: int | None = None, fill: int | None = None) -> list[Piece]:
    """Pieces of `size` words each, counted from `origin` (None: the lowest address).

    Addresses stay what they are; the names are numbers ("_0", "_1"; all of the same length), and a number that is left out
    had no words. Raises Fault: split_size, split_below, split_many, and those of `by_windows`.
    """
    _positive("the size of a piece", size)
    first = image.lowest if origin is None else origin
    if image.parts and image.lowest < first:
        hexadecimal = image.target.hex_address
        raise Fault("split_below", address=hexadecimal(image.lowest), origin=hexadecimal(first))
    # Only the chunks that have words: an image may have two words that are far apart.
    used: set[int] = set()
    for part in image.parts:
        begin, end = (part.start - first) // size, (part.end - 1 - first) // size
        if end - begin >= MOST:
            raise Fault("split_many", limit=MOST)
        used.update(range(begin, end + 1))
        if len(used) > MOST:
            raise Fault("split_many", limit=MOST)
    if fill is not None and used:
        if max(used) >= MOST:
            raise Fault("split_many", limit=MOST)
        used = set(range(max(used) + 1))
    digits = len(str(max(used, default=0)))
    return by_windows(image, [Window(f"_{index:0{digits}}", first + index * size, size) for index in sorted(used)], fill)


def by_windows(image: Image, windows: Sequence[Window], fill: int | None = None, partly: bool = False) -> list[Piece]:
    """A piece for each window, with the addresses that it has. Windows may cover each other.

    Every word must lie in a window unless `partly` is true. Raises Fault: split_size, split_outside, bad_fill, too_large
    (when all filled pieces together come to more than 64 MiB).
    """
    for window in windows:
        _positive(f"the size of window '{window.name}'", window.size)
    if not partly:
        _all_inside(image, windows)
    word = filler(Options(fill=fill), image)
    total = sum(window.size for window in windows) * image.target.cell
    if word is not None and total > LARGEST:
        raise Fault("too_large", size=total, limit=LARGEST)
    starts = [part.start for part in image.parts]
    pieces = []
    for window in windows:
        parts = tuple(_within(image, starts, window))
        if word is not None:
            parts = (_filled(parts, window, word, image.target.word),)
        if parts:
            inside = image.entry is not None and window.start <= image.entry < window.start + window.size
            pieces.append(Piece(window.name, replace(image, parts=parts, entry=image.entry if inside else None)))
    return pieces


def by_lane(image: Image, lanes: int) -> list[Piece]:
    """The bytes of each of so many lanes of a bus: piece i has the bytes of all addresses a for which a % lanes is i, and
    has each at a // lanes.

    Where a word takes several bytes, a is the address of the byte: the word's address times their number, plus the byte's
    place in the chip's order. The names are "_0", "_1" and so on; a piece is an image of bytes without symbols or
    entry, as addresses are others in it. A lane with no byte gives no piece. Raises Fault: split_size, split_many, read_beyond.
    """
    _positive("the number of lanes", lanes)
    if lanes > MOST_LANES:
        raise Fault("split_many", limit=MOST_LANES)
    target = image.target
    cell = target.cell
    if (image.end * cell - 1) // lanes > HIGHEST:
        raise Fault("read_beyond", top=f"0x{HIGHEST:X}")
    top = min(HIGHEST, ((target.top + 1) * cell - 1) // lanes)
    bytewise = replace(target, word=8, address=max(1, top.bit_length()), start=target.start * cell // lanes)
    found: list[list[Span]] = [[] for _ in range(lanes)]
    for part in image.parts:
        words = packed(part.words, cell, target.order)
        start = part.start * cell
        for lane, parts in enumerate(found):
            skipped = (lane - start) % lanes
            if skipped < len(words):
                _append(parts, (start + skipped) // lanes, words[skipped::lanes])
    digits = len(str(lanes - 1))
    return [Piece(f"_{lane:0{digits}}", Image(bytewise, tuple(parts))) for lane, parts in enumerate(found) if parts]


def _append(parts: list[Span], start: int, words: bytes) -> None:
    """Adds a span behind the others; in a lane, spans with a small gap between them touch."""
    if parts and parts[-1].end == start:
        before = parts[-1].words
        before += words  # type: ignore[operator]
    else:
        parts.append(Span(start, bytearray(words)))


def _within(image: Image, starts: list[int], window: Window) -> Iterator[Span]:
    """The spans of an image, cut to a window; `starts` are their addresses."""
    end = window.start + window.size
    for index in range(max(0, bisect_right(starts, window.start) - 1), len(starts)):
        part = image.parts[index]
        if part.start >= end:
            break
        first, last = max(part.start, window.start), min(part.end, end)
        if first < last:
            yield Span(first, part.words[first - part.start : last - part.start])


def _filled(parts: Sequence[Span], window: Window, word: int, bits: int) -> Span:
    """A window as one span, the gaps filled."""
    words: bytearray | list[int] = bytearray((word,)) * window.size if bits <= 8 else [word] * window.size
    for part in parts:
        words[part.start - window.start : part.end - window.start] = part.words
    return Span(window.start, words)


def _all_inside(image: Image, windows: Sequence[Window]) -> None:
    """Raises Fault for the first word that lies in no window."""
    ordered = sorted((window.start, window.start + window.size) for window in windows)
    index = 0
    reached = 0  # all addresses below this one from the last gap on lie in windows
    for part in image.parts:
        at = part.start
        while at < part.end:
            while index < len(ordered) and ordered[index][0] <= at:
                reached = max(reached, ordered[index][1])
                index += 1
            if reached <= at:
                raise Fault("split_outside", address=image.target.hex_address(at))
            at = reached


def _positive(what: str, value: int) -> None:
    if value < 1:
        raise Fault("split_size", what=what, value=value)
