"""The hex memory file that `$readmemh` of IEEE 1364 (clause on loading memory data from a file; from memory) reads.

It holds hexadecimal numbers, one a word, with blanks or comments between them. `@` and a hexadecimal address say where
the words behind it go; without one the first goes to address 0.
"""

from __future__ import annotations

import re
from io import BytesIO

from xasm.formats.blocks import blocks, rows
from xasm.formats.options import Options, filler
from xasm.formats.reading import HIGHEST, Clash, Pieces, ReadImage, Reading, Text
from xasm.linking.image import Image
from xasm.source.diagnostics import Fault

TOKEN = re.compile(
    rb"(?P<run>(?:[0-9A-Fa-f]{1,16}+\s++){1,4096}+)"  # many plain words at once
    rb"|(?P<blank>(?:\s++|//[^\r\n]*+|/\*(?s:.*?)\*/)++)"
    rb"|(?P<address>@[0-9A-Za-z_?]*+)"
    rb"|(?P<number>[0-9A-Za-z_?]++)"
    rb"|(?P<open>/\*)"
    rb"|(?P<other>(?s:.))"
)
NUMBER = re.compile(rb"[0-9A-Fa-f][0-9A-Fa-f_]*+")
UNKNOWN = b"xXzZ?"
WORD = re.compile(rb"\S+")


def write(image: Image, options: Options) -> bytes:
    """The text of the file: before each span a line with its address, then rows of up to 16 words; words and addresses have
    as many digits as the chip's. Lines end with one line feed. Raises Fault: bad_fill, no_words, too_large."""
    target = image.target
    text = BytesIO()
    for block in blocks(image, filler(options, image)):
        text.write(f"@{target.hex_address(block.start)[2:]}\n".encode("ascii"))
        for _, row in rows(block, target):
            text.write(f"{row}\n".encode("ascii"))
    return text.getvalue()


def read(data: bytes, path: str, reading: Reading) -> ReadImage:
    """The words of a file: as the standard has it, `_` may stand behind the first digit of a number, and `//` and `/* */`
    make comments. Digits for unknown and floating bits (x, z) are refused: memory holds none.

    Raises Fault with a place: read_empty, read_digit, read_unknown_bits, read_no_digits, read_other, read_open, and those
    of words that cannot be: read_word, read_overlap, read_beyond, read_pieces.
    """
    text = Text(data, path)
    pieces = Pieces(reading.word)
    address = reading.address or 0
    for match in TOKEN.finditer(data, text.begin):
        start, end = match.span()
        kind = match.lastgroup
        words: bytes | tuple[int, ...]
        if kind == "run":
            words = plain_words(match[0])
        elif kind == "number":
            words = (_number(text, start, end),)
        elif kind == "address":
            if end == start + 1:
                raise text.fault("read_no_digits", start)
            address = _number(text, start + 1, end)
            if address > HIGHEST:
                raise text.fault("read_beyond", start, end, top=f"0x{HIGHEST:X}")
            continue
        elif kind == "open":
            raise text.fault("read_open", start, start + 2, what="comment", closing="*/")
        elif kind == "other":
            raise text.fault("read_other", start, found=text.character(start), wanted="hexadecimal words, @ and an address, or comments")
        else:
            continue
        try:
            pieces.add(address, words)
        except Clash as clash:
            raise _clash(clash, text, start, end) from None
        address += len(words)
    if not pieces:
        raise text.fault("read_empty", 0)
    return ReadImage(path, ".mem", pieces.parts())


def plain_words(digits: bytes) -> bytes | tuple[int, ...]:
    """Words of hexadecimal digits with blanks between them: bytes where each has two digits."""
    words = digits.split()
    if all(len(word) == 2 for word in words):
        return bytes.fromhex(b"".join(words).decode("ascii"))
    return tuple(int(word, 16) for word in words)


def _clash(clash: Clash, text: Text, start: int, end: int) -> Fault:
    """The fault of a word among several."""
    for index, match in enumerate(WORD.finditer(text.data, start, end)):
        if index == clash.index:
            start, end = match.span()
            break
    return clash.at(text, start, end)


def _number(text: Text, start: int, end: int) -> int:
    data = text.data
    match = NUMBER.match(data, start, end)
    bad = match.end() if match else start
    if bad == end:
        return int(data[start:end].replace(b"_", b""), 16)
    if data[bad] in UNKNOWN:
        raise text.fault("read_unknown_bits", bad, digit=text.character(bad))
    raise text.fault("read_digit", bad, found=text.character(bad))
