"""Captures damaged as a fault of the wiring damages them. Written apart from `xasm.bus.wiring`: bits of text, no masks."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import NamedTuple

from xasm.target.model import Target

Access = tuple[int, int, bool]


class Damage(NamedTuple):
    """A fault: the words that must name it, and what becomes of the digits of an address and of a word, lowest first."""

    kind: str
    title: str
    address: Callable[[list[str]], list[str]]
    data: Callable[[list[str]], list[str]]
    meet: tuple[int, int, str] | None = None  # a digit of the address and one of the word that meet, and who wins ("": they change)
    near: bool = True  # a single line, or one pair of lines side by side


def digits(value: int, bits: int) -> list[str]:
    return list(f"{value:0{bits}b}"[::-1])


def number(found: list[str]) -> int:
    return int("".join(found[::-1]), 2)


def changed(value: int, bits: int, change: Callable[[list[str]], list[str]]) -> int:
    return number(change(digits(value, bits)))


def keep(found: list[str]) -> list[str]:
    return found


def stuck(places: list[int], level: str) -> Callable[[list[str]], list[str]]:
    def change(found: list[str]) -> list[str]:
        return [level if place in places else digit for place, digit in enumerate(found)]

    return change


def swapped(pairs: list[tuple[int, int]]) -> Callable[[list[str]], list[str]]:
    def change(found: list[str]) -> list[str]:
        new = list(found)
        for one, other in pairs:
            new[one], new[other] = found[other], found[one]
        return new

    return change


def shorted(pairs: list[tuple[int, int]], winner: str) -> Callable[[list[str]], list[str]]:
    def change(found: list[str]) -> list[str]:
        new = list(found)
        for one, other in pairs:
            if winner in (found[one], found[other]):
                new[one] = new[other] = winner
        return new

    return change


class Line(NamedTuple):
    """A line by name, with the bits of addresses and of words that it carries."""

    name: str
    address: list[int]
    data: list[int]


# The lines of each chip, as its pins are called; typed here a second time, from memory of the makers' pin charts.
PLAIN = [[Line(f"A{bit}", [bit], []) for bit in range(16)], [Line(f"D{bit}", [], [bit]) for bit in range(8)]]
SHARED = [[Line(f"AD{bit}", [bit], [bit]) for bit in range(8)], [Line(f"A{bit}", [bit], []) for bit in range(8, 16)]]
LINES = {
    "1802": [[Line(f"MA{bit}", [bit, bit + 8], []) for bit in range(8)], [Line(f"BUS{bit}", [], [bit]) for bit in range(8)]],
    "2650": [PLAIN[0][:15], PLAIN[1]],
    "4004": [[Line(f"D{bit}", [bit, bit + 4, bit + 8], [bit, bit + 4]) for bit in range(4)]],
    "8008": [[Line(f"D{bit}", [bit, bit + 8] if bit < 6 else [bit], [bit]) for bit in range(8)]],
    "8048": [[Line(f"DB{bit}", [bit], [bit]) for bit in range(8)], [Line(f"P{bit + 12}", [bit], []) for bit in range(8, 12)]],
    "8051": SHARED,
    "8085": SHARED,
    "im6100": [[Line(f"A{bit}", [bit], []) for bit in range(12)], [Line(f"D{bit}", [], [bit]) for bit in range(12)]],
    "ins8060": [
        [Line(f"AD{bit}", [bit], []) for bit in range(12)],
        [Line(f"DB{bit}", [bit + 12] if bit < 4 else [], [bit]) for bit in range(8)],
    ],
}


def lines(chip: str) -> list[list[Line]]:
    return LINES.get({"4040": "4004", "8008-new": "8008"}.get(chip, chip), PLAIN)


def pairs(one: list[int], other: list[int]) -> list[tuple[int, int]]:
    return list(zip(one, other, strict=False))


def damages(chip: str) -> Iterator[Damage]:
    """Every single fault of the lines of a chip."""
    for group in lines(chip):
        for line in group:
            for word, level in (("low", "0"), ("high", "1")):
                yield Damage("stuck", f"{line.name} stuck {word}", stuck(line.address, level), stuck(line.data, level))
        for index, one in enumerate(group):
            for other in group[index + 1 :]:
                a, d = pairs(one.address, other.address), pairs(one.data, other.data)
                near = group.index(other) - index == 1
                yield Damage("swapped", f"{one.name} and {other.name} swapped", swapped(a), swapped(d), None, near)
                for word, winner in (("low", "0"), ("high", "1")):
                    title = f"{one.name} and {other.name} shorted, {word} wins"
                    yield Damage("shorted", title, shorted(a, winner), shorted(d, winner), None, near)
    yield from between(chip)


def between(chip: str) -> Iterator[Damage]:
    """The same with lines of two groups: the addresses that they carry at the same time, and a word on one of them that meets the
    address which the other still holds."""
    groups = lines(chip)
    for index, one in enumerate(groups[0] if len(groups) > 1 else []):
        for place, other in enumerate(groups[1]):
            a = pairs(one.address, other.address) if len(one.address) == len(other.address) else []
            holds, gives = (one, other) if other.data else (other, one)
            bits = (holds.address[-1], gives.data[0]) if gives.data and not holds.data else None
            near = place == index % len(groups[1])
            for title, change, winner in (
                ("swapped", swapped(a), ""),
                ("shorted, low wins", shorted(a, "0"), "0"),
                ("shorted, high wins", shorted(a, "1"), "1"),
            ):
                meet = (*bits, winner) if bits is not None else None
                yield Damage(title.partition(",")[0], f"{one.name} and {other.name} {title}", change, keep, meet, near)


def met(address: int, word: int, meet: tuple[int, int, str] | None, target: Target) -> tuple[int, int]:
    """An address and a word at the same time, two lines of which meet."""
    if meet is None:
        return address, word
    place, bit, winner = meet
    one, other = digits(address, target.address), digits(word, target.word)
    if not winner:
        one[place], other[bit] = other[bit], one[place]
    elif winner in (one[place], other[bit]):
        one[place] = other[bit] = winner
    return number(one), number(other)


def damaged(accesses: list[Access], damage: Damage, target: Target) -> list[Access]:
    """What is printed where only the lines to what prints are at fault."""
    found = []
    for address, word, write in accesses:
        bad = changed(address, target.address, damage.address), changed(word, target.word, damage.data)
        found.append((*met(*bad, damage.meet, target), write))
    return found


def text(accesses: list[Access], target: Target) -> str:
    """A capture as a firmware may print it."""
    return "".join(
        f"{'W' if write else 'R'} {target.hex_address(address)[2:]} {target.hex_word(word)}\n" for address, word, write in accesses
    )
