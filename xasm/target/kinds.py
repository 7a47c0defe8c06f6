"""The closed stock of operand kinds: what a field takes, and how a value becomes bits and back.

A kind knows nothing of a chip; a table names kinds and gives their width. `store` turns a value into the bits of
the field, `load` turns them back. Both are told where the instruction stands: `address` (of its first word), `size`
(words of the whole instruction) and `index` (which word of it holds the field).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from xasm.source.diagnostics import Fault
from xasm.syntax.expressions import Beside, Name, Node, shown


class Misfit(Fault):
    """A value that a kind cannot hold; another form of the same statement may."""


@dataclass(frozen=True, slots=True)
class Kind:
    """Common part: `name` as the table calls it, `bits` in the code, `order` of words where it differs from the chip's,
    `space` the group of the chip's own names by which values are printed ("" for none)."""

    name: str
    bits: int
    order: str | None = None
    space: str = ""

    placed = False  # whether the bits depend on where the instruction stands
    address = False  # whether the value is a place in memory that control or data may go to
    whole = False  # whether the value is a whole address of the chip, of which the bits are a part

    def store(self, value: int, address: int, size: int, index: int) -> int:
        """The bits of the field for a value; raises Misfit (without a span) when it cannot be."""
        raise NotImplementedError

    def load(self, bits: int, address: int, size: int, index: int) -> int:
        """The value that the bits stand for; raises Misfit where they stand for none."""
        raise NotImplementedError

    def spelling(self, bits: int) -> str | None:
        """What is written for the bits where that is no number."""
        return None

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
        return f"{self.low}..{self.high}" if self.low < self.high else f"{self.low}"

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
    """A target stored relative to a place. `origin` is next, self or field (of the instruction), zero (address 0), or the
    name of an assumption; `memory` is the number of addresses of the chip, round which addresses wrap."""

    origin: str = "next"
    memory: int = 0

    address = True
    whole = True

    @property
    def placed(self) -> bool:  # type: ignore[override]
        return self.origin in ORIGINS

    def base(self, address: int, size: int, index: int) -> int:
        """The address that the stored bits count from."""
        return address + (size if self.origin == "next" else index if self.origin == "field" else 0)

    def origin_text(self) -> str:
        return ORIGINS.get(self.origin, "address 0")

    def beyond(self, value: int) -> Misfit:
        """What is said of a value that is no address of the chip."""
        return Misfit("out_of_range", value=shown(value), range=f"0..0x{self.memory - 1:X}")

    def off_page(self, value: int, own: int, bits: int) -> Misfit:
        """What is said of a target outside of page number `own`, of 2^bits words."""
        first = own << bits
        last = first + (1 << bits) - 1
        return Misfit(
            "off_page",
            target=f"0x{value:X}",
            page=value >> bits,
            own=own,
            first=f"0x{first:X}",
            last=f"0x{last:X}",
            excess=value - last if value > last else first - value,
            side="high" if value > last else "low",
        )


ORIGINS = {"next": "the next instruction", "self": "this instruction", "field": "its own operand"}


@dataclass(frozen=True, slots=True)
class Relative(Placed):
    """A distance `low`..`high` in `bits` bits, signed. With `within` it wraps inside the page of 2^within words that holds the instruction
    (address 0 with the origin zero), and the target must lie there."""

    within: int = 0
    low: int = 0
    high: int = 0

    def frame(self, address: int, size: int, index: int) -> tuple[int, int, int]:
        """What the distance counts from, and first address and length of what it wraps in."""
        if self.origin == "zero":
            return 0, 0, 1 << self.within if self.within else self.memory
        base = self.base(address, size, index)
        if not self.within:
            return base, 0, self.memory
        return base, address >> self.within << self.within, 1 << self.within

    def store(self, value: int, address: int, size: int, index: int) -> int:
        base, first, span = self.frame(address, size, index)
        if not first <= value < first + span:
            if self.within and 0 <= value < self.memory:
                raise self.off_page(value, first >> self.within, self.within)
            raise self.beyond(value)
        distance = (value - base + span // 2) % span - span // 2
        if self.low <= distance <= self.high:
            return distance & ((1 << self.bits) - 1)
        raise self.beyond_reach(value, distance)

    def beyond_reach(self, value: int, distance: int) -> Misfit:
        """What is said of a target that is too far away."""
        excess = distance - self.high if distance > 0 else self.low - distance
        reach = f"{self.low}..+{self.high}"
        return Misfit("out_of_reach", target=f"0x{value:X}", distance=f"{distance:+d}", range=reach, excess=excess)

    def load(self, bits: int, address: int, size: int, index: int) -> int:
        base, first, span = self.frame(address, size, index)
        distance = bits - (1 << self.bits) if bits >> (self.bits - 1) else bits
        target = first + (base + distance - first) % span
        if not self.low <= distance <= self.high:
            raise self.beyond_reach(target, distance)
        return target

    def range_text(self) -> str:
        page = f", in {'its' if self.origin in ORIGINS else 'the first'} page of {1 << self.within} words" if self.within else ""
        return f"{self.low}..+{self.high} from {self.origin_text()}{page}"

    def edges(self, address: int, size: int, index: int) -> tuple[list[int], list[int]]:
        base, first, span = self.frame(address, size, index)
        good = [first + (base + distance - first) % span for distance in (self.low, self.high)]
        bad = [first + (base + distance - first) % span for distance in (self.low - 1, self.high + 1)]
        return good, bad if span > self.high - self.low + 1 else [-1, self.memory]


@dataclass(frozen=True, slots=True)
class Page(Placed):
    """The low `bits` bits of a target whose upper bits are those of the origin. `page` is the number of the page where the
    instruction does not tell it: 0 with the origin zero, what is assumed with an assumption."""

    page: int | None = None

    def own(self, address: int, size: int, index: int) -> int:
        """The number of the page in reach."""
        return self.base(address, size, index) % self.memory >> self.bits if self.page is None else self.page

    def store(self, value: int, address: int, size: int, index: int) -> int:
        own = self.own(address, size, index)
        if value >> self.bits == own:
            return value & ((1 << self.bits) - 1)
        if not 0 <= value < self.memory:
            raise self.beyond(value)
        fault = self.off_page(value, own, self.bits)
        if self.page is not None and self.origin != "zero":
            fault.hint = f"where {self.origin} is {value >> self.bits}, say so in front: ASSUME {self.origin},{value >> self.bits}"
        raise fault

    def load(self, bits: int, address: int, size: int, index: int) -> int:
        return self.own(address, size, index) << self.bits | bits

    def range_text(self) -> str:
        if self.page is None or self.origin == "zero":
            return f"the page of {1 << self.bits} words of {self.origin_text()}"
        return f"the page of {1 << self.bits} words whose number '{self.origin}' is assumed to be"

    def edges(self, address: int, size: int, index: int) -> tuple[list[int], list[int]]:
        first = self.own(address, size, index) << self.bits
        last = first + (1 << self.bits) - 1
        return [first, last], [value for value in (first - 1, last + 1) if 0 <= value < self.memory]


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
        return next((spelling for spelling, stored in self.options if stored == bits), None)

    def range_text(self) -> str:
        names = ", ".join(spelling for spelling, _ in self.options)
        return f"{names} or {self.other.range_text()}" if self.other else names

    def edges(self, address: int, size: int, index: int) -> tuple[list[int], list[int]]:
        return self.other.edges(address, size, index) if self.other else ([], [])


@dataclass(frozen=True, slots=True)
class NameList(Kind):
    """One or more of the names in `options`, in any order, each of which stands for some of the bits; `other` is the
    numeric kind that is legal as well, or None. `times` are cycles that some of the bits add, (bits, cycles). `claims` are
    the masks of the bits that each name settles, its own among them; two names that disagree on one exclude each other.
    `apart` is what stands between names, "," or " "; those in `never_alone` need another one beside them.
    """

    options: tuple[tuple[str, int], ...] = ()
    other: Kind | None = None
    times: tuple[tuple[int, int], ...] = ()
    claims: tuple[int, ...] = ()
    apart: str = ","
    never_alone: frozenset[str] = frozenset()

    @property
    def parts(self) -> Iterator[tuple[str, int, int]]:
        """Name, its bits, and the bits that it settles."""
        return ((name, bits, claim) for (name, bits), claim in zip(self.options, self.claims, strict=True))

    def time(self, bits: int) -> int:
        """The cycles that a list adds."""
        claims = {own: claim for _, own, claim in self.parts}
        return sum(cycles for own, cycles in self.times if bits & claims[own] == own)

    def words(self, operands: tuple[Node, ...]) -> tuple[Node, ...]:
        """The operands of a statement that may be names of the list, one by one."""
        if self.apart == ",":
            return operands
        if len(operands) > 1:
            return ()
        found: list[Node] = []
        for node in operands:
            while isinstance(node, Beside):
                left, node = node.children
                found.append(left)
            found.append(node)
        return tuple(found)

    def joined(self, nodes: Sequence[Node]) -> int:
        """The bits of the operands of a statement, each of which must be a name. Raises Fault."""
        known = {name: (own, claim) for name, own, claim in self.parts}
        names: list[str] = []
        together = claimed = 0
        for node in nodes:
            name = node.text.upper() if isinstance(node, Name) else ""
            if name not in known:
                raise node.fault("not_in_list", names=", ".join(known))
            own, claim = known[name]
            if (own ^ together) & claim & claimed:
                other = next(other for other in names if (own ^ known[other][0]) & claim & known[other][1])
                raise node.fault("list_excluded", name=name, other=other)
            if not own & ~together:
                raise node.fault("list_twice", name=node.text)  # type: ignore[attr-defined]
            names.append(name)
            together |= own
            claimed |= claim
        if self.never_alone.issuperset(names):
            raise nodes[-1].fault("not_in_list", names=", ".join(name for name in known if name not in self.never_alone))
        return together

    def store(self, value: int, address: int, size: int, index: int) -> int:
        if 0 <= value < 1 << self.bits:
            return value
        raise Misfit("out_of_range", value=shown(value), range=self.range_text())

    def load(self, bits: int, address: int, size: int, index: int) -> int:
        if self.other is None:
            raise Misfit("not_listed", value=f"bit pattern {bits:0{self.bits}b}", values=self.range_text())
        return self.other.load(bits, address, size, index)

    def spelling(self, bits: int) -> str | None:
        names = []
        together = 0
        for name, own, claim in self.parts:
            if bits & claim == own and own & ~together:
                names.append(name)
                together |= own
        return self.apart.join(names) if together == bits and not self.never_alone.issuperset(names) else None

    def range_text(self) -> str:
        names = f"a list of {', '.join(name for name, _ in self.options)}"
        names += ", with blanks between them" if self.apart == " " else ""
        return f"{names}, or {self.other.range_text()}" if self.other else names

    def edges(self, address: int, size: int, index: int) -> tuple[list[int], list[int]]:
        return self.other.edges(address, size, index) if self.other else ([], [])


STOCK = ("number", "unsigned", "signed", "address", "relative", "page", "choice", "list", "modes")


def numeric(kind: Kind) -> Kind:
    """The kind that takes the numbers, where names are legal as well."""
    return kind.other if isinstance(kind, (Choice, NameList)) and kind.other else kind


def plain(
    name: str, role: str, bits: int, low: int | None = None, high: int | None = None, order: str | None = None, space: str = ""
) -> Plain:
    """A numeric kind with the range of its role, narrowed by `low` and `high`."""
    lowest = -(1 << (bits - 1)) if role in ("number", "signed") else 0
    highest = (1 << (bits - 1)) - 1 if role == "signed" else (1 << bits) - 1
    return Plain(name, bits, order, space, role, lowest if low is None else low, highest if high is None else high)
