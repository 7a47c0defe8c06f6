"""YAML text to plain values that remember their line and column.

A table is written by hand, so every value can be pointed at, and whatever YAML would silently read as
something else (`NO`, `00010000`, `1e3`) is refused. Built from parser events, without recursion.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Union

import yaml

from xasm.source.diagnostics import Fault
from xasm.source.files import Place, Source

DEEPEST = 20  # levels of nesting
INTEGER = re.compile(r"-?(?:0|[1-9][0-9_]*|0x[0-9A-Fa-f_]+|0b[01_]+)\Z")
# What YAML 1.1 takes for a truth value, a null, a float, an octal or sexagesimal number, a date.
TRAP = re.compile(r"(?i:yes|no|on|off|true|false|null|~)\Z|[-+.]?[0-9][0-9A-Fa-fx_.:eE+-]*\Z|[-+]?\.(?:inf|nan)\Z")
BOOLEANS = {"true": True, "false": False}


@dataclass(frozen=True, slots=True)
class Scalar:
    """A text, integer or truth value with its place; `quoted` tells whether it stood in quotes."""

    value: str | int | bool
    place: Place
    quoted: bool


@dataclass(frozen=True, slots=True)
class Listing:
    """A sequence with its place."""

    items: tuple[Value, ...]
    place: Place


@dataclass(frozen=True, slots=True)
class Mapping:
    """A mapping with its place; `items` maps key text to value, `keys` to the key itself."""

    items: dict[str, Value]
    keys: dict[str, Scalar]
    place: Place


Value = Union[Scalar, Listing, Mapping]


def read_document(source: Source) -> Value:
    """The one document of a YAML text; raises Fault with a place."""
    loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
    stack: list[tuple[yaml.Event, list[Value]]] = []
    top: list[Value] = []
    try:
        for event in yaml.parse("\n".join(source.lines), Loader=loader):
            place = (source, event.start_mark.line + 1, event.start_mark.column + 1)
            if isinstance(event, yaml.ScalarEvent):
                (stack[-1][1] if stack else top).append(_scalar(event, place))
            elif isinstance(event, (yaml.MappingStartEvent, yaml.SequenceStartEvent)):
                if event.anchor:
                    raise Fault("table_alias", place=place)
                stack.append((event, []))
                if len(stack) > DEEPEST:
                    raise Fault("table_deep", place=place, limit=DEEPEST)
            elif isinstance(event, (yaml.MappingEndEvent, yaml.SequenceEndEvent)):
                started, values = stack.pop()
                begin = (source, started.start_mark.line + 1, started.start_mark.column + 1)
                made = _mapping(values, begin) if isinstance(event, yaml.MappingEndEvent) else Listing(tuple(values), begin)
                (stack[-1][1] if stack else top).append(made)
            elif isinstance(event, yaml.AliasEvent):
                raise Fault("table_alias", place=place)
            elif isinstance(event, yaml.DocumentStartEvent) and top:
                raise Fault("table_shape", place=place, what="a table", wanted="one document")
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
        raise Fault("table_yaml", place=(source, line, column), why=error.problem or str(error.context)) from None
    except yaml.YAMLError as error:
        raise Fault("table_yaml", place=(source, 1, 1), why=str(error).split("\n", 1)[0]) from None
    if not top:
        raise Fault("table_shape", place=(source, 1, 1), what="a table", wanted="a mapping")
    return top[0]


def _scalar(event: yaml.ScalarEvent, place: Place) -> Scalar:
    if event.anchor:
        raise Fault("table_alias", place=place)
    text = event.value
    if event.style:
        return Scalar(text, place, True)
    if INTEGER.match(text):
        return Scalar(int(text.replace("_", ""), 0), place, False)
    if text in BOOLEANS:
        return Scalar(BOOLEANS[text], place, False)
    if not text or TRAP.match(text):
        raise Fault("table_quote", place=place, text=f"'{text}'")
    return Scalar(text, place, False)


def _mapping(values: list[Value], place: Place) -> Mapping:
    items: dict[str, Value] = {}
    keys: dict[str, Scalar] = {}
    for key, value in zip(values[::2], values[1::2], strict=True):
        if not isinstance(key, Scalar):
            raise Fault("table_shape", place=key.place, what="a key", wanted="a word")
        if isinstance(key.value, bool):
            raise Fault("table_quote", place=key.place, text=f"'{str(key.value).lower()}'")
        word = str(key.value)
        if word in items:
            raise Fault("table_repeated_key", place=key.place, key=word)
        items[word] = value
        keys[word] = key
    return Mapping(items, keys, place)
