"""What was linked: words at addresses, and the names of addresses."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from xasm.target.model import Target


class Span(NamedTuple):
    """Words without a gap: `start` is an address, `words` a bytes-like or list of integers, one a word."""

    start: int
    words: Sequence[int]

    @property
    def end(self) -> int:
        """The address behind the last word."""
        return self.start + len(self.words)


@dataclass
class Image:
    """A sparse memory image. `parts` are disjoint and sorted; a gap is a gap until a writer fills it.

    `symbols` maps each label and constant to its value; `start` is where the chip begins (an address, or that of
    the vector which holds it, as the table says); `entry` is what the source's END statement named, or None.
    `public` names the symbols that are meant for others, such as the C program that holds the image.
    """

    target: Target
    parts: tuple[Span, ...]
    symbols: dict[str, int] = field(default_factory=dict)
    entry: int | None = None
    public: tuple[str, ...] = ()

    @property
    def spans(self) -> list[tuple[int, bytes | tuple[int, ...]]]:
        """(address, words) of each filled span: bytes where a word has at most 8 bits, else a tuple of integers."""
        if self.target.word <= 8:
            return [(part.start, bytes(part.words)) for part in self.parts]
        return [(part.start, tuple(part.words)) for part in self.parts]

    @property
    def start(self) -> int:
        return self.target.start

    @property
    def lowest(self) -> int:
        return self.parts[0].start if self.parts else 0

    @property
    def end(self) -> int:
        """The address behind the highest word."""
        return self.parts[-1].end if self.parts else 0

    def __len__(self) -> int:
        """Filled words."""
        return sum(len(part.words) for part in self.parts)

    def __getitem__(self, address: int) -> int | None:
        """The word at an address, None in a gap."""
        for part in self.parts:
            if part.start <= address < part.end:
                return part.words[address - part.start]
        return None

    def cells(self) -> Iterator[tuple[int, int]]:
        """(address, word) of every filled word, ascending."""
        for part in self.parts:
            yield from enumerate(part.words, part.start)
