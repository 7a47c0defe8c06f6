"""How much a source may grow: bounds that no real program meets and every bomb does. All can be set by the user."""

from __future__ import annotations

from typing import NamedTuple


class Limits(NamedTuple):
    """`lines` that macros and repeats may bring in all together, `depth` of macros, repeats and includes inside one
    another, `files` that may be included or embedded."""

    lines: int = 200_000
    depth: int = 100
    files: int = 1000


def most_words(space: int) -> int:
    """How many words a program may make for a chip with `space` addresses: more than fit, so that a program that is somewhat
    too long is still placed, and shown where it leaves the space or meets itself."""
    return min(max(4 * space, 1 << 20), 1 << 24)
