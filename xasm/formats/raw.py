"""Raw binary: the words from the lowest to the highest address and nothing else."""

from __future__ import annotations

from typing import Any

from xasm.formats.blocks import blocks, packed
from xasm.formats.options import Options, filler, order_of
from xasm.formats.reading import Clash, Pieces, ReadImage, Reading
from xasm.linking.image import Image
from xasm.source.diagnostics import Fault
from xasm.source.files import Source

CHUNK = 1 << 16  # words that are read at once


def write(image: Image, options: Options) -> bytes:
    """The bytes of the file: first the word at the lowest address, gaps filled (with ones where no filler is given).

    A word of more than 8 bits takes the next whole number of bytes. Raises Fault: bad_fill, no_words, too_large.
    """
    fill = filler(options, image)
    if fill is None:
        fill = (1 << image.target.word) - 1  # as an erased EPROM reads
    (block,) = blocks(image, fill)
    return packed(block.words, image.target.cell, order_of(options, image))


def read(data: bytes, path: str, reading: Reading) -> ReadImage:
    """The words of a file, the first at the address that `reading` names; what filled gaps is words as any other.

    Raises Fault with a place (line 1; the column counts bytes): read_empty, read_address, read_part, and those of words
    that cannot be: read_word, read_beyond.
    """
    if not data:
        raise _fault(path, "read_empty", 0)
    if reading.address is None:
        raise _fault(path, "read_address", 0, what="a raw binary")
    word = reading.word or 8
    cell = (word + 7) // 8
    if len(data) % cell:
        raise _fault(path, "read_part", len(data) - len(data) % cell, length=len(data), cell=cell)
    pieces = Pieces(word)
    for first in range(0, len(data), CHUNK * cell):
        words = _words(data[first : first + CHUNK * cell], cell, reading.order)
        try:
            pieces.add(reading.address + first // cell, words)
        except Clash as clash:
            raise _fault(path, clash.code, first + clash.index * cell, **clash.values) from None
    return ReadImage(path, ".bin", pieces.parts())


def _fault(path: str, code: str, offset: int, **values: Any) -> Fault:
    return Fault(code, place=(Source(path, ""), 1, offset + 1), **values)


def _words(data: bytes, cell: int, order: str) -> bytes | list[int]:
    if cell == 1:
        return data
    return [int.from_bytes(data[at : at + cell], "little" if order == "little" else "big") for at in range(0, len(data), cell)]
