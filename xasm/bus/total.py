"""The time of a program from reset to its halt loop, for the report of a build."""

from __future__ import annotations

from collections.abc import Iterator

from xasm.bus.memory import memory_of
from xasm.bus.timing import hertz_text, timing_of
from xasm.bus.trace import trace
from xasm.linking.linker import Linked
from xasm.source.messages import message


def time_rows(linked: Linked) -> Iterator[str]:
    """One line: the time to the loop and that of one turn, or why there is none."""
    found = trace(memory_of(linked))
    timing = timing_of(linked.image.target, linked.board, None)
    if found.loop is None:
        assert found.end is not None
        yield f"time    from reset: no halt loop is known; {message(found.end.code, found.end.values)} (see xasm expect)"
        return
    reached = f"{found.reached.text()} cycles, {timing.text(found.reached)}"
    turn = f"{found.period.text()} cycles, {timing.text(found.period)}"
    yield f"time    from reset to the halt loop: {reached}; one turn of it: {turn}; at {hertz_text(timing.hertz)}"
