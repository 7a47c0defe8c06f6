"""How much a source may grow: bounds that no real program meets and every bomb does. All can be set by the user."""

from __future__ import annotations

from typing import NamedTuple


class Limits(NamedTuple):
    """`lines` that macros and repeats may bring in all together, `depth` of macros, repeats and includes inside one
    another, `files` that may be included or embedded."""

    lines: int = 200_000
    depth: int = 100
    files: int = 1000
