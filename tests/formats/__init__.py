"""Images for the tests of formats: an invented chip, changed as a test needs it; and files read back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest

from xasm.formats import FORMATS, READERS
from xasm.formats.options import Options
from xasm.formats.reading import ReadImage, Reading
from xasm.linking.image import Image, Span
from xasm.source.diagnostics import Fault, Report
from xasm.source.files import read_source
from xasm.target.loader import read_target
from xasm.target.model import Target

TABLE = Path(__file__).with_name("chip.yaml")


@lru_cache(maxsize=1)
def _chip() -> Target:
    return read_target(read_source(TABLE, TABLE.name), Report())


def image(parts: Mapping[int, Sequence[int]], more: Mapping[str, Any] | None = None, **head: Any) -> Image:
    """An image with words at addresses. `more` are further fields of the image; the rest changes the chip."""
    spans = tuple(Span(start, words) for start, words in sorted(parts.items()))
    return replace(Image(replace(_chip(), **head), spans), **(more or {}))


def refused(code: str, call: Any, *arguments: Any) -> str:
    """The message of the Fault `code` that a call must raise."""
    with pytest.raises(Fault) as caught:
        call(*arguments)
    assert caught.value.code == code
    return str(caught.value)


def spans(cells: Mapping[int, int]) -> dict[int, list[int]]:
    """Words at addresses, joined where they follow each other."""
    found: dict[int, list[int]] = {}
    start = None
    for address in sorted(cells):
        if start is None or address != start + len(found[start]):
            start = address
            found[start] = []
        found[start].append(cells[address])
    return found


def read_text(suffix: str, text: bytes | str, **told: Any) -> ReadImage:
    """What the reader of a format makes of a text; `told` is what it is told."""
    data = text if isinstance(text, bytes) else text.encode("utf-8")
    return READERS[suffix].read(data, "file", Reading(**told))


def written(suffix: str, made: Image, options: Options | None = None) -> str:
    """The text of a file in a format."""
    return FORMATS[suffix].write(made, options or Options()).decode("ascii")


def mistake(suffix: str, text: bytes | str, **told: Any) -> tuple[str, str]:
    """The code of the Fault that reading a text must raise, and what a person sees of it."""
    with pytest.raises(Fault) as caught:
        read_text(suffix, text, **told)
    fault = caught.value
    assert fault.place is not None
    source, line, column = fault.place
    assert source.path == "file" and line >= 1 and column >= 1
    report = Report()
    report.lost(fault)
    return fault.code, report.diagnostics[0].render()
