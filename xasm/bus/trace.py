"""The way of a program from the release of reset: every fetch, every instruction, and the loop in which it stays.

Nothing is computed but the way: values are not known here. Where a value decides and nobody has said how, the way ends, and
so it does where words are unknown.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from xasm.bus.flow import COMPUTED, HALT, RETURN, TRAP, Cycles, Way, ways
from xasm.bus.memory import CODE, DATA, FILLER, Memory
from xasm.bus.takes import Take
from xasm.source.files import Place

OPCODE, OPERAND, VECTOR = "opcode", "operand", "vector"
DEFAULT_STEPS = 1000
MOST_STEPS = 200_000
ZERO = Cycles(0, 0)


class Fetch(NamedTuple):
    """One word that the chip reads from program memory; `kind` is OPCODE, OPERAND or VECTOR."""

    address: int
    word: int
    kind: str


class Step(NamedTuple):
    """One instruction: its address and words, its text, which way it went (None: it has one only), how long it takes, and
    the cycles from the first fetch of all to its own first one."""

    address: int
    words: tuple[int, ...]
    text: str
    taken: bool | None
    cycles: Cycles
    begin: Cycles

    def fetches(self, top: int) -> Iterator[Fetch]:
        for offset, word in enumerate(self.words):
            yield Fetch(self.address + offset & top, word, OPERAND if offset else OPCODE)


class Remark(NamedTuple):
    """Something to know about the way: an entry of the catalogue of messages with its values, and the place in the source of
    the instruction that leads there (None: unknown). `hint` says what to do."""

    code: str
    values: dict[str, Any]
    place: Place | None
    hint: str | None = None


class Trace:
    """What the bus must show. `vector` are the fetches by which the chip finds its start, `steps` the instructions in order.
    With `loop` the steps from that number on repeat for ever; else `end` says why nothing more is known. `remarks` are
    warnings on the way, `used` the addresses at which an answer was asked for. `pointers` are the places from which addresses
    were taken that the program itself might change: no board says that they are ROM."""

    def __init__(self, memory: Memory) -> None:
        self.memory = memory
        self.target = memory.target
        self.vector: tuple[Fetch, ...] = ()
        self.steps: list[Step] = []
        self.loop: int | None = None
        self.end: Remark | None = None
        self.remarks: list[Remark] = []
        self.used: set[int] = set()
        self.pointers: set[int] = set()
        self.cycles = ZERO

    @property
    def before(self) -> list[Step]:
        """The steps up to the loop."""
        return self.steps[: self.loop]

    @property
    def again(self) -> list[Step]:
        """The steps of the loop, once; empty where none is found."""
        return self.steps[self.loop :] if self.loop is not None else []

    @property
    def reached(self) -> Cycles:
        """The cycles from the first fetch to the loop, or to where the way ends."""
        return self.steps[self.loop].begin if self.loop is not None else self.cycles

    @property
    def period(self) -> Cycles:
        """The cycles of one turn of the loop."""
        total = ZERO
        for step in self.again:
            total = total.plus(*step.cycles)
        return total

    def fetches(self) -> Iterator[Fetch]:
        """All fetches, those of the loop once."""
        yield from self.vector
        for step in self.steps:
            yield from step.fetches(self.target.top)

    @property
    def loop_fetch(self) -> int | None:
        """The number, from 0, of the first fetch of the loop."""
        return None if self.loop is None else len(self.vector) + sum(len(step.words) for step in self.before)


def vector_of(memory: Memory) -> tuple[tuple[Fetch, ...], int | None]:
    """The fetches of the start address, and the address; None where a word of it is not known."""
    target = memory.target
    fetches: list[Fetch] = []
    for place in memory.places(target.start):
        word = memory.word(place)
        if word is None:
            return tuple(fetches), None
        fetches.append(Fetch(place, word, VECTOR))
    return tuple(fetches), memory.number([fetch.word for fetch in fetches])


def start_of(memory: Memory) -> int | None:
    """Where the chip begins; None where the vector that says so is not known."""
    return vector_of(memory)[1] if memory.target.start_vector else memory.target.start


def trace(memory: Memory, takes: Mapping[int, Take] | None = None, most: int = DEFAULT_STEPS, start: int | None = None) -> Trace:
    """Follows the way from reset, or from `start` instead, for `most` instructions at most."""
    return _Tracer(memory, takes or {}, most).run(start)


class _Tracer:
    def __init__(self, memory: Memory, takes: Mapping[int, Take], most: int) -> None:
        self.memory = memory
        self.target = memory.target
        self.takes = takes
        self.most = most
        self.trace = Trace(memory)
        self.left: dict[int, int] = {}  # at each counted answer: how often the condition is still met
        self.stacks: dict[tuple[int, int], int] = {}  # (stack below, return address) -> number of a stack; 0 is the empty one
        self.stack_of: list[tuple[int, int]] = [(0, 0)]
        self.stack = 0
        self.told: set[tuple[str, int]] = set()
        self.place: Place | None = None

    def run(self, start: int | None) -> Trace:
        trace = self.trace
        address = start
        if start is None:
            address = self.target.start
            if self.target.start_vector:
                trace.vector, address = vector_of(self.memory)
        if address is None:
            return self.stop("bus_no_vector", address=self.target.address_text(self.target.start))
        seen: dict[tuple[int, int, tuple[tuple[int, int], ...]], int] = {}
        while True:
            state = (address, self.stack, tuple(sorted(self.left.items())))
            if state in seen:
                trace.loop = seen[state]
                return trace
            if len(trace.steps) >= self.most:
                return self.stop("bus_steps", steps=self.most, hint="--steps allows more")
            seen[state] = len(trace.steps)
            following = self.step(address)
            if following is None:
                return trace
            address = following

    def stop(self, code: str, hint: str | None = None, **values: Any) -> Trace:
        self.trace.end = Remark(code, values, self.place, hint)
        return self.trace

    def step(self, address: int) -> int | None:
        """Does one instruction; gives the address of the next one, None where the way ends."""
        memory, target, shown = self.memory, self.target, self.target.address_text(address)
        instruction = memory.instruction(address)
        if instruction is None:
            self.unreadable(address, shown)
            return None
        self.look(address, instruction.form.size)
        stretch = memory.stretch(address)
        self.place = stretch.place if stretch is not None and stretch.what == CODE else self.place
        size = instruction.form.size
        words = tuple(memory.word(address + offset & target.top) or 0 for offset in range(size))
        options = ways(instruction, words, address, target, self.size_at, memory.address_at)
        way = options[0] if len(options) == 1 else self.choose(address, options)
        to = self.follow(way, address) if way is not None else None
        cycles = way.cycles if way is not None else _either(options)
        self.trace.steps.append(Step(address, words, instruction.text, way.taken if way else None, cycles, self.trace.cycles))
        self.trace.cycles = self.trace.cycles.plus(*cycles)
        if way is None:
            hint = f"say how it goes: --take {shown}=yes, {shown}=no or '{shown}=3 times'"
            self.stop("bus_data_decides", hint, address=shown, instruction=instruction.text)
        elif to is None:
            self.end_at(way, shown, instruction.text)
        elif to == address + size & target.top and to < address and instruction.flow not in ("jump", "call") and not way.taken:
            self.remark("bus_wraps", address, top=target.address_text(target.top), address_text=target.address_text(to))
        return to

    def size_at(self, address: int) -> int | None:
        instruction = self.memory.instruction(address)
        return instruction.form.size if instruction is not None else None

    def choose(self, address: int, options: tuple[Way, ...]) -> Way | None:
        """The way that was named for an instruction with a condition; None where none was."""
        take = self.takes.get(address)
        if take is None:
            return None
        self.trace.used.add(address)
        if take.times < 0 or take.to is not None:
            return options[1]
        left = self.left.get(address, take.times)
        if left:
            self.left[address] = left - 1
            return options[1]
        self.left.pop(address, None)
        return options[0]

    def follow(self, way: Way, address: int) -> int | None:
        """Where a way leads, with the calls behind it."""
        to = way.to
        take = self.takes.get(address)
        if way.effect in (COMPUTED, TRAP, RETURN) and take is not None and take.to is not None:
            self.trace.used.add(address)
            to = take.to
        elif way.pointer is not None and to is not None and not self.memory.keeps(way.pointer):
            self.trace.pointers.add(way.pointer)
        if way.effect == RETURN and self.stack:
            below, back = self.stack_of[self.stack]
            self.stack = below
            return back if to is None else to
        if to is not None and way.back is not None:
            key = (self.stack, way.back)
            if key not in self.stacks:
                self.stack_of.append(key)
                self.stacks[key] = len(self.stack_of) - 1
            self.stack = self.stacks[key]
        return to

    def end_at(self, way: Way, shown: str, text: str) -> None:
        """Says why nothing more is known behind an instruction."""
        if way.effect == HALT:
            self.stop("bus_halts", address=shown, instruction=text)
            return
        hint = f"name where it leads: --take '{shown}=to ADDRESS'"
        if way.pointer is not None:
            place = self.target.address_text(way.pointer)
            put = self.memory.address_put(way.pointer)
            if put is not None:
                hint = f"if {place} still holds what the program puts there: --take '{shown}=to {self.target.address_text(put)}'"
            self.stop("bus_pointer", hint, address=shown, instruction=text, pointer=place)
            return
        code = "bus_no_caller" if way.effect == RETURN else "bus_computed"
        self.stop(code, hint, address=shown, instruction=text)

    def unreadable(self, address: int, shown: str) -> None:
        """Ends the way where there is no instruction."""
        memory, target = self.memory, self.target
        word = memory.word(address)
        if word is None:
            last = self.trace.steps[-1] if self.trace.steps else None
            fell = last is not None and last.address + len(last.words) & target.top == address
            self.stop("bus_off_end" if fell else "bus_hole", address=shown)
        elif memory.beginning(word) and any(memory.word(address + offset & target.top) is None for offset in range(memory.longest)):
            self.stop("bus_cut", address=shown, word=target.word_text(word))
        else:
            self.stop("bus_no_instruction", address=shown, word=target.word_text(word), chip=target.name)

    def look(self, address: int, size: int) -> None:
        """Warns of words that are no instructions of the source."""
        for offset in range(size):
            place = address + offset & self.target.top
            what = self.memory.what(place)
            if what in (DATA, FILLER):
                stretch = self.memory.stretch(place)
                first = stretch.start if stretch is not None else place
                code = "bus_into_data" if what == DATA else "bus_into_filler"
                self.remark(code, 0 if stretch is None else first, address=self.target.address_text(place))
                return
            if what == CODE and not offset:
                stretch = self.memory.stretch(place)
                if stretch is not None and stretch.start != place:
                    self.remark("bus_inside", stretch.start, address=self.target.address_text(place))
                    return

    def remark(self, code: str, once: int, **values: Any) -> None:
        """Adds a warning, once for each `once`."""
        if (code, once) not in self.told:
            self.told.add((code, once))
            self.trace.remarks.append(Remark(code, values, self.place))


def _either(options: tuple[Way, ...]) -> Cycles:
    """The time of an instruction whichever way it goes."""
    return Cycles(min(way.cycles.low for way in options), max(way.cycles.high for way in options))
