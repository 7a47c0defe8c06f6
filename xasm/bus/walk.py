"""Walks a program along a capture: which accesses can be its fetches, whatever data decides.

All ways that the accesses so far allow are kept at once. An access is a fetch of the program, or one of those that an
instruction makes besides: as many as its time has room for. Where data decides, the capture shows the way.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from typing import NamedTuple

from xasm.bus.capture import Capture
from xasm.bus.flow import COMPUTED, HALT, PAGE, RETURN, TRAP, most_cycles, ways
from xasm.bus.memory import Memory
from xasm.bus.wiring import SEEN, Wiring
from xasm.target.forms import Form

MOST_STATES = 400
MOST_FREE = 2  # jumps to anywhere that a program which a fault leads astray may make: with more, anything would fit
NEAR = 1  # words that a chip looks ahead
# What an instruction may read besides its own words. NEXT: what lies behind it, or where it goes on, as chips do that look ahead;
# the highest address, which some show when they want nothing; and the target with the page not yet put right. DATA: all that
# is no instruction. ANY: everything.
NEXT, DATA, ANY = 0, 1, 2
AFTER_RESET = 2  # accesses that a chip may make between its start address and its first opcode
ANYWHERE = -1  # in place of an address: data has decided where the program goes on
VECTOR = -2  # and below: the word number VECTOR - n of the start address is read next

END, DIFFERENT, LOST = "end", "different", "lost"


def reach_of(flow: str, form: Form) -> int:
    """What instructions of a flow may read: one that only goes to an address that it holds itself wants no data."""
    if flow == "next":
        return ANY
    return NEXT if flow in ("jump", "branch") and form.target is not None else DATA


class State(NamedTuple):
    """Where the program may be: the instruction at `at`, of which the words `got` have come; `room` is how many accesses have
    come within it besides, or, before its first word, how many more the one before leaves room for. `reach` is what these
    may read, and `ahead` the address behind the instruction before; `stack` numbers the return addresses, and `free` counts
    how often a program that a fault leads astray went anywhere."""

    at: int
    got: tuple[int, ...]
    room: int
    reach: int
    ahead: int
    stack: int
    free: int = 0


class Outcome(NamedTuple):
    """How far a walk came: from access `start` on, all up to `stop` fit; END of the capture, DIFFERENT, or LOST where an
    instruction is not known or the chip stops. `states` are those before the access at `stop`, `likely` the ones of them in
    which most accesses are fetches, and `fetches` how many that is."""

    start: int
    stop: int
    result: str
    states: tuple[State, ...] = ()
    likely: tuple[State, ...] = ()
    fetches: int = 0

    @property
    def length(self) -> int:
        return self.stop - self.start


class Exit(NamedTuple):
    """One way on from an instruction, how many accesses it has room for besides its own words, and what these may read. `sure`
    is False where the address `to` came from memory: a chip that gets wrong words goes elsewhere."""

    effect: str
    to: int
    sure: bool
    back: int | None
    room: int
    reach: int


class Program:
    """What is asked of a program again and again, remembered. `code` are addresses of instructions."""

    def __init__(self, memory: Memory, code: Iterable[int] = ()) -> None:
        self.memory = memory
        self.target = memory.target
        self.top = memory.target.top
        self.clock = memory.target.clock
        self.code = frozenset(code)
        self.count = -(-self.target.address // self.target.word)  # words of a start address
        self._after: dict[tuple[int, tuple[int, ...]], tuple[Exit, ...] | bool | None] = {}
        self._rooms: dict[int, tuple[int, int]] = {}
        self._stacks: dict[tuple[int, int], int] = {}
        self._stack_of: list[tuple[int, int]] = [(0, 0)]

    def begin(self) -> State:
        """The state at the release of reset."""
        return State(VECTOR if self.target.start_vector else self.target.start, (), 0, NEXT, self.target.start, 0)

    def place(self, state: State) -> int:
        """The address of the next fetch."""
        return (state.at if state.at > VECTOR else self.target.start) + len(state.got) & self.top

    def may_read(self, address: int, state: State) -> bool:
        """Whether an instruction may read an address besides its own words."""
        if state.reach == ANY or address == self.top or (state.reach == DATA and address not in self.code):
            return True
        if 0 <= address - state.ahead <= NEAR:
            return True
        place = self.place(state)
        return state.at != ANYWHERE and (0 <= address - place <= NEAR or address == (state.ahead & -PAGE | place & PAGE - 1))

    def after(self, at: int, words: tuple[int, ...]) -> tuple[Exit, ...] | bool | None:
        """The ways on from an instruction whose words have all come; None while some are missing, False when they are none."""
        key = (at, words)
        if key not in self._after:
            self._after[key] = self._read(at, words)
        return self._after[key]

    def _read(self, at: int, words: tuple[int, ...]) -> tuple[Exit, ...] | bool | None:
        instruction = self.memory.decode(words, at)
        if instruction is None:
            return None if len(words) < self.memory.longest else False
        options = ways(instruction, words, at, self.target, self._size_at, self._address_at)
        reach = reach_of(instruction.flow, instruction.form)
        found = []
        for way in options:
            to = ANYWHERE if way.to is None else way.to
            found.append(Exit(way.effect, to, way.pointer is None, way.back, self._room(way.cycles.high, len(words)), reach))
        return tuple(found)

    def room_of(self, word: int) -> tuple[int, int]:
        """The most accesses besides its own words that an instruction which begins with a word has room for, and what they may
        read."""
        if word not in self._rooms:
            forms = self.memory.beginning(word)
            rooms = [self._room(most_cycles(form), form.size) for form in forms]
            self._rooms[word] = (max(rooms, default=0), max((reach_of(form.flow, form) for form in forms), default=NEXT))
        return self._rooms[word]

    def _room(self, cycles: int, size: int) -> int:
        return max(0, cycles * self.clock.periods // self.clock.access - size)

    def _size_at(self, address: int) -> int | None:
        instruction = self.memory.instruction(address)
        return instruction.form.size if instruction is not None else None

    def _address_at(self, place: int) -> int | None:
        return self.memory.address_at(place) if self.memory.keeps(place) else None

    def following(self, at: int, words: tuple[int, ...], used: int, stack: int, right: bool = True) -> Iterator[State] | None:
        """The states behind a word; None where nothing more is known. `right` tells whether the chip gets right words."""
        if at <= VECTOR:
            return iter((self._from_vector(at, words, used, stack),))
        exits = self.after(at, words)
        if exits is None:
            return iter((State(at, words, used, self.room_of(words[0])[1], at + len(words), stack),))
        if exits is False or exits is True or any(exit.effect == HALT for exit in exits):
            return None
        return self._leave(at, words, used, stack, exits, right)

    def _from_vector(self, at: int, words: tuple[int, ...], used: int, stack: int) -> State:
        if len(words) < self.count:
            return State(at, words, used, NEXT, self.target.start, stack)
        value = self.memory.number(words) or 0
        return State(value, (), AFTER_RESET, NEXT, value, stack)

    def _leave(self, at: int, words: tuple[int, ...], used: int, stack: int, exits: tuple[Exit, ...], right: bool) -> Iterator[State]:
        ahead = at + len(words) & self.top
        for exit in exits:
            room = exit.room - used
            if room < 0:
                continue
            if exit.effect == RETURN:
                below, back = self._stack_of[stack]
                yield State(back if stack else ANYWHERE, (), room, exit.reach, ahead, below)
                continue
            to = exit.to if exit.sure or right else ANYWHERE
            if exit.back is not None:
                yield State(to, (), room, exit.reach, ahead, self._pushed(stack, exit.back))
            else:
                yield State(to, (), room, exit.reach, ahead, 0 if exit.effect in (TRAP, COMPUTED) else stack)

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
    last = len(capture) if end is None else end
    for index in range(start, last):
        following, lost = _step(program, wiring, present, addresses, index, words[index], bool(writes[index]))
        if not following:
            return _outcome(start, index + lost, LOST if lost else DIFFERENT, present)
        present = following if len(following) <= MOST_STATES else _furthest(following)
    return _outcome(start, last, END, present)


def _step(
    program: Program, wiring: Wiring, present: dict[State, int], addresses: Sequence[int], index: int, word: int, write: bool
) -> tuple[dict[State, int], bool]:
    """The states behind one access, with the number of fetches so far, and whether a way was lost."""
    address = addresses[index]
    following: dict[State, int] = {}
    lost = False
    extra: bool | None = None  # whether the access can be one that is no fetch, once somebody asked
    for state, fetches in present.items():
        at, got, room, reach, ahead, stack, free = state
        left = (program.room_of(got[0])[0] - room if at > VECTOR else 0) if got else room
        if left > 0 and (write or any(program.may_read(origin, state) for origin in wiring.origins(address, word, write))):
            if extra is None:
                extra = wiring.besides(address, word, write)
            if extra:
                _keep(following, State(at, got, room + 1 if got else room - 1, reach, ahead, stack, free), fetches)
        if write:
            continue
        for place in wiring.origins(address, word, write) if at == ANYWHERE else (program.place(state),):
            if (wiring.address(place) ^ address) & wiring.sure:
                continue
            fits, received = wiring.word(place, word, index, addresses)
            if not fits:
                continue
            origin = place if at == ANYWHERE else at
            if at == ANYWHERE and wiring.how != SEEN:
                free += 1
                if free > MOST_FREE:
                    lost = True
                    continue
            after = program.following(origin, (*got, received), room if got else 0, stack, wiring.how == SEEN) if received >= 0 else None
            if after is None:
                lost = True
                continue
            for one in after:
                _keep(following, one._replace(free=free) if free else one, fetches + 1)
    return following, lost


def _keep(states: dict[State, int], state: State, fetches: int) -> None:
    """Keeps a state, reached with that many fetches."""
    if states.get(state, -1) < fetches:
        states[state] = fetches


def _furthest(states: dict[State, int]) -> dict[State, int]:
    """Those with the most fetches."""
    return dict(sorted(states.items(), key=lambda item: -item[1])[:MOST_STATES])


def _outcome(start: int, stop: int, result: str, states: dict[State, int]) -> Outcome:
    most = max(states.values(), default=0)
    likely = tuple(state for state, fetches in states.items() if fetches == most)
    return Outcome(start, stop, result, tuple(states), likely, most)
