"""Words that may have been meant by one that nobody knows."""

from __future__ import annotations

from collections.abc import Iterable


def nearest(word: str, known: Iterable[str], count: int = 3, alike: float = 0.6) -> list[str]:
    """At most `count` known words that are like this one, the likest first; `alike` is the least share (0..1) that must agree."""
    from difflib import get_close_matches  # most runs have no use for it

    return get_close_matches(word, list(known), n=count, cutoff=alike)


def did_you_mean(word: str, known: Iterable[str]) -> str | None:
    """A hint that names the nearest words; None where nothing is near."""
    near = nearest(word, known)
    return f"did you mean {' or '.join(near)}?" if near else None
