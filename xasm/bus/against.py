"""A capture held against a program: how far they are the same, the first difference, and what it looks like."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator
from typing import NamedTuple

from xasm.bus.capture import NOTHING, Capture, read_capture
from xasm.bus.memory import CODE, Memory
from xasm.bus.trace import Trace, start_of
from xasm.bus.walk import ANYWHERE, END, LOST, NEXT, Outcome, Program, State, walk
from xasm.bus.wiring import SEEN, Defect, Wiring, defects, none, wirings
from xasm.source.diagnostics import printable

MOST_RESETS = 16  # places at which a capture may show the release of reset
SURE = 4  # accesses in a row that make such a place
MOST_LOOKED = 20_000  # accesses behind the first difference that a fault is held against
LATE = 1000  # accesses in front of a difference that are walked again for every fault
SINCE = 8  # accesses in front of a difference in which a fault may begin
ENOUGH = 24  # accesses behind the difference that it must explain then: one wrong access alone fits many faults in fewer
GLANCE = 24  # accesses behind the difference that are looked at before a fault is followed
PAGE = 256  # words
BEFORE, BEHIND = 4, 4  # accesses shown around the first difference
MOST_FINDINGS = 5
STILL = 4  # accesses of one address and no other, from which on a chip seems to stand still


class Finding(NamedTuple):
    """A fault that fits: its defect, how it was looked at, how far it fits, and whether that is to the end."""

    defect: Defect
    how: str
    outcome: Outcome
    whole: bool


class Comparison(NamedTuple):
    """How capture and program agree. `outcome` is the best alignment of the program as it is; `begins` tells what the capture
    begins with: "reset", "middle" or "nothing" (they do not line up)."""

    capture: Capture
    outcome: Outcome
    begins: str
    findings: list[Finding]

    @property
    def same(self) -> bool:
        """A program that stops where the capture ends is the same, too."""
        whole = self.outcome.stop == len(self.capture) and self.outcome.result in (END, LOST)
        return whole and self.outcome.length > 0 and self.begins != "nothing"


def compare_file(memory: Memory, trace: Trace, path: str, layout: str | None = None) -> tuple[bool, str]:
    """Whether a capture differs, and the verdict as text. Raises Fault for a file that cannot be read as a capture."""
    capture = read_capture(path, memory, layout)
    found = compare(memory, trace, capture)
    return not found.same, "\n".join(line.rstrip() for line in verdict(found, memory, trace)) + "\n"


def compare(memory: Memory, trace: Trace, capture: Capture) -> Comparison:
    """Lines up a capture with a program, and where they differ looks for a fault that fits."""
    code = [fetch.address for fetch in trace.fetches()]
    code += [address for stretch in memory.stretches if stretch.what == CODE for address in range(stretch.start, stretch.end)]
    program = Program(memory, code)
    middle = positions(trace, program)
    outcome, begins = align(program, capture, middle)
    found = Comparison(capture, outcome, begins, [])
    if found.same or not len(capture):
        return found
    return found._replace(findings=look(program, capture, middle, found))


def positions(trace: Trace, program: Program) -> list[State]:
    """Every place of the program at which a capture may begin, with the room that the instruction before leaves."""
    found: dict[State, None] = {}
    before = [None, *trace.steps[:-1]]
    pairs = [*zip(before, trace.steps, strict=True)] if trace.steps else []
    if trace.loop is not None:
        pairs.append((trace.steps[-1], trace.steps[trace.loop]))
    for last, step in pairs:
        exits = program.after(last.address, last.words) if last is not None else ()
        room, reach = max(((exit.room, exit.reach) for exit in exits), default=(0, 0)) if isinstance(exits, tuple) else (0, 0)
        ahead = last.address + len(last.words) if last is not None else step.address
        for size in range(len(step.words)):
            found[State(step.address, step.words[:size], 0 if size else room, reach, ahead, 0)] = None
    return list(found)


def align(program: Program, capture: Capture, middle: list[State]) -> tuple[Outcome, str]:
    """The best alignment of the program without a fault."""
    wiring = none(program.memory)
    resets: list[Outcome] = []
    for index in starts(program, capture, wiring):
        resets.append(walk(program, capture, wiring, index, [program.begin()]))
        if resets[-1].length >= SURE or resets[-1].result == END:
            break
    if resets and resets[0].start == 0 and resets[0].result == END:
        return resets[0], "reset"
    inside = walk(program, capture, wiring, 0, middle)
    if inside.result == END and inside.length:
        return inside, "middle"
    sure = [outcome for outcome in resets if outcome.length >= SURE or outcome.result == END]
    if sure:
        return sure[0], "reset"
    best = max([*resets, inside], key=lambda outcome: outcome.length)
    if best.length < SURE:
        return (resets[0], "reset") if resets and resets[0].start == 0 and resets[0].length else (inside, "nothing")
    return best, "middle" if best is inside else "reset"


def starts(program: Program, capture: Capture, wiring: Wiring) -> list[int]:
    """The accesses that may be the first of all."""
    return capture.reads_of(wiring.first(program.place(program.begin())), MOST_RESETS)


def look(program: Program, capture: Capture, middle: list[State], found: Comparison) -> list[Finding]:
    """The faults that fit to the end, from the beginning or else from the difference on; behind them those that lead the chip to
    a word that is no instruction, or to a stop, and explain all up to there."""
    if len(capture) >= STILL and len(set(zip(capture.addresses, capture.words, strict=True))) == 1:
        return [Finding(Defect("still", "the chip never left reset, or has no clock"), SEEN, Outcome(0, len(capture), END), True)]
    fits: list[Finding] = []
    partly: list[Finding] = []
    lined_up = found.begins != "nothing"
    if not lined_up or found.outcome.length <= LATE:
        fits, partly = from_the_beginning(program, capture, middle, found)
    if not fits and lined_up:
        fits = from_the_difference(program, capture, middle, found)
    furthest = max((finding.outcome.stop for finding in partly), default=0)
    named = {finding.defect.title for finding in fits}
    others = {one.defect.title: one for one in partly if one.outcome.stop == furthest and one.defect.title not in named}
    return [*sorted(fits, key=lambda finding: finding.outcome.start), *others.values()]


def from_the_beginning(program: Program, capture: Capture, middle: list[State], found: Comparison) -> tuple[list[Finding], list[Finding]]:
    """The faults that fit to the end, and those that fit as far as the way is known."""
    must = found.outcome.stop if found.begins != "nothing" else min(SURE, len(capture) - 1)
    end = min(len(capture), must + MOST_LOOKED)
    latest = min(must, len(capture) // 2)
    elsewhere = other_start(program, capture, must, end)
    fits = [elsewhere] if elsewhere is not None else []
    partly: list[Finding] = []
    sure = found.begins == "reset" and found.outcome.fetches >= SURE
    plain = sure and found.outcome.fetches == found.outcome.length  # nothing but fetches up to the difference
    seen = pairs(capture, must, end)
    for defect in [*words_at_fault(), *defects(program.target)]:
        for wiring in wirings(program.memory, defect):
            if not all(wiring.can_show(*pair) for pair in seen):
                continue
            if plain and wiring.how == SEEN and not walk(program, capture, wiring, must, found.outcome.states, must + 1).length:
                continue  # the chip runs as it should up to here, and this access does not fit
            begins = [found.outcome.start] if sure else starts(program, capture, wiring)
            outcome = best_walk(program, capture, wiring, begins, [] if sure else middle, end)
            if outcome is None or outcome.start > latest or outcome.stop < must + 2 or not shown(outcome, capture, wiring):
                continue  # one access behind the difference would prove nothing
            if outcome.result == END or (outcome.result == LOST and outcome.stop == end):
                fits.append(Finding(defect, wiring.how, outcome, True))
                break
            if outcome.result == LOST:
                partly.append(Finding(defect, wiring.how, outcome, False))
    return [*late_addresses(program, capture, middle, must, end), *fits], partly


def late_addresses(program: Program, capture: Capture, middle: list[State], must: int, end: int) -> Iterator[Finding]:
    """Addresses that are printed one access late against the words. A memory that gets them late, too, leads the chip astray at
    once, and nothing can be followed."""
    if len(capture) <= SURE:
        return
    wiring = Wiring(program.memory, Defect("late", "each address comes one access late against the words"))
    for writes in dict.fromkeys((bytes(capture.writes), bytes(1) + bytes(capture.writes[:-1]))):
        earlier = capture.moved(writes)
        outcome = best_walk(program, earlier, wiring, starts(program, earlier, wiring), middle, min(end, len(earlier)))
        fits = outcome is not None and outcome.result == END and outcome.length >= SURE
        if outcome is not None and fits and outcome.stop >= must + 1 and outcome.start <= min(must, len(capture) // 2):
            yield Finding(wiring.defect, wiring.how, outcome, True)
            return


def from_the_difference(program: Program, capture: Capture, middle: list[State], found: Comparison) -> list[Finding]:
    """The faults that fit to the end if they are there only since a few accesses before the difference."""
    must = found.outcome.stop
    end = min(len(capture), must + MOST_LOOKED)
    if end - must < ENOUGH:
        return []
    wiring = none(program.memory)
    first = max(found.outcome.start, must - SINCE)
    states: Collection[State] = [program.begin()] if found.begins == "reset" else middle
    before = [(first, walk(program, capture, wiring, found.outcome.start, states, first).states)]
    for index in range(first, must):
        before.append((index + 1, walk(program, capture, wiring, index, before[-1][1], index + 1).states))
    fits = []
    seen = pairs(capture, must, end)
    for defect in defects(program.target):
        faults = [wiring for wiring in wirings(program.memory, defect) if all(wiring.can_show(*pair) for pair in seen)]
        tries = ((wiring, index, present) for wiring in faults for index, present in before)
        for wiring, index, present in tries:
            outcome = walk(program, capture, wiring, index, present, end)
            if outcome.result == END:
                fits.append(Finding(defect, wiring.how, outcome, True))
                break
    return fits


def pairs(capture: Capture, first: int, end: int) -> list[tuple[int, int]]:
    """Some addresses from the difference on with their words, NOTHING for a word that is written: a quick first look at a fault."""
    numbers = range(first, min(end, first + GLANCE))
    seen = [(capture.addresses[index], NOTHING if capture.writes[index] else capture.words[index]) for index in numbers]
    return list(dict.fromkeys(seen))


def words_at_fault() -> Iterator[Defect]:
    """Faults of what the memory answers."""
    yield Defect("late", "each word comes one access late", late=True)
    yield Defect("page", f"the words are those of the next page, 0x{PAGE:X} further on", shift=PAGE)
    yield Defect("page", f"the words are those of the page before, 0x{PAGE:X} back", shift=-PAGE)


def shown(outcome: Outcome, capture: Capture, wiring: Wiring) -> bool:
    """Whether what a fault of the words says was seen at all: words that are known, and in most accesses."""
    defect = wiring.defect
    if not defect.shift and not defect.late:
        return True
    told = sum(
        1
        for index in range(outcome.start, outcome.stop)
        if capture.words[index] != NOTHING
        and wiring.memory.word(capture.addresses[index - 1 if defect.late else index] + defect.shift & wiring.top) is not None
    )
    return told * 2 >= outcome.length


def best_walk(program: Program, capture: Capture, wiring: Wiring, begins: list[int], middle: list[State], end: int) -> Outcome | None:
    """The first walk that comes to the end, or else the furthest."""
    best: Outcome | None = None
    for index in begins:
        outcome = walk(program, capture, wiring, index, [program.begin()], end)
        if outcome.result == END and outcome.length >= min(SURE, end):
            return outcome
        if best is None or outcome.stop > best.stop:
            best = outcome
    if not middle:
        return best
    inside = walk(program, capture, wiring, 0, middle, end)
    return inside if best is None or inside.result == END or inside.stop > best.stop else best


def other_start(program: Program, capture: Capture, must: int, end: int) -> Finding | None:
    """The program as it is, but begun at another address."""
    memory = program.memory
    begin = start_of(memory)
    wiring = none(memory)
    tried = set()
    for index in range(min(MOST_RESETS * 2, end)):
        address = capture.addresses[index]
        if address == begin or address in tried or capture.writes[index] or memory.word(address) is None:
            continue
        tried.add(address)
        outcome = walk(program, capture, wiring, index, [State(address, (), 0, NEXT, address, 0)], end)
        if outcome.result == END and outcome.length >= SURE and outcome.stop > must and index <= must + 2:
            usual = f" instead of {memory.target.hex_address(begin)}" if begin is not None else ""
            return Finding(Defect("start", f"the chip runs, but from {memory.target.hex_address(address)}{usual}"), SEEN, outcome, True)
    return None


# ---- the verdict


def verdict(found: Comparison, memory: Memory, trace: Trace) -> Iterator[str]:
    """What there is to say, line by line."""
    capture, outcome = found.capture, found.outcome
    passed = f"; {capture.passed} lines that are none are passed over" if capture.passed else ""
    yield f"{printable(capture.path)}: {_many(len(capture))} of the bus{passed}"
    if not len(capture):
        yield "nothing came on the bus: the chip never left reset, has no clock, or nothing was captured"
        return
    if found.begins == "reset":
        before = f" ({_many(outcome.start)} before it)" if outcome.start else ""
        yield f"reset is released at access {outcome.start + 1}, line {capture.lines[outcome.start]}{before}"
    elif found.begins == "middle":
        yield "the capture begins while the program runs"
    else:
        yield "capture and program do not line up anywhere"
    if found.same:
        yield f"same: all {_many(outcome.length)}"
        if outcome.length < SURE and found.begins == "middle":
            yield "So few could come from many places: this says little."
        return
    if outcome.result == LOST:
        yield f"same for {_many(outcome.length)}; then the program stops, or its way is not known: no more can be compared"
        return
    if found.begins != "nothing":
        line = capture.lines[outcome.stop]
        yield f"same for {_many(outcome.length)}, then the first difference at access {outcome.stop + 1}, line {line}:"
    yield ""
    yield from around(found, memory)
    yield ""
    yield from findings(found)


def around(found: Comparison, memory: Memory) -> Iterator[str]:
    """The first difference with what lies around it."""
    capture, outcome, target = found.capture, found.outcome, memory.target
    program = Program(memory)
    wanted = expected(outcome, program) if found.begins != "nothing" else []
    ahead = list(onward(outcome, program)) if len(wanted) == 1 else []
    yield f"  {'access':>8}  {'line':>7}  {'captured':<12}  expected"
    for index in range(max(0, outcome.stop - BEFORE), min(len(capture), outcome.stop + BEHIND + 1)):
        way = " W" if capture.writes[index] else ""
        text = f"{_access(capture.addresses[index], capture.words[index], memory)}{way}"
        past = index < outcome.stop and found.begins != "nothing" and index >= outcome.start
        later = index - outcome.stop - 1
        told = "the same" if past else ""
        if index == outcome.stop:
            told = " or ".join(wanted) if wanted else "any address of the program" if found.begins != "nothing" else ""
        elif 0 <= later < len(ahead):
            told = ahead[later]
        mark = "> " if index == outcome.stop and found.begins != "nothing" else "  "
        yield f"{mark}{index + 1:>8}  {capture.lines[index]:>7}  {text:<12}  {told}"
    if found.begins == "nothing":
        begin = program.place(program.begin())
        yield f"  expected first: {_access(begin, _word(begin, memory), memory)} ({target.hex_address(begin)})"


def expected(outcome: Outcome, program: Program) -> list[str]:
    """The fetches that could have come at the difference."""
    places = {program.place(state): None for state in sorted(outcome.likely) if state.at != ANYWHERE}
    return [_access(place, _word(place, program.memory), program.memory) for place in places][:4]


def onward(outcome: Outcome, program: Program) -> Iterator[str]:
    """The fetches behind the one that was expected, as far as they are sure."""
    memory = program.memory
    states = [state for state in outcome.likely if state.at != ANYWHERE]
    for _ in range(BEHIND + 1):
        words = {memory.word(program.place(state)) for state in states}
        word = words.pop() if len(words) == 1 else None
        if word is None:
            return
        following = [program.following(state.at, (*state.got, word), 0, state.stack) for state in states]
        states = sorted({state for one in following if one is not None for state in one})
        places = {program.place(state) for state in states if state.at != ANYWHERE}
        if len(places) != 1:
            return
        place = places.pop()
        yield _access(place, _word(place, memory), memory)


def findings(found: Comparison) -> Iterator[str]:
    """What the difference looks like."""
    total = len(found.capture)
    if not found.findings:
        yield "none of the faults that are looked for fits: one line stuck, two swapped or shorted, words late or of another page,"
        yield "another start"
        return
    fits = [finding for finding in found.findings if finding.whole]
    others = [finding for finding in found.findings if not finding.whole]
    for finding in fits[:MOST_FINDINGS]:
        yield f"fits: {_named(finding, total)}"
    if len(fits) > MOST_FINDINGS:
        yield f"and {_kinds(fits[MOST_FINDINGS:])} that fit as well"
    if others:
        yield "fits up to a word that is no instruction, or stops the chip:" if fits else "nothing fits to the end; fits up to such a word:"
    for finding in others[:MOST_FINDINGS]:
        yield f"  {_named(finding, total)}"
    if len(others) > MOST_FINDINGS:
        yield f"  and {_kinds(others[MOST_FINDINGS:])}"
    if len(found.findings) > 1:
        yield "The capture cannot tell these apart."


def _named(finding: Finding, total: int) -> str:
    """A fault with the accesses that it fits."""
    outcome = finding.outcome
    extent = f"{_many(outcome.length)}, {outcome.start + 1} to {outcome.stop}"
    if not outcome.start and outcome.stop == total:
        extent = f"all {_many(total)}"
    return f"{finding.defect.title} ({extent}){'; the chip gets it too' if finding.how != SEEN else ''}"


def _kinds(rest: list[Finding]) -> str:
    """How many faults are not named, and of which kinds."""
    kinds = Counter(finding.defect.kind for finding in rest)
    return f"{len(rest)} more ({', '.join(f'{count} {kind}' for kind, count in kinds.items())})"


def _access(address: int, word: int, memory: Memory) -> str:
    shown = memory.target.hex_word(word) if word != NOTHING else "--"
    return f"{memory.target.hex_address(address)[2:]} {shown}"


def _word(address: int, memory: Memory) -> int:
    word = memory.word(address)
    return NOTHING if word is None else word


def _many(number: int) -> str:
    return f"{number:,} access{'es' if number != 1 else ''}"
