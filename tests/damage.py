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
    "8051": SHARED,
    "8085": SHARED,
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
                yield Damage("swapped", f"{one.name} and {other.name} swapped", swapped(a), swapped(d))
                for word, winner in (("low", "0"), ("high", "1")):
                    title = f"{one.name} and {other.name} shorted, {word} wins"
                    yield Damage("shorted", title, shorted(a, winner), shorted(d, winner))


def damaged(accesses: list[Access], damage: Damage, target: Target) -> list[Access]:
    """What is printed where only the lines to what prints are at fault."""
    return [
        (changed(address, target.address, damage.address), changed(word, target.word, damage.data), write)
        for address, word, write in accesses
    ]


def text(accesses: list[Access], target: Target) -> str:
    """A capture as a firmware may print it."""
    return "".join(
        f"{'W' if write else 'R'} {target.hex_address(address)[2:]} {target.hex_word(word)}\n" for address, word, write in accesses
    )
