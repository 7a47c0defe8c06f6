"""Formats: an image to the bytes of a file, and such files back to words. The only room that imports intelhex.

`FORMATS` says what can be written, `READERS` what can be read; a format's module is loaded when something is written or
read in it. `files.write_files` puts the bytes on disk, all outputs or none; `splitting` makes several images out of one;
`read_file` reads a file whose format it finds by itself.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from xasm.formats.options import Options
from xasm.linking.image import Image

if TYPE_CHECKING:
    from xasm.formats.reading import ReadImage, Reading


class Format(NamedTuple):
    """A format: the suffix that chooses it, its title for help, whether it is text (and may go to a terminal), and the
    function that makes the bytes of the file; that raises Fault when the image or an option does not suit the format."""

    suffix: str
    title: str
    text: bool
    write: Callable[[Image, Options], bytes]


class Reader(NamedTuple):
    """A format that can be read: its suffix, its title, and the function of (content, path as messages show it, what the
    reader is told); that raises Fault, with a place, for the first mistake in the file."""

    suffix: str
    title: str
    read: Callable[[bytes, str, Reading], ReadImage]


def _late(module: str, function: str, *more: Any) -> Callable[..., Any]:
    """A function of a format's module, which is loaded by the first call; `more` arguments stand behind those of a call."""

    def call(*arguments: Any) -> Any:
        return getattr(import_module(f"xasm.formats.{module}"), function)(*arguments, *more)

    return call


_RAW, _INTEL, _MOTOROLA, _MEMORY, _ROWS = "raw binary", "Intel HEX", "Motorola S-records", "hex memory file", "hex text"

FORMATS: dict[str, Format] = {
    form.suffix: form
    for form in (
        Format(".bin", _RAW, False, _late("raw", "write")),
        Format(".hex", _INTEL, True, _late("intel_hex", "write")),
        Format(".srec", _MOTOROLA, True, _late("s_records", "write")),
        Format(".s19", f"{_MOTOROLA} with 16-bit addresses", True, _late("s_records", "write", ".s19")),
        Format(".s28", f"{_MOTOROLA} with 24-bit addresses", True, _late("s_records", "write", ".s28")),
        Format(".s37", f"{_MOTOROLA} with 32-bit addresses", True, _late("s_records", "write", ".s37")),
        Format(".mem", _MEMORY, True, _late("memory_hex", "write")),
        Format(".txt", _ROWS, True, _late("hex_text", "write")),
        Format(".h", "C array in a header", True, _late("c_array", "write_header")),
        Format(".c", "C array in a source file", True, _late("c_array", "write_source")),
    )
}

READERS: dict[str, Reader] = {
    reader.suffix: reader
    for reader in (
        Reader(".bin", _RAW, _late("raw", "read")),
        Reader(".hex", _INTEL, _late("intel_hex", "read")),
        *(Reader(suffix, _MOTOROLA, _late("s_records", "read")) for suffix in (".srec", ".s19", ".s28", ".s37")),
        Reader(".mem", _MEMORY, _late("memory_hex", "read")),
        Reader(".txt", _ROWS, _late("hex_text", "read")),
        *(Reader(suffix, "C arrays", _late("c_array", "read")) for suffix in (".h", ".c")),
    )
}


def read_file(path: str | Path, reading: Reading | None = None, suffix: str | None = None) -> ReadImage:
    """Reads a file in the format that its content shows, or else in that of its suffix; `suffix` says which it is instead.

    Raises Fault, with a place: cannot_read (without one), file_too_long (64 MiB), read_unknown, and what the reader finds.
    """
    from xasm.formats.finding import suffix_of
    from xasm.formats.reading import Reading, Text
    from xasm.source.files import read_bytes

    data = read_bytes(Path(path), str(path))
    if not data:
        raise Text(data, str(path)).fault("read_empty", 0)
    chosen = suffix or suffix_of(data) or Path(path).suffix.lower()
    if chosen not in READERS:
        raise Text(data, str(path)).fault("read_unknown", 0, formats=", ".join(dict.fromkeys(one.title for one in READERS.values())))
    return READERS[chosen].read(data, str(path), reading or Reading())
