"""Walks a program along a capture: which accesses can be its fetches, whatever data decides.

All ways that the accesses so far allow are kept at once. An access is a fetch of the program, or one of those that an
instruction makes besides: as many as its time has room for. Where data decides, the capture shows the way.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import NamedTuple

from xasm.bus.capture import NOTHING, Capture
from xasm.bus.flow import CALL, COMPUTED, HALT, RETURN, TRAP, most_cycles, ways
from xasm.bus.memory import Memory
from xasm.bus.wiring import Wiring

MOST_STATES = 400
AFTER_RESET = 4  # accesses that a chip may make between its start address and its first opcode
ANYWHERE = -1  # in place of an address: data has decided where the program goes on
VECTOR = -2  # and below: the word number VECTOR - n of the start address is read next

END, DIFFERENT, LOST = "end", "different", "lost"


class State(NamedTuple):
    """Where the program may be: the instruction at `at`, of which the words `got` have come; `room` is how many accesses have
    come within it besides, or, before its first word, how many more the one before leaves room for; `stack` numbers the
    return addresses."""

    at: int
    got: tuple[int, ...]
    room: int
    stack: int


class Outcome(NamedTuple):
    """How far a walk came: from access `start` on, all up to `stop` fit; END of the capture, DIFFERENT, or LOST where an
    instruction is not known or the chip stops. `states` are those before the access at `stop` in which most accesses are
    fetches, and `fetches` how many that is."""

    start: int
    stop: int
    result: str
    states: tuple[State, ...]
    fetches: int

    @property
    def length(self) -> int:
        return self.stop - self.start


class Exit(NamedTuple):
    """One way on from an instruction, and how many accesses it has room for besides its own words."""

    effect: str
    to: int
    returns: bool
    room: int


class Program:
    """What is asked of a program again and again, remembered."""

    def __init__(self, memory: Memory) -> None:
        self.memory = memory
        self.target = memory.target
        self.clock = memory.target.clock
        self.count = -(-self.target.address // self.target.word)  # words of a start address
        self._after: dict[tuple[int, tuple[int, ...]], tuple[Exit, ...] | None | bool] = {}
        self._rooms: dict[int, int] = {}
        self._stacks: dict[tuple[int, int], int] = {}
        self._stack_of: list[tuple[int, int]] = [(0, 0)]

    def begin(self) -> State:
        """The state at the release of reset."""
        return State(VECTOR if self.target.start_vector else self.target.start, (), 0, 0)

    def place(self, state: State) -> int:
        """The address of the next fetch."""
        if state.at <= VECTOR:
            return self.target.start + len(state.got) & self.target.top
        return state.at + len(state.got) & self.target.top

    def after(self, at: int, words: tuple[int, ...]) -> tuple[Exit, ...] | None | bool:
        """The ways on from an instruction whose words have all come; None while some are missing, False when they are none."""
        key = (at, words)
        if key not in self._after:
            self._after[key] = self._read(at, words)
        return self._after[key]

    def _read(self, at: int, words: tuple[int, ...]) -> tuple[Exit, ...] | None | bool:
        instruction = self.memory.decode(words, at)
        if instruction is None:
            return None if len(words) < self.memory.longest else False
        options = ways(instruction, words, at, self.target, self._size_at)
        return tuple(
            Exit(way.effect, ANYWHERE if way.to is None else way.to, way.returns, self._room(way.cycles.high, len(words))) for way in options
        )

    def room_of(self, word: int, at: int) -> int:
        """The most accesses besides its own words that an instruction which begins with a word has room for."""
        if at <= VECTOR:
            return 0
        if word not in self._rooms:
            times = [(most_cycles(form), form.size) for form in self.memory.beginning(word)]
            self._rooms[word] = max((self._room(cycles, size) for cycles, size in times), default=0)
        return self._rooms[word]

    def _room(self, cycles: int, size: int) -> int:
        return max(0, cycles * self.clock.periods // self.clock.access - size)

    def _size_at(self, address: int) -> int | None:
        instruction = self.memory.instruction(address)
        return instruction.form.size if instruction is not None else None

    def following(self, at: int, words: tuple[int, ...], used: int, stack: int) -> Iterator[State] | None:
        """The states behind a word; None where nothing more is known."""
        if at <= VECTOR:
            return iter((self._from_vector(at, words, used, stack),))
        exits = self.after(at, words)
        if exits is None:
            return iter((State(at, words, used, stack),))
        if exits is False or exits is True or any(exit.effect == HALT for exit in exits):
            return None
        return self._leave(at, words, used, stack, exits)

    def _from_vector(self, at: int, words: tuple[int, ...], used: int, stack: int) -> State:
        if len(words) < self.count:
            return State(at, words, used, stack)
        value = 0
        for word in words if self.target.order == "big" else reversed(words):
            value = value << self.target.word | word
        return State(value & self.target.top, (), AFTER_RESET, stack)

    def _leave(self, at: int, words: tuple[int, ...], used: int, stack: int, exits: tuple[Exit, ...]) -> Iterator[State]:
        for exit in exits:
            room = exit.room - used
            if room < 0:
                continue
            if exit.effect == RETURN:
                below, back = self._stack_of[stack]
                yield State(back, (), room, below) if stack else State(ANYWHERE, (), room, 0)
            elif exit.effect == CALL or exit.returns:
                yield State(exit.to, (), room, self._pushed(stack, at + len(words) & self.target.top))
            else:
                yield State(exit.to, (), room, 0 if exit.effect in (TRAP, COMPUTED) else stack)

    def _pushed(self, stack: int, back: int) -> int:
        key = (stack, back)
        if key not in self._stacks:
            self._stack_of.append(key)
            self._stacks[key] = len(self._stack_of) - 1
        return self._stacks[key]


def walk(program: Program, capture: Capture, wiring: Wiring, start: int, states: Collection[State], end: int | None = None) -> Outcome:
    """Follows the accesses from number `start` to `end` (None: all of them), beginning in any of the states."""
    addresses, words, writes = capture.addresses, capture.words, capture.writes
    present = dict.fromkeys(states, 0)  # with the number of fetches among the accesses so far
    for index in range(start, len(capture) if end is None else end):
        address, word = addresses[index], words[index]
        following: dict[State, int] = {}
        lost = False
        extra = wiring.besides(address, word, bool(writes[index]))
        for state, fetches in present.items():
            if extra:
                if state.got:
                    if state.room < program.room_of(state.got[0], state.at):
                        _keep(following, state._replace(room=state.room + 1), fetches)
                elif state.room > 0:
                    _keep(following, state._replace(room=state.room - 1), fetches)
            if writes[index]:
                continue
            places = wiring.origins(address) if state.at == ANYWHERE else (program.place(state),)
            for place in places:
                if wiring.address(place) != address:
                    continue
                fits, received = wiring.word(place, word, index, addresses)
                if not fits:
                    continue
                at = place if state.at == ANYWHERE else state.at
                after = program.following(at, (*state.got, received), state.room if state.got else 0, state.stack) if received >= 0 else None
                if after is None:
                    lost = True
                    continue
                for one in after:
                    _keep(following, one, fetches + 1)
        if not following:
            return _outcome(start, index + lost, LOST if lost else DIFFERENT, present)
        present = following if len(following) <= MOST_STATES else _furthest(following)
    return _outcome(start, len(capture) if end is None else end, END, present)


def _keep(states: dict[State, int], state: State, fetches: int) -> None:
    """Keeps a state, reached with that many fetches."""
    if states.get(state, -1) < fetches:
        states[state] = fetches


def _furthest(states: dict[State, int]) -> dict[State, int]:
    """Those with the most fetches."""
    return dict(sorted(states.items(), key=lambda item: -item[1])[:MOST_STATES])


def _outcome(start: int, stop: int, result: str, states: dict[State, int]) -> Outcome:
    most = max(states.values(), default=0)
    return Outcome(start, stop, result, tuple(state for state, fetches in states.items() if fetches == most), most)


