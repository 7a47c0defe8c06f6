"""A trace as text for people."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from xasm.bus.flow import Cycles
from xasm.bus.timing import Timing, hertz_text
from xasm.bus.trace import OPERAND, VECTOR, Step, Trace
from xasm.source.diagnostics import printable
from xasm.source.messages import message

MOST_SHOWN = 12  # addresses of a loop that the last line names


def trace_text(trace: Trace, timing: Timing) -> str:
    """The whole text, with an end of line behind every row."""
    return "\n".join(line.rstrip() for line in _Text(trace, timing).rows()) + "\n"


class _Text:
    def __init__(self, trace: Trace, timing: Timing) -> None:
        self.trace = trace
        self.timing = timing
        self.target = trace.target
        self.number = 0
        cycles = max((len(step.begin.text()) for step in trace.steps), default=1)
        time = max((len(timing.column(step.begin)) for step in trace.steps), default=1)
        self.widths = (max(8, cycles), max(10, time))
        self.own = max([len("cycles"), *(len(step.cycles.text()) for step in trace.steps)])

    def rows(self) -> Iterator[str]:
        target, timing = self.target, self.timing
        source = f", {timing.source}" if timing.source else ""
        one = _one(timing)
        yield f"expected on the bus after a reset: {target.title}"
        yield f"cycles in units of one {timing.unit}, {one} each at {hertz_text(timing.hertz)}{source}; counted from the first opcode"
        yield "every fetch of the program; what instructions read and write besides their own words comes in between"
        yield ""
        yield self.row("fetch", "address", "word", "kind", "cycles", "at cycle", "at us", "instruction")
        for fetch in self.trace.vector:
            self.number += 1
            yield self.row(str(self.number), self.address(fetch.address), target.word_text(fetch.word), VECTOR, "", "", "", "")
        yield from self.steps(self.trace.before)
        if self.trace.loop is not None:
            yield "from here again and again:"
            yield from self.steps(self.trace.again)
        yield ""
        yield from summary(self.trace, timing)

    def steps(self, steps: Sequence[Step]) -> Iterator[str]:
        for step in steps:
            answer = "" if step.taken is None else " (taken)" if step.taken else " (not taken)"
            label = self.trace.memory.labels.get(step.address)
            text = f"{label}: {step.text}{answer}" if label else step.text + answer
            shown = [step.cycles.text(), step.begin.text(), self.timing.column(step.begin), printable(text)]
            for fetch in step.fetches(self.target.top):
                self.number += 1
                row = [str(self.number), self.address(fetch.address), self.target.word_text(fetch.word), fetch.kind]
                yield self.row(*row, *(shown if fetch.kind != OPERAND else [""] * 4))

    def row(self, number: str, address: str, word: str, kind: str, own: str, cycles: str, time: str, text: str) -> str:
        width = max(4, (self.target.word + 3) // 4)
        at_cycle, at_time = self.widths
        return f"{number:>6}  {address:<7}  {word:<{width}}  {kind:<7}  {own:>{self.own}}  {cycles:>{at_cycle}}  {time:>{at_time}}  {text}"

    def address(self, address: int) -> str:
        return self.target.address_text(address)[2:]


def _one(timing: Timing) -> str:
    return timing.text(Cycles(1, 1))


def summary(trace: Trace, timing: Timing) -> Iterator[str]:
    """How it ends: the loop with its period, or why no more is known."""
    target = trace.target
    if trace.loop is not None:
        fetches = [fetch for step in trace.again for fetch in step.fetches(target.top)]
        shown = " ".join(target.address_text(fetch.address)[2:] for fetch in fetches[:MOST_SHOWN])
        more = f" ... ({len(fetches) - MOST_SHOWN} more)" if len(fetches) > MOST_SHOWN else ""
        yield f"halt loop: {shown}{more} for ever"
        once = f"{count(len(fetches), 'fetch', 'fetches')}, {cycles_text(trace.period.text())}, {timing.text(trace.period)}"
        yield f"  one turn:  {once}"
    end = "the loop" if trace.loop is not None else "there"
    if trace.end is not None:
        yield f"no further: {message(trace.end.code, trace.end.values)}"
    begins = count(trace.loop_fetch if trace.loop_fetch is not None else sum(1 for _ in trace.fetches()), "fetch", "fetches")
    yield f"  up to {end}: {begins}, {cycles_text(trace.reached.text())}, {timing.text(trace.reached)}"
    if trace.pointers:
        places = ", ".join(target.address_text(place) for place in sorted(trace.pointers))
        yield f"  as long as the program leaves the address at {places} as it is"
    if trace.used and trace.loop is not None:
        yield "  as long as the decisions go as --take says"


def cycles_text(cycles: str) -> str:
    return f"{cycles} cycle{'s' if cycles != '1' else ''}"


def count(number: int, one: str, many: str) -> str:
    return f"{number:,} {one if number == 1 else many}"
