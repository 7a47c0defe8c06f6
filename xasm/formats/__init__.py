"""Formats: an image to the bytes of a file. The only room that imports intelhex.

`FORMATS` says what there is; a format's module is loaded when something is written in it. `files.write_files` puts the
bytes on disk, all outputs or none.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from xasm.formats.options import Options
from xasm.linking.image import Image


class Format(NamedTuple):
    """A format: the suffix that chooses it, its title for help, whether it is text (and may go to a terminal), and the
    function that makes the bytes of the file; that raises Fault when the image or an option does not suit the format."""

    suffix: str
    title: str
    text: bool
    write: Callable[[Image, Options], bytes]


def _raw(image: Image, options: Options) -> bytes:
    from xasm.formats.raw import write

    return write(image, options)


def _intel_hex(image: Image, options: Options) -> bytes:
    from xasm.formats.intel_hex import write

    return write(image, options)


def _c_header(image: Image, options: Options) -> bytes:
    from xasm.formats.c_array import write_header

    return write_header(image, options)


def _c_source(image: Image, options: Options) -> bytes:
    from xasm.formats.c_array import write_source

    return write_source(image, options)


FORMATS: dict[str, Format] = {
    form.suffix: form
    for form in (
        Format(".bin", "raw binary", False, _raw),
        Format(".hex", "Intel HEX", True, _intel_hex),
        Format(".h", "C array in a header", True, _c_header),
        Format(".c", "C array in a source file", True, _c_source),
    )
}
