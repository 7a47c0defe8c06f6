"""Random words at addresses, for the tests of formats."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as some


@some.composite
def sparse(draw: Any, word: int = 8, highest: int = 0xFFFF_FFFF) -> dict[int, int]:
    """Words at addresses: pieces that may touch and cover each other, many of them at the border of 64 KiB or at an end."""
    border = some.builds(lambda bank, off: max(0, bank * 0x10000 + off), some.integers(0, highest >> 16), some.integers(-40, 3))
    start = some.integers(0, highest) | some.integers(0, 0x200) | border | some.integers(max(0, highest - 0x2F), highest)
    words = some.binary(min_size=1, max_size=70) if word == 8 else some.lists(some.integers(0, (1 << word) - 1), min_size=1, max_size=40)
    pieces = draw(some.lists(some.tuples(start, words), min_size=1, max_size=8))
    return {start + index: word for start, words in pieces for index, word in enumerate(words) if start + index <= highest}
