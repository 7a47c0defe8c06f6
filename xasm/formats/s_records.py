"""Motorola S-records, as Motorola's manuals of the 68000 family have them in their appendix on this format (from memory)."""

from __future__ import annotations

from io import BytesIO

from xasm.formats.blocks import blocks, packed
from xasm.formats.options import Options, filler
from xasm.formats.reading import Clash, Pieces, ReadImage, Reading, Text
from xasm.formats.records import RECORD, check, record_bytes
from xasm.linking.image import Image
from xasm.source.diagnostics import Fault

WIDTHS = {".s19": 2, ".s28": 3, ".s37": 4}  # bytes of an address; the suffix names the kinds of data and of end record
LONGEST_NAME = 32  # characters of the name in S0: a line of less than 80, as old terminals want it
HEADER, COUNT, LONG_COUNT = 0, 5, 6
ADDRESSES = {HEADER: 2, 1: 2, 2: 3, 3: 4, COUNT: 2, LONG_COUNT: 3, 7: 4, 8: 3, 9: 2}  # kind to bytes of its address
DATA, END = (1, 2, 3), (7, 8, 9)


def write(image: Image, options: Options, suffix: str = ".srec") -> bytes:
    """The text of the file: S0 with the program's name, data records of up to 16 bytes, gaps left out (or filled, with a
    filler), their number (S5 or S6), and the end record with the start address: the program's entry, or else the chip's
    start, or 0 where the chip reads its start address from a vector. Lines end with one line feed.

    Addresses have 2, 3 or 4 bytes as the highest needs; the suffixes .s19, .s28 and .s37 each stand for one width. Raises
    Fault: bad_record when a word has more than 8 bits, narrow_record when an address is wider than the suffix says,
    bad_fill, no_words, too_large.
    """
    target = image.target
    if target.word > 8:
        raise Fault("bad_record", form="an S-record", bits=target.word)
    found = blocks(image, filler(options, image))
    start = start_of(image)
    highest = max(image.end - 1, start)
    needed = max(2, (highest.bit_length() + 7) // 8)
    width = WIDTHS.get(suffix, min(needed, 4))
    if width < needed:
        hint = "the suffix .srec takes addresses as wide as they need to be"
        raise Fault("narrow_record", hint=hint, address=target.hex_address(highest), suffix=suffix, bits=8 * width)
    text = BytesIO()
    text.write(_record(HEADER, 0, options.name.encode("ascii", "replace")[:LONGEST_NAME]))
    count = 0
    for block in found:
        words = packed(block.words, 1, "big")
        for first in range(0, len(words), RECORD):
            text.write(_record(width - 1, block.start + first, words[first : first + RECORD]))
            count += 1
    text.write(_record(COUNT if count <= 0xFFFF else LONG_COUNT, count))
    text.write(_record(11 - width, start))
    return text.getvalue()


def start_of(image: Image) -> int:
    """The address in the end record."""
    if image.entry is not None:
        return image.entry
    return 0 if image.target.start_vector else image.start


def _record(kind: int, address: int, data: bytes = b"") -> bytes:
    width = ADDRESSES[kind]
    content = bytes((width + len(data) + 1,)) + address.to_bytes(width, "big") + data
    return f"S{kind}{content.hex().upper()}{~sum(content) & 0xFF:02X}\n".encode("ascii")


def read(data: bytes, path: str, reading: Reading) -> ReadImage:
    """The words of a file, its start address and its title. The digits may be small letters.

    All data records have addresses of one width, and the end record goes with them: so a wrong digit in the kind of a
    record, which is no part of its sum, shows. Raises Fault with a place: read_empty, read_mark, read_digit, read_half,
    read_short, read_length, read_checksum, read_kind, read_size, read_mixed, read_order, read_count, read_behind, read_cut, and those
    of words that cannot be: read_word, read_overlap, read_beyond, read_pieces.
    """
    return _Reader(Text(data, path), reading).image()


class _Reader:
    def __init__(self, text: Text, reading: Reading) -> None:
        self.text = text
        self.pieces = Pieces(reading.word)
        self.kind = 0  # of the data records
        self.records = 0
        self.before = -1  # the kind of the record before this one
        self.title = ""
        self.entry = 0

    def image(self) -> ReadImage:
        text = self.text
        for start, row in text.rows():
            if self.before in END:
                raise text.fault("read_behind", start, start + len(row))
            if row[0] != 0x53:
                raise text.fault("read_mark", start, wanted="S", found=text.character(start))
            kind = row[1] - 0x30 if len(row) > 1 else -1
            if kind not in ADDRESSES:
                kind_shown = text.shown(start + 1, start + 2) if len(row) > 1 else ""
                raise text.fault("read_kind", start, start + 2, kind=f"S{kind_shown}", known="S0 to S3 and S5 to S9")
            content = record_bytes(text, start, row, 2)
            if not content or content[0] != len(content) - 1 or sum(content) & 0xFF != 0xFF:
                check(text, start, row, content, 2, 1, lambda total: ~total & 0xFF)
            self.record(start, row, kind, content)
            self.before = kind
        if self.before not in END:
            raise text.fault("read_empty", 0) if self.before < 0 else text.ends("without an end record (S7, S8 or S9)")
        if not self.pieces:
            raise text.fault("read_empty", 0)
        return ReadImage(text.path, ".srec", self.pieces.parts(), self.entry, self.title)

    def record(self, start: int, row: bytes, kind: int, content: bytes) -> None:
        text = self.text
        width = ADDRESSES[kind]
        least = width + 1 + (kind in DATA)
        most = 255 if kind in DATA or kind == HEADER else least
        if not least <= content[0] <= most:
            wanted = f"{least}" if least == most else f"{least} or more"
            raise text.fault("read_size", start + 2, start + 4, kind=f"S{kind}", wanted=wanted, found=content[0])
        address = int.from_bytes(content[1 : 1 + width], "big")
        if kind in DATA:
            self.data(start, kind, address, content[1 + width : -1])
        elif kind == HEADER:
            if self.before >= 0:
                raise self.order(start, kind)
            self.title = content[3:-1].decode("ascii", "replace")
        elif kind in END:
            if self.kind not in (0, 10 - kind):
                raise self.mixed(start, kind)
            self.entry = address
        else:
            if self.before in (COUNT, LONG_COUNT):
                raise self.order(start, kind)
            if address != self.records:
                raise text.fault("read_count", start + 4, start + 4 + 2 * width, told=address, found=self.records)

    def data(self, start: int, kind: int, address: int, words: bytes) -> None:
        if self.kind not in (0, kind):
            raise self.mixed(start, kind)
        if self.before in (COUNT, LONG_COUNT):
            raise self.order(start, kind)
        self.kind = kind
        self.records += 1
        try:
            self.pieces.add(address, words)
        except Clash as clash:
            at = start + 4 + 2 * (ADDRESSES[kind] + clash.index)
            raise clash.at(self.text, at, at + 2) from None

    def mixed(self, start: int, kind: int) -> Fault:
        return self.text.fault("read_mixed", start, start + 2, kind=f"S{kind}", first=f"S{self.kind}")

    def order(self, start: int, kind: int) -> Fault:
        return self.text.fault("read_order", start, start + 2, kind=f"S{kind}", before=f"S{self.before}")
