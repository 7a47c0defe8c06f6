"""Intel HEX, as Intel's "Hexadecimal Object File Format Specification" (1988) has it, with linear addresses."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from io import StringIO
from itertools import groupby

from intelhex import IntelHex

from xasm.formats.blocks import blocks
from xasm.formats.options import Options, filler
from xasm.linking.image import Image, Span
from xasm.source.diagnostics import Fault

BANK = 0x10000  # bytes that an extended linear address record opens
RECORD = 16  # data bytes of a record
END = ":00000001FF\n"


def write(image: Image, options: Options) -> bytes:
    """The text of the file: a start linear address record where the program names its entry, data records of up to
    16 bytes, gaps left out (or filled, with a filler), the end-of-file record; lines end with one line feed.

    Raises Fault: bad_record when a word has more than 8 bits, bad_fill, no_words, too_large.
    """
    if image.target.word > 8:
        raise Fault("bad_record", bits=image.target.word)
    text = StringIO()
    if image.entry is not None:
        start = IntelHex()
        start.start_addr = {"EIP": image.entry}
        text.write(_records(start))
    # One bank at a time: the library keeps a dictionary of all bytes, which for a large image is large.
    for _, pieces in groupby(_pieces(blocks(image, filler(options, image))), lambda piece: piece.start // BANK):
        bank = IntelHex()
        for piece in pieces:
            bank.frombytes(piece.words, piece.start)
        text.write(_records(bank))
    text.write(END)
    return text.getvalue().encode("ascii")


def _pieces(spans: Iterable[Span]) -> Iterator[Span]:
    """The spans, cut where a bank ends."""
    for span in spans:
        start = span.start
        while start < span.end:
            end = min(span.end, (start // BANK + 1) * BANK)
            yield Span(start, span.words[start - span.start : end - span.start])
            start = end


def _records(content: IntelHex) -> str:
    """The records of some content, without the end-of-file record."""
    text = StringIO()
    content.write_hex_file(text, byte_count=RECORD)
    return text.getvalue().removesuffix(END)
