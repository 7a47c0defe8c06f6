"""Faults of the wiring, as what they make of addresses and words.

A fault is looked at in up to three ways. SEEN: only what is printed is wrong, and the chip runs as it should. GIVEN: the fault
lies between chip and memory, the memory answers what it is asked, and the chip runs on what reaches it; printed is what the
memory gave. BACK: the same, printed is what was read back from the lines.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import combinations, product
from typing import NamedTuple

from xasm.bus.capture import NOTHING
from xasm.bus.memory import Memory
from xasm.target.bus_parts import Lines, default_lines
from xasm.target.model import Target

SEEN, GIVEN, BACK = "seen", "given", "back"

Change = Callable[[int], int]


def unchanged(value: int) -> int:
    return value


class Mix(NamedTuple):
    """A line of the address and one of the data as one (as masks): the lower level of both wins, or the higher, or, where `high`
    is None, each shows what the other carries."""

    address: int
    word: int
    high: bool | None

    def apply(self, address: int, word: int) -> tuple[int, int]:
        """What becomes of an address and of the word at the same time."""
        one, other = bool(address & self.address), bool(word & self.word)
        if self.high is None:
            one, other = other, one
        else:
            one = other = (one or other) if self.high else (one and other)
        return address & ~self.address | self.address * one, word & ~self.word | self.word * other

    def can_show(self, address: int, word: int) -> bool:
        """Whether both can be seen at the same time."""
        return self.high is None or word == NOTHING or self.apply(address, word) == (address, word)


class Defect(NamedTuple):
    """A fault by name: what it makes of an address and of a word; `flips` are the patterns by which addresses differ that it
    may make the same. `kind` is what it is a case of. With `mix` it lets a line of the address meet one of the data."""

    kind: str
    title: str
    address: Change = unchanged
    word: Change = unchanged
    flips: tuple[int, ...] = (0,)
    shift: int = 0  # words come from that many addresses further on
    late: bool = False  # a word is that of the access before
    mix: Mix | None = None


class Wiring:
    """A fault looked at in one way, over a memory."""

    def __init__(self, memory: Memory, defect: Defect, how: str = SEEN) -> None:
        self.memory = memory
        self.defect = defect
        self.how = how
        self.address = defect.address
        self.top = memory.target.top
        self._changed = defect.address is not unchanged
        self._mix = defect.mix if how == SEEN else None
        self.sure = ~self._mix.address if self._mix is not None else -1  # the bits of an address that no word changes

    def can_show(self, address: int, word: int) -> bool:
        """Whether an address and a word (NOTHING: none, or one that was written) can be printed at all while the fault is there."""
        defect = self.defect
        swapped = defect.kind == "swapped"
        if self._changed and self._mix is None and not swapped and self.address(address) != address:
            return False
        if word == NOTHING or defect.shift or defect.late:
            return True
        if self.how != SEEN:
            there = self.memory.given(address)
            return there is None or word == (there if self.how == GIVEN else self._given(address, there))
        meant = self.origins(address, word, False)
        if self._mix is not None:
            return bool(meant)
        return any(self._can_come(self.memory.given(one), word) for one in meant)

    def _can_come(self, there: int | None, word: int) -> bool:
        """Whether a word can be seen where the memory has `there` (None: unknown)."""
        if there is None:
            return self.defect.kind == "swapped" or self.defect.word(word) == word
        return self.defect.word(there) == word

    def origins(self, address: int, word: int, write: bool) -> tuple[int, ...]:
        """The addresses that the chip may have meant."""
        meant = [address ^ flip for flip in self.defect.flips]
        if self._mix is not None:
            return tuple(one for one in meant if self._can_be(one, self._mix, address, word, write))
        return tuple(one for one in meant if self.address(one) == address) or (address,)

    def first(self, place: int) -> int:
        """The address that is printed for a fetch at a place."""
        word = self.memory.word(place)
        address = self.address(place)
        return address if self._mix is None or word is None else self._mix.apply(address, word)[0]

    def besides(self, address: int, word: int, write: bool) -> bool:
        """Whether an access can be one that is no fetch."""
        if self._mix is not None:
            return True  # its origins tell
        if self._changed:
            return any(self.address(address ^ flip) == address for flip in self.defect.flips)
        if write or word == NOTHING or self.defect.shift or self.defect.late:
            return True
        there = self.memory.given(address)
        return there is None or word == (there if self.how == GIVEN else self._given(address, there))

    def _can_be(self, meant: int, mix: Mix, address: int, word: int, write: bool) -> bool:
        """Whether an access of an address can be seen as another one with a word. Where the program has no word, shorted lines are
        not taken to have moved the address: nothing would tell."""
        asked = self.address(meant)
        if word == NOTHING:
            return not (asked ^ address) & self.sure
        there = None if write else self.memory.given(meant)
        if there is not None:
            return mix.apply(asked, there) == (address, word)
        if mix.high is not None:
            return asked == address and mix.can_show(address, word)
        return any(mix.apply(asked, put) == (address, word) for put in (word, word ^ mix.word))

    def _given(self, address: int, word: int) -> int:
        """What the fault makes of a word."""
        mix = self.defect.mix
        return self.defect.word(word) if mix is None else mix.apply(address, word)[1]

    def word(self, place: int, shown: int, index: int, addresses: Sequence[int]) -> tuple[bool, int]:
        """Whether what is printed can be the word of a fetch at `place`, and the word that the chip gets (NOTHING: unknown)."""
        defect = self.defect
        if defect.mix is not None:
            return self._met(place, shown, addresses[index], defect.mix)
        if defect.late:
            there = self.memory.given(addresses[index - 1]) if index else None
        else:
            source = place if self.how == SEEN else defect.address(place)
            there = self.memory.word(source + defect.shift & self.top)
        printed = there if there is None or self.how == GIVEN else defect.word(there)
        if printed is not None and shown not in (NOTHING, printed):
            return False, NOTHING
        if self.how == SEEN and (defect.shift or defect.late):
            there = self.memory.word(place)
        if there is None:
            there = shown
        if there == NOTHING:
            return True, NOTHING
        return True, there if self.how == SEEN else defect.word(there)

    def _met(self, place: int, shown: int, address: int, mix: Mix) -> tuple[bool, int]:
        """The same for a line of the address that meets one of the data."""
        asked = self.address(place)
        there = self.memory.word(place if self.how == SEEN else asked)
        if there is None:
            return mix.can_show(address, shown) if self.how == SEEN else True, NOTHING
        seen, got = mix.apply(asked, there)
        if self.how == SEEN:
            return seen == address and shown in (NOTHING, got), there
        return shown in (NOTHING, there if self.how == GIVEN else got), got


def none(memory: Memory) -> Wiring:
    """No fault at all."""
    return Wiring(memory, Defect("none", ""))


class Pin(NamedTuple):
    """One line: its name, and the bits of an address and of a word that it carries, piece by piece (None: no bit there)."""

    name: str
    address: tuple[int | None, ...]
    data: tuple[int | None, ...]

    def mask(self, bits: tuple[int | None, ...]) -> int:
        return sum(1 << bit for bit in bits if bit is not None)


def pins(group: Lines, target: Target) -> list[Pin]:
    """The lines of a group."""

    def bits(pieces: tuple[int, ...], number: int, width: int) -> tuple[int | None, ...]:
        return tuple(piece + number if piece + number < width else None for piece in pieces)

    numbers = range(group.size)
    return [
        Pin(f"{group.name}{group.first + number}", bits(group.address, number, target.address), bits(group.data, number, target.word))
        for number in numbers
    ]


def defects(target: Target) -> Iterator[Defect]:
    """Every simple fault of the lines: one stuck, two swapped, two shorted, in a group and between groups."""
    sets = [[pins(group, target) for group in groups] for groups in (target.lines, behind_latches(target))]
    groups = [*sets[0], *sets[1]]
    for group in groups:
        for pin in group:
            yield from stuck(pin)
    for group in groups:
        for one, other in combinations(group, 2):
            yield swapped(one, other)
    for group in groups:
        for one, other in combinations(group, 2):
            yield from shorted(one, other)
    for together in sets:
        for first, second in combinations(together, 2):
            for one, other in product(first, second):
                yield from between(one, other)


def behind_latches(target: Target) -> tuple[Lines, ...]:
    """The bits of addresses and words one by one, where the chip's own lines carry several of them in turn: as behind latches,
    or inside the host."""
    if all(len(group.address) + len(group.data) == 1 for group in target.lines):
        return ()
    return tuple(
        group._replace(name={"A": "address bit ", "D": "data bit "}[group.name]) for group in default_lines(target.address, target.word)
    )


def stuck(pin: Pin) -> Iterator[Defect]:
    address, data = pin.mask(pin.address), pin.mask(pin.data)
    flips = _parts([bit for bit in pin.address if bit is not None])
    lows = (lambda value: value & ~address, lambda value: value & ~data)
    highs = (lambda value: value | address, lambda value: value | data)
    for level, (change, word) in (("low", lows), ("high", highs)):
        yield Defect("stuck", f"{pin.name} stuck {level}", change if address else unchanged, word if data else unchanged, flips)


def swapped(one: Pin, other: Pin) -> Defect:
    address = _pairs(one.address, other.address)
    data = _pairs(one.data, other.data)
    flips = _parts_of([(1 << a | 1 << b,) for a, b in address])
    return Defect("swapped", f"{one.name} and {other.name} swapped", _swapper(address), _swapper(data), flips)


def shorted(one: Pin, other: Pin) -> Iterator[Defect]:
    address = _pairs(one.address, other.address)
    data = _pairs(one.data, other.data)
    flips = _parts_of([(1 << a, 1 << b, 1 << a | 1 << b) for a, b in address])
    for high in (False, True):
        title = f"{one.name} and {other.name} shorted, {'high' if high else 'low'} wins"
        yield Defect("shorted", title, _shorter(address, high), _shorter(data, high), flips)


def between(one: Pin, other: Pin) -> Iterator[Defect]:
    """Two lines of different groups: bits of the address that they carry at the same time meet, and so do the data of one and
    what stands on the other of the address meanwhile."""
    pairs = _pairs(one.address, other.address) if len(one.address) == len(other.address) else []
    data, address = (one, other) if one.data else (other, one)
    places = [bit for bit in address.address if bit is not None]
    standing = 1 << places[-1] if places and not address.mask(address.data) else 0
    met = data.mask(data.data) if standing else 0
    if not pairs and not met:
        return
    for high, how in ((None, "swapped"), (False, "shorted, low wins"), (True, "shorted, high wins")):
        change = _swapper(pairs) if high is None else _shorter(pairs, high)
        flips = _parts_of([(1 << a | 1 << b,) if high is None else (1 << a, 1 << b, 1 << a | 1 << b) for a, b in pairs])
        flips = tuple(dict.fromkeys((*flips, *(flip ^ standing for flip in flips))))
        mix = Mix(standing, met, high) if met else None
        yield Defect("swapped" if high is None else "shorted", f"{one.name} and {other.name} {how}", change, flips=flips, mix=mix)


def _pairs(one: tuple[int | None, ...], other: tuple[int | None, ...]) -> list[tuple[int, int]]:
    return [(a, b) for a, b in zip(one, other, strict=True) if a is not None and b is not None]


def _parts(bits: Sequence[int]) -> tuple[int, ...]:
    return _parts_of([(1 << bit,) for bit in bits])


def _parts_of(choices: Sequence[tuple[int, ...]]) -> tuple[int, ...]:
    """All sums of one of each choice, or none of it."""
    found = [0]
    for choice in choices:
        found = [value | more for value in found for more in (0, *choice)]
    return tuple(found)


def _swapper(pairs: list[tuple[int, int]]) -> Change:
    if not pairs:
        return unchanged

    def swap(value: int) -> int:
        for a, b in pairs:
            if (value >> a ^ value >> b) & 1:
                value ^= 1 << a | 1 << b
        return value

    return swap


def _shorter(pairs: list[tuple[int, int]], high: bool) -> Change:
    if not pairs:
        return unchanged

    def short(value: int) -> int:
        for a, b in pairs:
            if (value >> a ^ value >> b) & 1:
                value = value | 1 << a | 1 << b if high else value & ~(1 << a | 1 << b)
        return value

    return short


def wirings(memory: Memory, defect: Defect) -> Iterator[Wiring]:
    """The ways to look at a fault that differ. Between an address and data that change places the chip gets what floats: no
    way of it is foretold."""
    yield Wiring(memory, defect, SEEN)
    if defect.mix is not None and defect.mix.high is None:
        return
    yield Wiring(memory, defect, GIVEN)
    if defect.mix is not None or defect.word is not unchanged:
        yield Wiring(memory, defect, BACK)
