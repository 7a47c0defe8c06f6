"""The closed stock of operand kinds: what a field takes, and how a value becomes bits and back.

A kind knows nothing of a chip; a table names kinds and gives their width. `store` turns a value into the bits of
the field, `load` turns them back. Both are told where the instruction stands: `address` (of its first word), `size`
(words of the whole instruction) and `index` (which word of it holds the field).
"""

from __future__ import annotations

from dataclasses import dataclass

from xasm.source.diagnostics import Fault
from xasm.syntax.expressions import shown


class Misfit(Fault):
    """A value that a kind cannot hold; another form of the same statement may."""


@dataclass(frozen=True, slots=True)
class Kind:
    """Common part: `name` as the table calls it, `bits` in the code, `order` of words where it differs from the chip's."""

    name: str
    bits: int
    order: str | None = None

    placed = False  # whether the bits depend on where the instruction stands
    address = False  # whether the value is a place in memory that control or data may go to

    def store(self, value: int, address: int, size: int, index: int) -> int:
        """The bits of the field for a value; raises Misfit (without a span) when it cannot be."""
        raise NotImplementedError

    def load(self, bits: int, address: int, size: int, index: int) -> int:
        """The value that the bits stand for; raises Misfit where they stand for none."""
        raise NotImplementedError

    def range_text(self) -> str:
        """What the field takes, as cards and messages print it."""
        raise NotImplementedError

    def edges(self, address: int, size: int, index: int) -> tuple[list[int], list[int]]:
        """Values at the edges of what the field takes, and values just beyond that it must refuse."""
        raise NotImplementedError


@dataclass(frozen=True, slots=True)
class Plain(Kind):
    """An integer `low`..`high`, stored in two's complement: the kinds number, unsigned, signed and address."""

    role: str = "number"
    low: int = 0
    high: int = 0

    @property
    def address(self) -> bool:  # type: ignore[override]
        return self.role == "address"

    def store(self, value: int, address: int, size: int, index: int) -> int:
        if self.low <= value <= self.high:
            return value & ((1 << self.bits) - 1)
        raise Misfit("out_of_range", value=shown(value), range=self.range_text())

    def load(self, bits: int, address: int, size: int, index: int) -> int:
        if self.role == "signed" and bits >> (self.bits - 1):
            bits -= 1 << self.bits
        if not self.low <= bits <= self.high:
            raise Misfit("out_of_range", value=shown(bits), range=self.range_text())
        return bits

    def range_text(self) -> str:
        if self.role == "address":
            return f"0x{self.low:X}..0x{self.high:X}" if self.high > 9 else f"{self.low}..{self.high}"
        return f"{self.low}..{self.high}"

    def edges(self, address: int, size: int, index: int) -> tuple[list[int], list[int]]:
        return [self.low, self.high], [self.low - 1, self.high + 1]


@dataclass(frozen=True, slots=True)
class Listed(Kind):
    """One of a few numbers, each with its own bits: a kind with `values`."""

    values: tuple[tuple[int, int], ...] = ()  # (value, bits)
    role: str = "number"

    @property
    def address(self) -> bool:  # type: ignore[override]
        return self.role == "address"

    def store(self, value: int, address: int, size: int, index: int) -> int:
        for possible, bits in self.values:
            if possible == value:
                return bits
        raise Misfit("not_listed", value=shown(value), values=self.range_text())

    def load(self, bits: int, address: int, size: int, index: int) -> int:
        for value, stored in self.values:
            if stored == bits:
                return value
        raise Misfit("not_listed", value=f"bit pattern {bits:0{self.bits}b}", values=self.range_text())

    def range_text(self) -> str:
        if max(value for value, _ in self.values) > 9:
            return ", ".join(f"0x{value:02X}" for value, _ in self.values)
        return ", ".join(str(value) for value, _ in self.values)

    def edges(self, address: int, size: int, index: int) -> tuple[list[int], list[int]]:
        values = [value for value, _ in self.values]
        beyond = [value for value in (min(values) - 1, max(values) + 1) if value not in values]
        return values, beyond


@dataclass(frozen=True, slots=True)
class Placed(Kind):
    """A target stored relative to where the instruction stands. `origin` is next, self or field; `space` the number of
    addresses of the chip, round which addresses wrap."""

    origin: str = "next"
    space: int = 0

    placed = True
    address = True

    def base(self, address: int, size: int, index: int) -> int:
        """The address that the stored bits count from."""
        return address + (size if self.origin == "next" else index if self.origin == "field" else 0)

    def origin_text(self) -> str:
        return {"next": "the next instruction", "self": "this instruction", "field": "its own operand"}[self.origin]


@dataclass(frozen=True, slots=True)
class Relative(Placed):
    """A signed distance of `bits` bits."""

    def store(self, value: int, address: int, size: int, index: int) -> int:
        if not 0 <= value < self.space:
            raise Misfit("out_of_range", value=shown(value), range=f"0..0x{self.space - 1:X}")
        base = self.base(address, size, index)
        half = 1 << (self.bits - 1)
        distance = (value - base + self.space // 2) % self.space - self.space // 2
        if -half <= distance < half:
            return distance & (2 * half - 1)
        excess = distance - half + 1 if distance > 0 else -half - distance
        raise Misfit(
            "out_of_reach", target=f"0x{value:X}", distance=f"{distance:+d}", range=f"{-half}..+{half - 1}", excess=excess
        )

    def load(self, bits: int, address: int, size: int, index: int) -> int:
        half = 1 << (self.bits - 1)
        distance = bits - 2 * half if bits >= half else bits
        return (self.base(address, size, index) + distance) % self.space

    def range_text(self) -> str:
        half = 1 << (self.bits - 1)
        return f"{-half}..+{half - 1} from {self.origin_text()}"

    def edges(self, address: int, size: int, index: int) -> tuple[list[int], list[int]]:
        base = self.base(address, size, index)
        half = 1 << (self.bits - 1)
        good = [(base + distance) % self.space for distance in (-half, half - 1)]
        bad = [(base + distance) % self.space for distance in (-half - 1, half)]
        return good, bad


@dataclass(frozen=True, slots=True)
class Page(Placed):
    """The low `bits` bits of a target whose upper bits are those of the origin."""

    def store(self, value: int, address: int, size: int, index: int) -> int:
        base = self.base(address, size, index) % self.space
        if value >> self.bits == base >> self.bits:
            return value & ((1 << self.bits) - 1)
        if not 0 <= value < self.space:
            raise Misfit("out_of_range", value=shown(value), range=f"0..0x{self.space - 1:X}")
        own = base >> self.bits
        first = own << self.bits
        last = first + (1 << self.bits) - 1
        raise Misfit(
            "off_page",
            target=f"0x{value:X}",
            page=value >> self.bits,
            own=own,
            first=f"0x{first:X}",
            last=f"0x{last:X}",
            excess=value - last if value > last else first - value,
            side="high" if value > last else "low",
        )

    def load(self, bits: int, address: int, size: int, index: int) -> int:
        return self.base(address, size, index) % self.space >> self.bits << self.bits | bits

    def range_text(self) -> str:
        return f"the page of {1 << self.bits} words of {self.origin_text()}"

    def edges(self, address: int, size: int, index: int) -> tuple[list[int], list[int]]:
        first = self.base(address, size, index) % self.space >> self.bits << self.bits
        last = first + (1 << self.bits) - 1
        return [first, last], [value for value in (first - 1, last + 1) if 0 <= value < self.space]


@dataclass(frozen=True, slots=True)
class Choice(Kind):
    """One of the spellings in `options` (spelling as the maker prints it, with its bits); `other` is the numeric kind
    that is legal as well, or None."""

    options: tuple[tuple[str, int], ...] = ()
    other: Kind | None = None

    def store(self, value: int, address: int, size: int, index: int) -> int:
        if self.other is None:
            raise Misfit("not_listed", value=shown(value), values=self.range_text())
        return self.other.store(value, address, size, index)

    def load(self, bits: int, address: int, size: int, index: int) -> int:
        if self.other is None:
            raise Misfit("not_listed", value=f"bit pattern {bits:0{self.bits}b}", values=self.range_text())
        return self.other.load(bits, address, size, index)

    def spelling(self, bits: int) -> str | None:
        """The first spelling with these bits."""
        return next((spelling for spelling, stored in self.options if stored == bits), None)

    def range_text(self) -> str:
        names = ", ".join(spelling for spelling, _ in self.options)
        return f"{names} or {self.other.range_text()}" if self.other else names

    def edges(self, address: int, size: int, index: int) -> tuple[list[int], list[int]]:
        return self.other.edges(address, size, index) if self.other else ([], [])


STOCK = ("number", "unsigned", "signed", "address", "relative", "page", "choice")


def plain(name: str, role: str, bits: int, low: int | None = None, high: int | None = None, order: str | None = None) -> Plain:
    """A numeric kind with the range of its role, narrowed by `low` and `high`."""
    lowest = {"number": -(1 << (bits - 1)), "signed": -(1 << (bits - 1)), "unsigned": 0, "address": 0}[role]
    highest = (1 << (bits - 1)) - 1 if role == "signed" else (1 << bits) - 1
    return Plain(name, bits, order, role, lowest if low is None else low, highest if high is None else high)
