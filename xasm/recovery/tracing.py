"""Where control goes: from the places where a program begins, through every instruction that can follow.

A way that is certain (a jump, a branch, what stands behind a call) is followed at once. A way that only may be one (behind an
instruction that stops the chip or calls a handler) is followed at the end, and only if it leads to code or to an end of its own.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from xasm.recovery.exact import Disassembler, Found
from xasm.recovery.memory import Memory
from xasm.target.forms import Form

CALLS = ("call", "call_if")
ON = ("next", "branch", "call", "call_if", "return_if", "skip", "repeat")  # the next instruction can follow
PERHAPS = ("halt", "trap")  # it follows when something else brings the chip back
LONGEST_LOOK = 1000  # instructions that a way is looked ahead


@dataclass
class Trace:
    """What was found. `code` maps the address of an instruction to it; no two of them share a word. `inside` are
    instructions that begin in the middle of others. `calls`, `jumps` and `uses` map an address to the instructions that call
    it, jump to it, or name it otherwise. `computed` are instructions that go where only a run can tell, `lost` addresses
    where control arrives and no instruction or nothing is, with the instruction before (None: a start)."""

    code: dict[int, Found] = field(default_factory=dict)
    inside: dict[int, Found] = field(default_factory=dict)
    calls: dict[int, list[int]] = field(default_factory=dict)
    jumps: dict[int, list[int]] = field(default_factory=dict)
    uses: dict[int, list[int]] = field(default_factory=dict)
    computed: list[int] = field(default_factory=list)
    lost: dict[int, int | None] = field(default_factory=dict)
    pointers: set[int] = field(default_factory=set)  # places that hold the address of a target
    reached: dict[int, set[int]] = field(default_factory=dict)  # where instructions go whose operands do not say it
    owner: dict[int, int] = field(default_factory=dict)  # of each word that is part of an instruction: where that begins

    def at(self, address: int) -> Found | None:
        return self.code.get(address) or self.inside.get(address)


class Tracer:
    """Follows control in one memory. `closed` are addresses that hold no code, whatever leads there."""

    def __init__(self, memory: Memory, disassembler: Disassembler, closed: frozenset[int] = frozenset()) -> None:
        self.memory = memory
        self.disassembler = disassembler
        self.closed = closed
        self.trace = Trace()
        self.perhaps: list[int] = []

    def follow(self, starts: Iterable[int]) -> None:
        """Follows all ways from these addresses."""
        waiting: list[tuple[int, int | None]] = [(start, None) for start in reversed(list(starts))]
        while waiting:
            address, before = waiting.pop()
            if self.trace.at(address) is not None:
                continue
            found = self.decode(address)
            if found is None:
                self.trace.lost.setdefault(address, before)
                continue
            self.add(found)
            waiting += [(to, address) for to in reversed(self.ways(found))]

    def finish(self) -> None:
        """Follows the ways that only may be some."""
        while self.perhaps:
            address = self.perhaps.pop()
            if self.trace.at(address) is None and self.sound(address):
                self.follow([address])

    def decode(self, address: int) -> Found | None:
        if address not in self.memory or address in self.closed:
            return None
        found = self.disassembler.at(address, self.memory.from_(address, self.disassembler.longest))
        if found is None or (self.closed and not self.closed.isdisjoint(range(address, found.end))):
            return None
        return found

    def add(self, found: Found) -> None:
        trace = self.trace
        span = range(found.address, found.end)
        if any(at in trace.owner for at in span):
            trace.inside[found.address] = found
        else:
            trace.code[found.address] = found
            trace.owner.update(dict.fromkeys(span, found.address))
        self.name_places(found)

    def name_places(self, found: Found) -> None:
        """Notes what places an instruction names."""
        form = found.form
        for name, kind in form.fields.items():
            value = found.instruction.fields[name]
            if isinstance(value, str) or not kind.address or kind.space:
                continue
            notes = self.trace.uses
            if name == form.target and goes(form):
                notes = self.trace.calls if form.flow in CALLS else self.trace.jumps
            notes.setdefault(value, []).append(found.address)

    def ways(self, found: Found) -> list[int]:
        """The addresses that certainly can follow."""
        form = found.form
        ways = []
        if form.flow in ON:
            ways.append(found.end)
        if form.asm in self.memory.target.routes.back:
            ways.append(found.end)
        if form.flow in PERHAPS:
            self.perhaps.append(found.end)
        if form.flow == "skip":
            passed = self.decode(found.end)
            if passed is not None:
                ways.append(passed.end)
        target = self.target(found)
        if target is not None:
            ways.append(target)
            if form.target is None:
                self.trace.reached.setdefault(found.address, set()).add(target)
                notes = self.trace.calls if form.flow in CALLS else self.trace.jumps
                notes.setdefault(target, []).append(found.address)
        elif goes(form):
            self.trace.computed.append(found.address)
        return ways

    def target(self, found: Found) -> int | None:
        """Where an instruction takes control; None where it does not, or where that is known only when it runs."""
        form, fields = found.form, found.instruction.fields
        if not goes(form):
            return None
        if form.target is not None:
            return found.instruction.target
        routes = self.memory.target.routes
        factor, pointer = routes.factor(form), routes.pointer(form)
        if factor is not None:
            values = [value for value in fields.values() if isinstance(value, int)]
            return values[0] * factor if len(values) == 1 else None
        if pointer is None:
            return None
        place = number(fields[pointer])
        target = self.memory.number(place) if place is not None else None
        if place is not None and target is not None:
            self.trace.pointers.add(place)
        return target

    def sound(self, address: int) -> bool:
        """Whether a straight look from an address on meets instructions only, up to known code or an end of its own."""
        for _ in range(LONGEST_LOOK):
            if address in self.trace.code:
                return True
            found = self.decode(address)
            if found is None or any(at in self.trace.owner for at in range(address, found.end)):
                return False
            if found.form.flow in ("jump", "return"):
                target = self.target(found)
                return target is None or target not in self.memory or self.decode(target) is not None
            address = found.end
        return False


def goes(form: Form) -> bool:
    """Whether a form takes control elsewhere, and not back to a caller or to a fixed handler."""
    return form.flow in ("jump", "branch", *CALLS)


def number(value: int | str) -> int | None:
    return value if isinstance(value, int) else None
