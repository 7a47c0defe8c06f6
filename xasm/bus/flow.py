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
    where it is not known."""

    taken: bool | None
    effect: str
    to: int | None
    cycles: Cycles
    returns: bool = False  # whether a computed way is a call


def flow_of(instruction: Instruction) -> str:
    """The flow of an instruction with its operands."""
    form = instruction.form
    for operand, flow in form.flow_with.items():
        field, _, name = operand.rpartition("=")
        values = [instruction.fields.get(field)] if field else list(instruction.fields.values())
        if any(isinstance(value, str) and name in value.split(",") for value in values):
            return flow
    return form.flow


def ways(
    instruction: Instruction, words: Sequence[int], address: int, target: Target, size_at: Callable[[int], int | None]
) -> tuple[Way, ...]:
    """The ways on from an instruction at an address, the one without its condition first. `size_at` gives the length of the
    instruction at an address, None where there is none."""
    form = instruction.form
    flow = flow_of(instruction)
    behind = address + form.size & target.top
    to = instruction.target
    to = to & target.top if to is not None else None
    plain = _time(form, form.cycles, words)
    met = _time(form, form.cycles if form.taken is None else form.taken, words)
    open_time = plain if form.taken is None else Cycles(min(plain.low, met.low), max(plain.high, met.high))
    if flow == "next":
        return (Way(None, GO, behind, _crossing(form, open_time)),)
    if flow in ("jump", "branch", "call", "call_if"):
        conditional = flow in CONDITIONAL
        cost = _to_page(form, met if conditional else open_time, behind, to)
        call = flow.startswith("call")
        on = Way(True if conditional else None, CALL if call else GO, to, cost)
        if to is None:
            on = Way(on.taken, COMPUTED, None, _crossing(form, met if conditional else open_time), call)
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
    return (Way(None, TRAP if flow == "trap" else HALT, None, open_time),)


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
