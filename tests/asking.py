"""What tests of the language ask of a program."""

from __future__ import annotations

import pytest

import xasm
from tests.invented import BRANCHES, NOTATIONS, chip
from xasm.target.model import Target

CHIP = chip(BRANCHES)
MAKERS = chip(NOTATIONS)
STOP = "00"


def code(source: str, target: Target = CHIP) -> str:
    """The bytes of a program that fills at most one span, as hexadecimal digits."""
    spans = xasm.assemble(source, target).spans
    assert len(spans) < 2
    return bytes(spans[0][1]).hex() if spans else ""


def symbols(source: str, target: Target = CHIP) -> dict[str, int]:
    return xasm.assemble(source, target).symbols


def errors(source: str, target: Target | str | None = CHIP) -> list[tuple[int, int, str]]:
    """Line, column and catalogue entry of every message."""
    with pytest.raises(xasm.SourceErrors) as caught:
        xasm.assemble(source, target)
    return [(found.line, found.column, found.code) for found in caught.value.diagnostics]


def texts(source: str, target: Target | str | None = CHIP) -> list[str]:
    """All messages."""
    with pytest.raises(xasm.SourceErrors) as caught:
        xasm.assemble(source, target)
    return [found.message for found in caught.value.diagnostics]


def hints(source: str, target: Target = CHIP) -> list[str | None]:
    with pytest.raises(xasm.SourceErrors) as caught:
        xasm.assemble(source, target)
    return [found.hint for found in caught.value.diagnostics]
