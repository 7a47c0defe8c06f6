"""What can be written of a trace, by the suffix of the file."""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from typing import NamedTuple

from xasm.bus.prose import trace_text
from xasm.bus.timing import Timing
from xasm.bus.trace import Trace
from xasm.formats.options import Options

Write = Callable[[Trace, Timing, Options], bytes]


class Output(NamedTuple):
    """A way to write a trace: its title for people, and the function that makes the bytes of the file."""

    title: str
    write: Write


def text_of(trace: Trace, timing: Timing, options: Options) -> bytes:
    return trace_text(trace, timing).encode("utf-8", "backslashreplace")


def _late(module: str, function: str) -> Write:
    """A function of a module that is loaded by the first call."""

    def call(trace: Trace, timing: Timing, options: Options) -> bytes:
        made: bytes = getattr(import_module(f"xasm.bus.{module}"), function)(trace, timing, options)
        return made

    return call


OUTPUTS: dict[str, Output] = {
    ".txt": Output("text", text_of),
    ".csv": Output("comma-separated values", _late("tables", "write_csv")),
    ".json": Output("JSON", _late("tables", "write_json")),
    ".h": Output("C arrays in a header", _late("tables", "write_header")),
    ".vcd": Output("value change dump", _late("waves", "write_vcd")),
    ".svg": Output("picture", _late("picture", "write_svg")),
}
SUFFIXES = ", ".join(f"{suffix} {output.title}" for suffix, output in OUTPUTS.items())
