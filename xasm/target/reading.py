"""Values of a table's document to plain Python values; each mistake is a Fault with its place."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from collections.abc import Mapping as Keys
from typing import Any

from xasm.source.diagnostics import Fault, Report
from xasm.source.nearest import nearest
from xasm.target.document import Listing, Mapping, Scalar, Value

MOST_WORDS = 1 << 16  # of a range
KEYED = "made of keys and values (key: value)"


def expect(value: Value, shape: type[Any], what: str, wanted: str) -> Any:
    """The value itself when it has the shape."""
    if not isinstance(value, shape):
        raise Fault("table_shape", place=value.place, what=what, wanted=wanted)
    return value


def text(value: Value, key: str, quoted: bool = False) -> str:
    """A text; `quoted` refuses a plain one (codes and forms are full of what YAML reads otherwise)."""
    if not isinstance(value, Scalar):
        raise Fault("table_shape", place=value.place, what=f"'{key}'", wanted="a text")
    if quoted and not value.quoted:
        raise Fault("table_quotes", place=value.place, key=key)
    if not isinstance(value.value, str):
        raise Fault("table_quote", place=value.place, text=f"the value of '{key}'")
    return value.value


def integer(value: Value, key: str, low: int, high: int) -> int:
    if not isinstance(value, Scalar) or isinstance(value.value, bool) or not isinstance(value.value, int):
        raise Fault("table_shape", place=value.place, what=f"'{key}'", wanted="a whole number")
    if not low <= value.value <= high:
        raise Fault("table_number", place=value.place, key=f"'{key}'", value=value.value, range=f"{low}..{high}")
    return value.value


def word(value: Value, key: str, wanted: tuple[str, ...]) -> str:
    """One of a few words."""
    found = text(value, key)
    if found not in wanted:
        raise Fault("table_value", place=value.place, value=found, key=key, wanted=", ".join(wanted))
    return found


def read_ranges(value: Value, bits: int) -> frozenset[int]:
    """Words of so many bits: `["01..0F", "FE"]`, in hexadecimal digits as many as a word has."""
    digits = (bits + 3) // 4
    one = rf"([0-9A-F]{{{digits}}})"
    found: set[int] = set()
    for item in expect(value, Listing, "'undefined'", "a list of words and ranges of words").items:
        match = re.fullmatch(rf"{one}(?:\.\.{one})?", text(item, "undefined", quoted=True))
        first, last = (int(match[1], 16), int(match[2] or match[1], 16)) if match else (1, 0)
        if not (first <= last < 1 << bits and last - first < MOST_WORDS):
            wanted = f"a word of {digits} digits 0..F, or two of them with '..' between, the lower one first"
            raise Fault("table_shape", place=item.place, what="a part of 'undefined'", wanted=wanted)
        found.update(range(first, last + 1))
    return frozenset(found)


def truth(value: Value, key: str) -> bool:
    if not isinstance(value, Scalar) or not isinstance(value.value, bool):
        raise Fault("table_shape", place=value.place, what=f"'{key}'", wanted="true or false")
    return value.value


def unknown_key(key: Scalar, known: Iterable[str], more: str = "") -> Fault:
    """A key that means nothing where it stands; the hint names the nearest one and all that do."""
    names = list(known)
    near = nearest(str(key.value), names, 1)
    hint = (f"did you mean '{near[0]}'? " if near else "") + f"known here: {', '.join(names)}{more}"
    return Fault("table_unknown_key", place=key.place, key=key.value, hint=hint)


def missing_key(mapping: Mapping, what: str, key: str) -> Fault:
    """A key that must be given; the hint names one that may have been meant."""
    near = nearest(key, mapping.keys, 1)
    hint = f"is '{near[0]}' meant for it?" if near else None
    return Fault("table_missing_key", place=mapping.place, what=what, key=key, hint=hint)


class Reader:
    """Reads on after a mistake: faults go to the report, and a default takes the value's place."""

    def __init__(self, report: Report) -> None:
        self.report = report

    def note(self, fault: Fault) -> None:
        assert fault.place is not None
        self.report.fault(fault, fault.place)

    def attempt(self, read: Callable[[], Any], default: Any) -> Any:
        """What `read` gives, or the default when it raised a fault, which is noted."""
        try:
            return read()
        except Fault as fault:
            self.note(fault)
            return default

    def known(self, mapping: Mapping, what: str, keys: Keys[str, bool]) -> None:
        """Notes unknown keys and missing ones (`keys` maps key to whether it is needed)."""
        for key, scalar in mapping.keys.items():
            if key not in keys:
                self.note(unknown_key(scalar, keys))
        for key, needed in keys.items():
            if needed and key not in mapping.items:
                self.note(missing_key(mapping, what, key))
