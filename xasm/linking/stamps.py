"""Stamps: checksums, lengths and texts, filled into an image that is finished but for them.

A stamp's own words are no part of what a CRC covers; in a sum they count, as it is they that bring it to its total. Stamps that
others cover are filled in before these.
"""

from __future__ import annotations

import zlib
from binascii import crc_hqx
from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

from xasm.assembly.module import Entry, Stamp
from xasm.linking.image import Span
from xasm.linking.layout import Layout
from xasm.linking.program import Program
from xasm.source.diagnostics import Fault, elsewhere
from xasm.syntax.expressions import shown
from xasm.target.model import Target

REFLECTED = bytes(int(f"{byte:08b}"[::-1], 2) for byte in range(256))


def kermit(data: bytes) -> int:
    """The CRC of data taken lowest bit first, which is that of the mirrored bytes, mirrored."""
    return int(f"{crc_hqx(data.translate(REFLECTED), 0):016b}"[::-1], 2)


# By the names of the published catalogue of parametrised CRC algorithms: CRC-16/IBM-3740, CRC-16/XMODEM, CRC-16/KERMIT,
# CRC-32/ISO-HDLC.
CRCS: dict[str, Callable[[bytes], int]] = {
    "CRC16": lambda data: crc_hqx(data, 0xFFFF),
    "CRC16_XMODEM": lambda data: crc_hqx(data, 0),
    "CRC16_KERMIT": kermit,
    "CRC32": zlib.crc32,
}


class Cover(NamedTuple):
    """A stamp at an entry: its own words and those that it covers, both as (first, behind the last) in the image; the covered
    ones in parts where windows cut them."""

    entry: int
    piece: Stamp
    own: tuple[int, int]
    parts: list[tuple[int, int]]

    def covers(self, other: Cover) -> bool:
        return any(first < other.own[1] and other.own[0] < end for first, end in self.parts)


class Stamping:
    """Fills in the stamps of a program. `image_parts` gives the image's address ranges of chip addresses as an entry sees
    them; `fill` is what gaps hold (None: nothing is known)."""

    def __init__(
        self,
        program: Program,
        layout: Layout,
        parts: Sequence[Span],
        image_parts: Callable[[int, int, int], Iterator[tuple[int, int]]],
        fill: int | None,
        text: str,
    ) -> None:
        self.program = program
        self.layout = layout
        self.parts = parts
        self.image_parts = image_parts
        self.fill = fill
        self.text = text

    def run(self, report: Callable[[Fault, Entry], None], words: list[Sequence[int]]) -> None:
        """Fills in all stamps, in the image's parts and in the words of their entries; reports what cannot be."""
        covers = []
        for index, entry in enumerate(self.program.entries):
            if isinstance(entry.piece, Stamp) and words[index]:
                try:
                    covers.append(self._cover(index, entry.piece))
                except Fault as fault:
                    report(fault, entry)
        done: set[int] = set()
        for cover in covers:
            self._in_order(cover, covers, done, [], report, words)

    def _in_order(
        self,
        cover: Cover,
        covers: Sequence[Cover],
        done: set[int],
        path: list[Cover],
        report: Callable[[Fault, Entry], None],
        words: list[Sequence[int]],
    ) -> None:
        """Fills in a stamp behind those that it covers."""
        if cover.entry in done:
            return
        entries = self.program.entries
        for other in covers:
            if other is cover or other.entry in done or not cover.covers(other):
                continue
            if other in path or len(path) > 100:
                done.add(cover.entry)
                here = entries[cover.entry]
                report(Fault("stamps_meet", other=elsewhere(entries[other.entry].place, here.place)), here)
                return
            self._in_order(other, covers, done, [*path, cover], report, words)
        done.add(cover.entry)
        try:
            words[cover.entry] = made = self._words(cover)
        except Fault as fault:
            report(fault, entries[cover.entry])
            return
        part = self._part(cover.own[0])
        part.words[cover.own[0] - part.start : cover.own[1] - part.start] = made  # type: ignore[index]

    def _part(self, address: int) -> Span:
        return next(part for part in self.parts if part.start <= address < part.end)

    def _value(self, index: int, number: int) -> int:
        """The value of a stamp's expression. Raises Fault."""
        entry = self.program.entries[index]
        assert isinstance(entry.piece, Stamp)
        return self.layout.values.of(entry.piece.nodes[number], self.program.unit_of(index), entry.scope, index)

    def _cover(self, index: int, piece: Stamp) -> Cover:
        """What a stamp covers. Raises Fault."""
        address = self.layout.addresses[index]
        ((first, end),) = self.image_parts(index, address, address + piece.size)
        if piece.kind == "TEXT":
            return Cover(index, piece, (first, end), [])
        start, stop = self._value(index, 0), self._value(index, 1)
        top = self.program.target.top
        if not 0 <= start <= stop <= top + 1:
            node = piece.nodes[1 if 0 <= start <= top else 0]
            raise node.fault("stamp_range", first=shown(start), behind=shown(stop), top=shown(top + 1))
        parts = list(self.image_parts(index, start, stop)) if piece.kind != "LENGTH" else []
        return Cover(index, piece, (first, end), parts)

    def _words(self, cover: Cover) -> bytes | list[int]:
        """The words of a stamp. Raises Fault."""
        target = self.program.target
        piece = cover.piece
        if piece.kind == "TEXT":
            return self._text(piece, target)
        if piece.kind == "LENGTH":
            value = self._value(cover.entry, 1) - self._value(cover.entry, 0)
        elif piece.kind == "CHECKSUM":
            total = self._value(cover.entry, 2) if len(piece.nodes) > 2 else 0
            if not 0 <= total < 1 << target.word:
                raise piece.nodes[2].fault("out_of_range", value=shown(total), range=f"0..{(1 << target.word) - 1}")
            if not cover.covers(cover):
                raise Fault("stamp_outside")
            value = total - sum(sum(words) for words in self._covered(cover))
        else:
            data = b"".join(in_bytes(words, target) for words in self._covered(cover))
            value = CRCS[piece.kind](data)
        found = [value >> target.word * index & ((1 << target.word) - 1) for index in range(piece.size)]
        return row(found if target.order == "little" else found[::-1], target)

    def _text(self, piece: Stamp, target: Target) -> bytes | list[int]:
        """The text that was given with the build, filled up with zeros. Raises Fault."""
        if not self.text:
            raise Fault("stamp_no_text", hint='--build-text "..." gives it')
        if not self.text.isascii():
            raise Fault("not_ascii", character=next(one for one in self.text if not one.isascii()))
        if len(self.text) > piece.size:
            raise piece.nodes[0].fault("stamp_text_long", length=len(self.text), size=piece.size)
        return row([*map(ord, self.text), *[0] * (piece.size - len(self.text))], target)

    def _covered(self, cover: Cover) -> Iterator[Sequence[int]]:
        """The words that a stamp covers, without its own. Raises Fault for a gap, when nothing is known of gaps."""
        for begin, end in cover.parts:
            for first, last in ((begin, min(end, cover.own[0])), (max(begin, cover.own[1]), end)):
                while first < last:
                    part = next((part for part in self.parts if part.start <= first < part.end), None)
                    behind = min((part.start for part in self.parts if part.start > first), default=last)
                    until = min(last, part.end if part is not None else behind)
                    if part is not None:
                        yield part.words[first - part.start : until - part.start]
                    elif self.fill is None:
                        hint = "--fill BYTE, or 'fill' in the board, says what stands in gaps"
                        raise Fault("stamp_gap", hint=hint, address=f"0x{first:X}")
                    else:
                        yield row([self.fill] * (until - first), self.program.target)
                    first = until


def row(words: list[int], target: Target) -> bytes | list[int]:
    """Words as the image keeps them."""
    return bytes(words) if target.word <= 8 else words


def in_bytes(words: Sequence[int], target: Target) -> bytes:
    """Words as bytes, as a raw binary has them."""
    if target.cell == 1:
        return bytes(words)
    order = "little" if target.order == "little" else "big"
    return b"".join(word.to_bytes(target.cell, order) for word in words)  # type: ignore[arg-type]
