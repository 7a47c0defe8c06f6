"""Plain hex text for people: rows of an address, a colon, and words."""

from __future__ import annotations

import re
from io import BytesIO

from xasm.formats.blocks import blocks, rows
from xasm.formats.memory_hex import plain_words
from xasm.formats.options import Options, filler
from xasm.formats.reading import HIGHEST, Clash, Pieces, ReadImage, Reading, Text
from xasm.linking.image import Image

WORD = re.compile(rb"[^ \t]+")
STRANGE = re.compile(rb"[^0-9A-Fa-f \t]")
ADDRESS = re.compile(rb"[0-9A-Fa-f]+[ \t]*\Z")
LONGEST_ROW = 100_000  # characters


def write(image: Image, options: Options) -> bytes:
    """The text of the file: up to 16 words a row, a new row behind each gap, no row for a gap; words and addresses have as
    many digits as the chip's. Lines end with one line feed. Raises Fault: bad_fill, no_words, too_large."""
    target = image.target
    text = BytesIO()
    for block in blocks(image, filler(options, image)):
        for address, row in rows(block, target):
            text.write(f"{target.hex_address(address)[2:]}: {row}\n".encode("ascii"))
    return text.getvalue()


def read(data: bytes, path: str, reading: Reading) -> ReadImage:
    """The words of a file: rows may have any number of words and be in any order.

    Raises Fault with a place: read_empty, line_too_long, read_row, read_digit, and those of words that cannot be:
    read_word, read_overlap, read_beyond, read_pieces.
    """
    text = Text(data, path)
    pieces = Pieces(reading.word)
    for start, row in text.rows():
        end = start + len(row)
        if len(row) > LONGEST_ROW:
            raise text.fault("line_too_long", start, length=len(row), limit=LONGEST_ROW)
        head, colon, tail = row.partition(b":")
        strange = STRANGE.search(head + tail)
        if strange:
            at = start + strange.start() + (strange.start() >= len(head) and len(colon))
            raise text.fault("read_digit", at, found=text.character(at))
        if not ADDRESS.match(head) or not tail.strip():
            raise text.fault("read_row", start, end)
        address = int(head, 16)
        if address > HIGHEST:
            raise text.fault("read_beyond", start, start + len(head), top=f"0x{HIGHEST:X}")
        try:
            pieces.add(address, plain_words(tail))
        except Clash as clash:
            found = list(WORD.finditer(data, end - len(tail), end))[clash.index]
            raise clash.at(text, *found.span()) from None
    if not pieces:
        raise text.fault("read_empty", 0)
    return ReadImage(path, ".txt", pieces.parts())
