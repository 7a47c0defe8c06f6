"""Where an instruction can lead, and what each way costs: the table's `flow` and `cycles`, for one instruction at its place."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from xasm.target.decode import Instruction
from xasm.target.forms import Form
from xasm.target.kinds import NameList
from xasm.target.model import Target

PAGE = 256  # words; the page of the rule that `cross` tells of

GO, CALL, RETURN, COMPUTED, TRAP, HALT = "go", "call", "return", "computed", "trap", "halt"
CONDITIONAL = ("branch", "call_if", "return_if", "skip", "repeat")


class Cycles(NamedTuple):
    """At least and at most; the same where the table says exactly."""

    low: int
    high: int

    def plus(self, low: int, high: int) -> Cycles:
        return Cycles(self.low + low, self.high + high)

    def text(self) -> str:
        return str(self.low) if self.low == self.high else f"{self.low}..{self.high}"


class Way(NamedTuple):
    """One way on. `taken` tells whether the condition was met (None: there is none). `effect` is GO (to `to`), CALL (to `to`,
    to return behind the instruction), RETURN, COMPUTED (a jump, or call, to where data says), TRAP or HALT; `to` is None
    where it is not known. `back` is where a call returns, whether it is known where it leads or not (None: it is none), and
    `pointer` the place in memory where the address `to` lies (None: it lies in none)."""

    taken: bool | None
    effect: str
    to: int | None
    cycles: Cycles
    back: int | None = None
    pointer: int | None = None


def ways(
    instruction: Instruction,
    words: Sequence[int],
    address: int,
    target: Target,
    size_at: Callable[[int], int | None],
    address_at: Callable[[int], int | None],
) -> tuple[Way, ...]:
    """The ways on from an instruction at an address, the one without its condition first. `size_at` gives the length of the
    instruction at an address, `address_at` the address that lies there in memory that keeps what it holds; None where there is
    none."""
    form = instruction.form
    flow = instruction.flow
    behind = address + form.size & target.top
    to = _target(instruction, target)
    plain = _time(form, form.cycles, words)
    met = _time(form, form.cycles if form.taken is None else form.taken, words)
    open_time = plain if form.taken is None else Cycles(min(plain.low, met.low), max(plain.high, met.high))
    if flow == "next":
        return (Way(None, GO, behind, _crossing(form, open_time)),)
    if flow in ("jump", "branch", "call", "call_if"):
        conditional = flow in CONDITIONAL
        cost = _to_page(form, met if conditional else open_time, behind, to)
        call = flow.startswith("call")
        back = behind if call else None
        on = Way(True if conditional else None, CALL if call else GO, to, cost, back)
        if to is None:
            place = _pointer(instruction, target)
            to = address_at(place) if place is not None else None
            on = Way(on.taken, COMPUTED, to, _crossing(form, met if conditional else open_time), back, place)
        return (Way(False, GO, behind, plain), on) if conditional else (on,)
    if flow == "return":
        return (Way(None, RETURN, None, open_time),)
    if flow == "return_if":
        return (Way(False, GO, behind, plain), Way(True, RETURN, None, met))
    if flow == "repeat":
        return (Way(False, GO, behind, plain), Way(True, GO, address, met))
    if flow == "skip":
        over = form.over if form.over is not None else size_at(behind)
        skipped = Way(None if form.always else True, GO, behind + over & target.top if over is not None else None, met)
        return (skipped,) if form.always else (Way(False, GO, behind, plain), skipped)
    trap = target.routes.traps.get((form.row or form).asm) if flow == "trap" else None
    if trap is not None:
        return (Way(None, TRAP, address_at(trap.vector), open_time, behind + trap.passes & target.top, trap.vector),)
    return (Way(None, TRAP if flow == "trap" else HALT, None, open_time),)


def _target(instruction: Instruction, target: Target) -> int | None:
    """The address that an instruction names, itself or as a number that the table multiplies; None where data says it."""
    form = instruction.form
    apart = target.routes.times.get((form.row or form).asm)
    if apart is not None:
        numbers = [value for value in instruction.fields.values() if isinstance(value, int)]
        return numbers[0] * apart & target.top if len(numbers) == 1 else None
    to = instruction.target
    return to & target.top if to is not None else None


def _pointer(instruction: Instruction, target: Target) -> int | None:
    """The place in memory where the address lies that an instruction goes to."""
    name = target.routes.pointer(instruction.form)
    place = instruction.fields[name] if name is not None else None
    return place & target.top if isinstance(place, int) else None


def _time(form: Form, cycles: int, words: Sequence[int]) -> Cycles:
    exact = cycles + form.added(words)
    return Cycles(exact, exact)


def _crossing(form: Form, cycles: Cycles) -> Cycles:
    """With the time of a page border that data decides on."""
    return cycles.plus(0, form.cross or 0)


def _to_page(form: Form, cycles: Cycles, behind: int, to: int | None) -> Cycles:
    """With the time of a page border between the next instruction and the target."""
    crossed = to is not None and to // PAGE != behind // PAGE
    extra = form.cross or 0
    return cycles.plus(extra, extra) if crossed else cycles


def most_cycles(form: Form) -> int:
    """The longest that a form can take, whatever its operands and data are."""
    lists = sum(cycles for kind in form.fields.values() if isinstance(kind, NameList) for _, cycles in kind.times)
    return max(form.cycles, form.taken or 0) + (form.cross or 0) + lists
