"""The values of a table's text, which remember their line and column.

A table is written by hand, so every value can be pointed at. What was read from a text once is remembered from run to
run (`source/cache.py`), since YAML takes longer to read than a small program to assemble.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from xasm.source.cache import recall, remember
from xasm.source.diagnostics import Report
from xasm.source.files import Place, Source

FORM = "1"  # of what is remembered


class Scalar(NamedTuple):
    """A text, integer or truth value with its place; `quoted` tells whether it stood in quotes."""

    value: str | int | bool
    place: Place
    quoted: bool


class Listing(NamedTuple):
    """A sequence with its place."""

    items: tuple[Value, ...]
    place: Place


class Mapping(NamedTuple):
    """A mapping with its place; `items` maps key text to value, `keys` to the key itself."""

    items: dict[str, Value]
    keys: dict[str, Scalar]
    place: Place


Value = Scalar | Listing | Mapping


def read_document(source: Source, report: Report) -> Value:
    """The one document of a YAML text. Values that need quotes, and keys given twice, go to the report, and reading goes
    on; any other mistake is raised as a Fault with a place."""
    written = "\n".join(source.lines)
    key = f"{FORM}\n{written}"
    known = recall("table", key)
    if known is not None:
        try:
            return unpacked(known, source)
        except (AttributeError, IndexError, RecursionError, TypeError, ValueError):
            pass  # written by something else: read the text
    from xasm.target.yaml_text import read_yaml

    before = len(report.diagnostics)
    value = read_yaml(source, written, report)
    if len(report.diagnostics) == before:
        remember("table", key, packed(value))
    return value


def packed(value: Value) -> list[Any]:
    """A value as plain lists: [value, line, column, quoted], or ["list" or "keys", line, column, values in it]."""
    _, line, column = value.place
    if isinstance(value, Scalar):
        return [value.value, line, column, value.quoted]
    if isinstance(value, Listing):
        return ["list", line, column, [packed(item) for item in value.items]]
    pairs = [[packed(key), packed(item)] for key, item in zip(value.keys.values(), value.items.values(), strict=True)]
    return ["keys", line, column, pairs]


def unpacked(plain: list[Any], source: Source) -> Value:
    """The value that `packed` made lists of."""
    what, line, column, rest = plain
    place = (source, line, column)
    if isinstance(rest, bool):
        return Scalar(what, place, rest)
    if what == "list":
        return Listing(tuple([unpacked(item, source) for item in rest]), place)
    items: dict[str, Value] = {}
    keys: dict[str, Scalar] = {}
    for (word, key_line, key_column, quoted), item in rest:
        keys[str(word)] = Scalar(word, (source, key_line, key_column), quoted)
        items[str(word)] = unpacked(item, source)
    return Mapping(items, keys, place)
