"""The words that a file holds, and words as bytes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from xasm.linking.image import Image, Span
from xasm.source.diagnostics import Fault
from xasm.target.model import Target

ROW = 16  # words of a row of text
LARGEST = 64 * 1024 * 1024  # bytes of program in one file; two words far apart with the gap filled come to more


def blocks(image: Image, filler: int | None) -> tuple[Span, ...]:
    """What is to be written: the filled spans, or, with a filler, one span from the lowest to the highest address.

    Raises Fault when there is nothing (no_words) or more than LARGEST bytes (too_large).
    """
    if not len(image):
        raise Fault("no_words")
    count = len(image) if filler is None else image.end - image.lowest
    if count * image.target.cell > LARGEST:
        raise Fault("too_large", size=count * image.target.cell, limit=LARGEST)
    if filler is None:
        return image.parts
    words: bytearray | list[int] = bytearray((filler,)) * count if image.target.word <= 8 else [filler] * count
    for part in image.parts:
        words[part.start - image.lowest : part.end - image.lowest] = part.words
    return (Span(image.lowest, words),)


def packed(words: Sequence[int], cell: int, order: str) -> bytes:
    """Words as bytes, `cell` bytes each, in byte order "little" or "big"."""
    if cell == 1:
        return bytes(words)
    data = bytearray()
    for word in words:
        data += word.to_bytes(cell, "little" if order == "little" else "big")
    return bytes(data)


def rows(block: Span, target: Target, length: int = ROW) -> Iterator[tuple[int, str]]:
    """(address, words) of rows of text: up to `length` words as hexadecimal digits, a blank between two."""
    words = block.words
    two_digits = 4 < target.word <= 8
    for first in range(0, len(words), length):
        row = words[first : first + length]
        yield block.start + first, bytes(row).hex(" ").upper() if two_digits else " ".join(map(target.hex_word, row))
