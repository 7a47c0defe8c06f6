"""Addresses that a program puts together in a register, half by half.

Some chips reach memory, and change the program counter, only through registers. What is in one was loaded before, as two
constants through the accumulator. The table says which forms load and which go (`routes: loads`); the constants of a straight
piece of code are followed here.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from xasm.recovery.exact import Found
from xasm.recovery.tracing import Trace
from xasm.target.forms import gather
from xasm.target.model import Target

FAR = 16  # instructions between the two halves at most


class Loaded(NamedTuple):
    """An address that is put into a register, and the instructions that load its halves."""

    register: int
    address: int
    high: int
    low: int


class _Half(NamedTuple):
    value: int
    source: int  # the instruction that loaded it
    turn: int  # when it came into the register


def users(trace: Trace, target: Target) -> dict[int, list[int]]:
    """The instructions that go where a register says, by register."""
    loads = target.routes.loads
    found: dict[int, list[int]] = {}
    for one in trace.code.values():
        if loads is not None and one.form.asm == loads.go:
            found.setdefault(_operand(one), []).append(one.address)
    return found


def loaded(trace: Trace, target: Target) -> Iterator[Loaded]:
    """All addresses that are put together from two constants, in the order of the code."""
    loads = target.routes.loads
    if loads is None:
        return
    width = target.address // 2
    constant: tuple[int, int] | None = None  # in the accumulator, and where it was loaded
    halves: dict[str, dict[int, _Half]] = {loads.high: {}, loads.low: {}}
    end = -1
    for count, address in enumerate(sorted(trace.code)):
        found = trace.code[address]
        asm = found.form.asm
        if address != end:
            constant = None
            halves = {loads.high: {}, loads.low: {}}
        end = found.end
        if asm == loads.constant:
            constant = (_operand(found), address)
        elif asm in halves:
            register = _operand(found)
            halves[asm].pop(register, None)
            if constant is None:
                continue
            halves[asm][register] = _Half(*constant, count)
            high, low = halves[loads.high].get(register), halves[loads.low].get(register)
            if high and low and abs(high.turn - low.turn) <= FAR:
                yield Loaded(register, high.value << width | low.value, high.source, low.source)
        elif asm != loads.go:  # anything else may change the accumulator; what a jump passes over does not
            constant = None


def _operand(found: Found) -> int:
    """The bits of the only operand."""
    return gather(found.words, found.form.code.slots[next(iter(found.form.fields))])
