"""Cycles to time: exact, in picoseconds."""

from __future__ import annotations

import re
from dataclasses import dataclass

from xasm.bus.flow import Cycles
from xasm.linking.board import Board
from xasm.source.diagnostics import Fault
from xasm.target.model import Target

CLOCK = re.compile(r"\s*(\d{1,9})(?:\.(\d{1,6}))?\s*([kM]?)Hz\s*\Z", re.IGNORECASE)
UNITS = {"": 1, "k": 1_000, "m": 1_000_000}
MICRO = 1_000_000  # Hz; also picoseconds of one microsecond


@dataclass(frozen=True, slots=True)
class Timing:
    """A clock of `hertz` and its origin as text; one cycle of the table is `periods` periods of it."""

    hertz: int
    periods: int
    unit: str
    source: str

    def picoseconds(self, cycles: int) -> int:
        return (cycles * self.periods * 10**12 + self.hertz // 2) // self.hertz

    def column(self, cycles: Cycles) -> str:
        """Microseconds with three places, for columns."""
        low, high = (_thousandths(self.picoseconds(end)) for end in cycles)
        return low if low == high else f"{low}..{high}"

    def text(self, cycles: Cycles) -> str:
        """A time in the unit that suits it."""
        low, high = self.picoseconds(cycles.low), self.picoseconds(cycles.high)
        size, unit = next(((size, unit) for size, unit in ((10**12, "s"), (10**9, "ms"), (10**6, "us")) if high >= size), (1000, "ns"))
        shown = [_thousandths(one * 10**6 // size).rstrip("0").rstrip(".") for one in (low, high)]
        return f"{shown[0] if low == high else '..'.join(shown)} {unit}"


def _thousandths(picoseconds: int) -> str:
    thousandths = (picoseconds + 500) // 1000
    return f"{thousandths // 1000}.{thousandths % 1000:03}"


def hertz(text: str) -> int:
    """A clock as typed (`740kHz`) in hertz. Raises Fault."""
    match = CLOCK.match(text)
    value = 0
    if match:
        fraction = (match[2] or "").ljust(6, "0")
        value = (int(match[1]) * 10**6 + int(fraction)) * UNITS[match[3].lower()] // 10**6
    if not 1 <= value <= 10**9:
        raise Fault("bad_clock", text=text, hint="write it with its unit, 1 Hz to 1000 MHz: 740kHz, 1.5MHz, 32768Hz")
    return value


def timing_of(target: Target, board: Board | None, chosen: str | None) -> Timing:
    """The clock that was chosen, or else that of the board, or else the usual one of the table. Raises Fault."""
    clock = target.clock
    if chosen is not None:
        return Timing(hertz(chosen), clock.periods, clock.unit, "")
    if board is not None and board.clock:
        return Timing(board.clock, clock.periods, clock.unit, "the board's clock")
    match = re.match(r"[0-9.]+ ?[kM]?Hz", clock.typical)
    return Timing(hertz(match[0]) if match else MICRO, clock.periods, clock.unit, "the usual clock")


def hertz_text(value: int) -> str:
    """A clock as people write it."""
    for size, unit in ((1_000_000, "MHz"), (1_000, "kHz")):
        if value >= size:
            return f"{value / size:.6f}".rstrip("0").rstrip(".") + f" {unit}"
    return f"{value} Hz"
