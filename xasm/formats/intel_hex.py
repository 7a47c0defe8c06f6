"""Intel HEX, as Intel's "Hexadecimal Object File Format Specification" (1988) has it, with linear addresses.

Segment addresses are read but not written: linear ones say the same of every address that a table can have.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from io import BytesIO, StringIO
from itertools import groupby

from intelhex import IntelHex

from xasm.formats.blocks import blocks
from xasm.formats.options import Options, filler
from xasm.formats.reading import Clash, Pieces, ReadImage, Reading, Text
from xasm.formats.records import RECORD, check, record_bytes
from xasm.linking.image import Image, Span
from xasm.source.diagnostics import Fault

BANK = 0x10000  # bytes that an extended address record opens
END = ":00000001FF\n"
DATA, END_OF_FILE, SEGMENT, SEGMENT_START, LINEAR, LINEAR_START = range(6)
SIZES = {END_OF_FILE: 0, SEGMENT: 2, SEGMENT_START: 4, LINEAR: 2, LINEAR_START: 4}  # data bytes of what is no data record
HEAD = 9  # characters in front of a record's data


def write(image: Image, options: Options) -> bytes:
    """The text of the file: a start linear address record where the program names its entry, data records of up to
    16 bytes, gaps left out (or filled, with a filler), the end-of-file record; lines end with one line feed.

    Raises Fault: bad_record when a word has more than 8 bits, bad_fill, no_words, too_large.
    """
    if image.target.word > 8:
        raise Fault("bad_record", form="Intel HEX", bits=image.target.word)
    text = BytesIO()
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
    text.write(END.encode("ascii"))
    return text.getvalue()


def _pieces(spans: Iterable[Span]) -> Iterator[Span]:
    """The spans, cut where a bank ends."""
    for span in spans:
        start = span.start
        while start < span.end:
            end = min(span.end, (start // BANK + 1) * BANK)
            yield Span(start, span.words[start - span.start : end - span.start])
            start = end


def _records(content: IntelHex) -> bytes:
    """The records of some content, without the end-of-file record."""
    text = StringIO()
    content.write_hex_file(text, byte_count=RECORD)
    return text.getvalue().removesuffix(END).encode("ascii")


def read(data: bytes, path: str, reading: Reading) -> ReadImage:
    """The words of a file. All six kinds of record are read; the digits may be small letters.

    A start address stands in a record of its own or, as files from before 1988 have it, in the end-of-file record. Raises
    Fault with a place: read_empty, read_mark, read_digit, read_half, read_short, read_length, read_checksum, read_kind, read_size,
    read_zero, read_twice, read_behind, read_cut, and those of words that cannot be: read_word, read_overlap, read_beyond,
    read_pieces.
    """
    return _Reader(Text(data, path), reading).image()


class _Reader:
    def __init__(self, text: Text, reading: Reading) -> None:
        self.text = text
        self.pieces = Pieces(reading.word)
        self.base = 0
        self.segmented = False
        self.entry: int | None = None
        self.ended = False

    def image(self) -> ReadImage:
        text = self.text
        for start, row in text.rows():
            if self.ended:
                raise text.fault("read_behind", start, start + len(row))
            if row[0] != 0x3A:
                raise text.fault("read_mark", start, wanted=":", found=text.character(start))
            content = record_bytes(text, start, row, 1)
            if len(content) < 5 or content[0] != len(content) - 5 or sum(content) & 0xFF:
                check(text, start, row, content, 1, 5, lambda total: -total & 0xFF)
            address = content[1] << 8 | content[2]
            if content[3] == DATA:
                self.data(start, address, content[4:-1])
            else:
                self.other(start, row, content[3], address, content[4:-1])
        if not self.ended:
            raise text.ends("without an end-of-file record (:00000001FF)") if self.pieces else text.fault("read_empty", 0)
        if not self.pieces:
            raise text.fault("read_empty", 0)
        return ReadImage(text.path, ".hex", self.pieces.parts(), self.entry)

    def data(self, start: int, offset: int, words: bytes) -> None:
        """Takes the words of a record; in a segment, those that reach its end go on at its beginning."""
        first = BANK - offset if self.segmented else len(words)
        try:
            self.pieces.add(self.base + offset, words[:first])
        except Clash as clash:
            raise self.clash(clash, start) from None
        if first < len(words):
            try:
                self.pieces.add(self.base, words[first:])
            except Clash as clash:
                raise self.clash(clash, start + 2 * first) from None

    def clash(self, clash: Clash, start: int) -> Fault:
        at = start + HEAD + 2 * clash.index
        return clash.at(self.text, at, at + 2)

    def other(self, start: int, row: bytes, kind: int, offset: int, content: bytes) -> None:
        text = self.text
        if kind not in SIZES:
            raise text.fault("read_kind", start + 7, start + 9, kind=f"{kind:02X}", known="00 to 05")
        if len(content) != SIZES[kind]:
            raise text.fault("read_size", start + 1, start + 3, kind=f"{kind:02X}", wanted=SIZES[kind], found=len(content))
        if kind == END_OF_FILE:
            self.ended = True
            if offset and self.entry is None:
                self.entry = offset
            return
        if offset:
            raise text.fault("read_zero", start + 3, start + 7, kind=f"{kind:02X}")
        value = int.from_bytes(content, "big")
        if kind in (SEGMENT, LINEAR):
            self.segmented = kind == SEGMENT
            self.base = value << (4 if self.segmented else 16)
            return
        if kind == SEGMENT_START:
            value = ((value >> 16) << 4) + (value & 0xFFFF)
        if self.entry not in (None, value):
            raise text.fault("read_twice", start + HEAD, start + len(row) - 2, what="the start address")
        self.entry = value
