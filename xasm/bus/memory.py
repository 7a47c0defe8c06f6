"""Program memory as the chip sees it: the word at each address, and what is known about it."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from typing import NamedTuple

from xasm.assembly.module import Encoded, SectionStart, Words
from xasm.linking.board import Board
from xasm.linking.image import Image
from xasm.linking.linker import Linked
from xasm.source.files import Place
from xasm.target.decode import Decoder, Instruction
from xasm.target.forms import Form

CODE, DATA, FILLER, UNKNOWN = "code", "data", "filler", "unknown"


class Stretch(NamedTuple):
    """Addresses `start` .. `end - 1` that one statement fills: CODE, DATA or FILLER, and where it stands."""

    start: int
    end: int
    what: str
    place: Place


class Memory:
    """Words by address. `image` is all that is known of them; a board says where the image's words are seen (of windows that
    share addresses the first is taken) and what free words of ROM hold. `stretches` tell code from data; they are known
    for a program with source, and sorted. `labels` maps addresses to the names that stand there."""

    def __init__(self, image: Image, board: Board | None = None, stretches: Sequence[Stretch] = (), fill: int | None = None) -> None:
        self.image = image
        self.target = image.target
        windows = board.windows if board is not None else ()
        self.windows = [window for window in windows if not window.space]
        self.fill = fill if fill is not None else board.fill if board is not None else None
        self.stretches = sorted(stretches, key=lambda one: one.start)
        self._starts = [stretch.start for stretch in self.stretches]
        self.labels: dict[int, str] = {}
        self._decoder = Decoder(self.target)
        self._words: dict[int, int | None] = {}
        self._given: dict[int, int | None] = {}
        self._read: dict[int, Instruction | None] = {}

    def word(self, address: int) -> int | None:
        """The word that the chip reads at an address; None where nothing says so."""
        if address not in self._words:
            self._words[address] = self._find(address)
        return self._words[address]

    def _find(self, address: int) -> int | None:
        word = self.given(address)
        return self.fill if word is None and self._is_rom(address) else word

    def _of_image(self, address: int) -> int | None:
        around = [window for window in self.windows if window.holds(address)]
        for window in around:
            if window.image is not None:
                word = self.image[address - window.start + window.image]
                if word is not None:
                    return word
        return self.image[address] if not around else None

    def keeps(self, address: int) -> bool:
        """Whether a board says that the word at an address is one of ROM."""
        return any(window.holds(address) for window in self.windows) and self._is_rom(address)

    def _is_rom(self, address: int) -> bool:
        return not self.windows or any(window.kind == "rom" and window.holds(address) for window in self.windows)

    def address_at(self, place: int) -> int | None:
        """The address that the program has at a place in ROM, or anywhere if no board tells ROM from RAM; None where a word is
        missing."""
        return self.address_put(place) if self._is_rom(place) else None

    def address_put(self, place: int) -> int | None:
        """The same wherever it is, before anything is written there."""
        words = [self.given(one) for one in self.places(place)]
        return self.number([self.image[one] if word is None else word for one, word in zip(self.places(place), words, strict=True)])

    def places(self, first: int) -> list[int]:
        """The places of the words of an address that begins at one."""
        return [first + offset & self.target.top for offset in range(-(-self.target.address // self.target.word))]

    def number(self, words: Sequence[int | None]) -> int | None:
        """The address that some words make; None where one of them is not known."""
        value = 0
        for word in words if self.target.order == "big" else reversed(words):
            if word is None:
                return None
            value = value << self.target.word | word
        return value & self.target.top

    def free(self, address: int) -> bool:
        """Whether the word is one that only the filler gives."""
        return self.fill is not None and self.word(address) is not None and self.given(address) is None

    def given(self, address: int) -> int | None:
        """The word that the program itself has at an address."""
        if address not in self._given:
            self._given[address] = self._of_image(address)
        return self._given[address]

    def stretch(self, address: int) -> Stretch | None:
        """The statement that fills an address, if it is known."""
        index = bisect_right(self._starts, address) - 1
        if index >= 0 and self.stretches[index].end > address:
            return self.stretches[index]
        return None

    def what(self, address: int) -> str:
        """CODE, DATA or FILLER; UNKNOWN for the words of a file that is no source."""
        stretch = self.stretch(address)
        if stretch is not None:
            return stretch.what
        return FILLER if self.stretches or self.free(address) else UNKNOWN

    def instruction(self, address: int) -> Instruction | None:
        """The instruction at an address; None where words are not known or are none."""
        if address not in self._read:
            words = []
            for offset in range(self.longest):
                word = self.word(address + offset & self.target.top)
                if word is None:
                    break
                words.append(word)
            self._read[address] = self.decode(words, address)
        return self._read[address]

    def decode(self, words: Sequence[int], address: int) -> Instruction | None:
        """The instruction that some words begin with, were they at an address."""
        return self._decoder.decode(words, address) if words else None

    def beginning(self, word: int) -> list[Form]:
        """The forms that can begin with a word."""
        return self._decoder.beginning(word)

    @property
    def longest(self) -> int:
        """The most words of an instruction."""
        return self._decoder.longest


def memory_of(linked: Linked, fill: int | None = None) -> Memory:
    """What is known of a program that was linked."""
    stretches = []
    elsewhere = set()  # entries of other address spaces
    space = ""
    for index, entry in enumerate(linked.program.entries):
        piece = entry.piece
        if isinstance(piece, SectionStart):
            space = piece.space
        if space:
            elsewhere.add(index)
        words = linked.words[index]
        if not words or space:
            continue
        form = None
        if isinstance(piece, Words):
            form, what = piece.form, DATA
        elif isinstance(piece, Encoded):
            form, what = piece.variants[linked.layout.chosen.get(index, 0)].form, DATA
        else:
            what = FILLER
        start = linked.layout.addresses[index]
        stretches.append(Stretch(start, start + len(words), what if form is None else CODE, entry.place))
    memory = Memory(linked.image, linked.board, stretches, fill)
    for symbol in linked.symbols:
        if symbol.kind == "label" and "." not in symbol.name and symbol.unit.labels[symbol.name] not in elsewhere:
            memory.labels.setdefault(symbol.value, symbol.name)
    return memory
