"""The words of a program, by address."""

from __future__ import annotations

from collections.abc import Iterator

from xasm.linking.image import Image
from xasm.source.diagnostics import Fault
from xasm.source.files import whole
from xasm.target.model import Target

MOST_WORDS = 1 << 18  # that are looked at: four times what 16 bits of address reach


class Memory:
    """The words of an image. `path` is the file they came from, for messages."""

    def __init__(self, image: Image, path: str) -> None:
        if not len(image):
            raise Fault("read_empty", place=whole(path))
        if len(image) > MOST_WORDS:
            raise Fault("recover_large", place=whole(path), count=len(image), limit=MOST_WORDS)
        self.target: Target = image.target
        self.parts = tuple((part.start, tuple(part.words)) for part in image.parts)
        self.words: dict[int, int] = {start + index: word for start, words in self.parts for index, word in enumerate(words)}

    def __contains__(self, address: int) -> bool:
        return address in self.words

    def __len__(self) -> int:
        return len(self.words)

    @property
    def bounds(self) -> tuple[int, int]:
        """The lowest and the highest address."""
        start, words = self.parts[-1]
        return self.parts[0][0], start + len(words) - 1

    def from_(self, address: int, count: int) -> tuple[int, ...]:
        """Up to `count` words from an address on, fewer where a gap comes."""
        found = []
        for at in range(address, address + count):
            word = self.words.get(at)
            if word is None:
                break
            found.append(word)
        return tuple(found)

    def run(self, address: int) -> tuple[int, ...]:
        """All words from an address on up to the next gap."""
        for start, words in self.parts:
            if start <= address < start + len(words):
                return words[address - start :]
        return ()

    def number(self, address: int, order: str | None = None) -> int | None:
        """The address that lies there in as many words as one takes; None where a word is missing or it is too big."""
        target = self.target
        words = self.from_(address, self.cells)
        if len(words) < self.cells:
            return None
        value = 0
        for word in words if (order or target.order) == "big" else reversed(words):
            value = value << target.word | word
        return value if value <= target.top else None

    @property
    def cells(self) -> int:
        """Words that an address takes."""
        return (self.target.address + self.target.word - 1) // self.target.word

    def addresses(self) -> Iterator[int]:
        for start, words in self.parts:
            yield from range(start, start + len(words))
