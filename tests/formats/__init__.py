"""Images for the tests of output formats: an invented chip, changed as a test needs it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest

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
