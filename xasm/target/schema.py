"""The JSON Schema of a table, made from what the loader knows: its keys, its words, its ranges.

Editors complete and check a table by it while it is typed. What needs more than one value to be judged is left to the loader.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from typing import Any

from xasm.target.bus_parts import AREA as ROOM
from xasm.target.bus_parts import KINDS, MOST_LINES, OPERAND, PINS, STARTERS
from xasm.target.codes import MOST_WORDS
from xasm.target.forms import FLOWS, WORD_OF_TEXT
from xasm.target.habits import DIRECTIVE, HABITS
from xasm.target.habits import NAME as DIRECTIVE_NAME
from xasm.target.kind_loader import APART, KEYS, LONGEST_TIME, NUMERIC, WIDEST
from xasm.target.kinds import ORIGINS, STOCK
from xasm.target.loader import (
    BOOK,
    CLOCK,
    COUNT,
    DIGITS,
    EXTENDING,
    HEAD,
    MOST_COUNTED,
    MOST_PERIODS,
    OWN,
    SPACE,
    START,
    WIDEST_ADDRESS,
    WIDEST_WORD,
)
from xasm.target.routes import KEYS as ROUTES
from xasm.target.routes import MOST_PASSED, MOST_TIMES, TRAP, Loads
from xasm.target.row_loader import ASM, FIELD, MODE, MOST_OVER, ROW
from xasm.target.symbols import AREA, HIGHEST, MOST_BYTES, NAME, WORD

Schema = dict[str, Any]
ORDERS = ("little", "big")
FULL = (1 << WIDEST) - 1
END = r"\Z"
CLAIM = "^[01-]*1[01-]*$"
CODE = rf"^ *(?:<[a-z][a-z0-9]*>|[01a-z-]+|[0-9A-F]+)(?: +(?:<[a-z][a-z0-9]*>|[01a-z-]+|[0-9A-F]+)){{0,{MOST_WORDS - 1}}} *$"

# What each key says, as editors show it.
SAYS = {
    "name": "the chip's name, in quotes where it is a number",
    "also": "other names for -t",
    "title": "maker, name and sort of the chip",
    "book": "the books that the rows come from, and what of them was read",
    "word": "bits of a word of program memory",
    "address": "bits of a program address",
    "order": "how a number of several words lies in memory",
    "start": "the address of the first instruction, or of the vector that holds it",
    "digits": "how people read addresses and words: hexadecimal, or octal",
    "clock": "the unit of cycles, the clock periods of one, the usual clock",
    "count": "how many mnemonics and opcodes the book counts",
    "conventions": "a few lines for the card: how the maker writes",
    "spaces": "further address spaces and the width of their addresses",
    "directives": "the maker's names of our directives",
    "habits": "the maker's ways of writing",
    "symbols": "the chip's own names with their values, in groups",
    "bits": "which bytes have bits with addresses",
    "assume": "what a register is taken to hold until the source says otherwise",
    "lines": "the pins that carry addresses and words, where they are not A0.. and D0..",
    "starters": "first programs, and where they go",
    "undefined": "first words that begin no instruction, as words and ranges",
    "kinds": "what operands take, by name",
    "routes": "where control can arrive that no row tells by itself",
    "forms": "the rows: one for each legal form",
    "extends": "the table that this one changes",
    "strike": "inherited rows that are taken out, by their asm",
    "asm": "the form as the maker prints it; words in small letters are fields",
    "code": "word after word: hexadecimal digits, or bits with field letters and '-', or <field>",
    "cycles": "time, when the condition is not met",
    "taken": "time when the condition is met",
    "cross": "extra time when a page border is crossed",
    "flow": "where control can go next",
    "flow_with": "flows in the presence of an operand",
    "over": "how many words a skip passes over",
    "always": "whether a skip has no condition",
    "to": "the field that holds the target, `+` and words behind it, or none",
    "alias": "a second spelling of another row's bits, never chosen when decoding",
    "undocumented": "real chips do it, the maker's book does not list it",
    "note": "a remark for the card",
}


def schema() -> Schema:
    """The schema of a table that stands alone or extends another."""
    known: Schema = {key: {**_head(key), "description": SAYS[key]} for key in EXTENDING}
    own = {"required": list(OWN)}
    alone = {
        "required": [key for key, needed in HEAD.items() if needed],
        "properties": dict.fromkeys(EXTENDING.keys() - HEAD.keys(), False),
    }
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "The table of a chip, for xasm",
        "type": "object",
        "properties": known,
        "additionalProperties": False,
        "if": {"required": ["extends"]},
        "then": own,
        "else": alone,
        "$defs": {"kind": _kind(STOCK), "numbers": _kind(NUMERIC), "row": _row(ROW, True), "mode": _row(MODE, False)},
    }


def schema_text() -> str:
    """The same as it is published."""
    return json.dumps(schema(), indent=1, ensure_ascii=True) + "\n"


def _routes() -> Schema:
    """What stands behind `routes`."""
    addresses = _named(_integer(0, (1 << WIDEST_ADDRESS) - 1))
    forms = _list({"type": "string"})
    loads = _keys(dict.fromkeys(Loads._fields, True), {key: {"type": "string"} for key in Loads._fields})
    shapes = {
        "starts": addresses,
        "vectors": addresses,
        "traps": _named(_keys(TRAP, {"vector": {"type": "string"}, "passes": _integer(0, MOST_PASSED)})),
        "times": _named(_integer(1, MOST_TIMES)),
        "through": forms,
        "back": forms,
        "loads": loads,
    }
    return _keys(ROUTES, shapes)


def _head(key: str) -> Schema:
    """What stands behind a key of the head."""
    shapes: dict[str, Schema] = {
        "also": _list({"type": "string"}),
        "book": _list(_keys(BOOK, {key: {"type": "string"} for key in BOOK})),
        "word": _integer(1, WIDEST_WORD),
        "address": _integer(1, WIDEST_ADDRESS),
        "order": {"enum": list(ORDERS)},
        "digits": {"enum": list(DIGITS)},
        "start": {**_keys(START, dict.fromkeys(START, _integer(0, (1 << WIDEST_ADDRESS) - 1))), "minProperties": 1, "maxProperties": 1},
        "clock": _keys(
            CLOCK,
            {
                "unit": {"type": "string"},
                "periods": _integer(1, MOST_PERIODS),
                "typical": {"type": "string"},
                "access": _integer(1, MOST_PERIODS),
            },
        ),
        "lines": {**_list(_keys(PINS, _pins())), "minItems": 1},
        "starters": _keys(STARTERS, _starters()),
        "count": _keys(COUNT, dict.fromkeys(COUNT, _integer(0, MOST_COUNTED))),
        "spaces": _named(_keys(SPACE, {"address": _integer(1, WIDEST_ADDRESS)})),
        "directives": _named({"anyOf": [{"type": "string"}, _keys(DIRECTIVE, _directive())]}, whole(DIRECTIVE_NAME)),
        "habits": _list({"enum": list(HABITS)}),
        "symbols": _named(_named(_integer(0, HIGHEST), whole(NAME)), whole(WORD)),
        "bits": _list(_keys(AREA, {"first": _byte(0), "last": _byte(0), "step": _byte(1), "bit": _integer(0, HIGHEST)})),
        "assume": _named(_integer(0, HIGHEST), whole(WORD)),
        "routes": _routes(),
        "undefined": _list({"type": "string", "pattern": r"^[0-9A-F]+(\.\.[0-9A-F]+)?$"}),
        "kinds": _named({"$ref": "#/$defs/kind"}),
        "forms": _list({"$ref": "#/$defs/row"}),
        "strike": _list({"type": "string"}),
    }
    return shapes.get(key, {"type": "string"})


def _pins() -> Schema:
    """What the keys of a group of pins take."""
    pieces = {key: _list(_integer(0, top - 1)) for key, top in (("address", WIDEST_ADDRESS), ("data", WIDEST_WORD))}
    numbers = {"first": _integer(0, MOST_LINES), "count": _integer(1, MOST_LINES)}
    return {"name": {"type": "string", "pattern": r"^[A-Za-z_]+$"}, **numbers, **pieces}


def _starters() -> Schema:
    """What the keys of first programs take."""
    top = (1 << WIDEST_ADDRESS) - 1
    area = _keys(ROOM, {"start": _integer(0, top), "size": _integer(1, top + 1), "space": {"type": "string"}})
    return {"program": _integer(0, top), "memory": area, "io": area} | {kind: {"type": "string"} for kind in KINDS}


def _directive() -> Schema:
    """What the keys of a maker's directive take."""
    return {"is": {"type": "string"}, "first": {"type": "string"}, "order": {"enum": list(ORDERS)}, "delimited": {"type": "boolean"}}


def _row(keys: Iterable[str], whole_row: bool) -> Schema:
    """A row, or a mode: its own keys, and fields that name their kinds."""
    time = _integer(0, LONGEST_TIME)
    shapes: dict[str, Schema] = {
        "asm": {"type": "string", "pattern": whole(ASM) if whole_row else r"^[^\s;]([^;\t]*[^\s;])?$"},
        "code": {"type": "string", "pattern": CODE if whole_row else f"^$|{CODE}"},
        "cycles": time,
        "taken": time,
        "cross": time,
        "flow": {"enum": list(FLOWS)},
        "flow_with": _named({"enum": list(FLOWS)}, whole(OPERAND)),
        "over": _integer(1, MOST_OVER),
        "always": {"type": "boolean"},
        "alias": {"type": "boolean"},
        "undocumented": {"type": "boolean"},
    }
    field = whole(FIELD).removeprefix("^")
    return {
        "type": "object",
        "properties": {key: {**shapes.get(key, {"type": "string"}), "description": SAYS[key]} for key in keys},
        "patternProperties": {f"^(?!({'|'.join(keys)})$){field}": {"type": "string", "description": "the kind of this field"}},
        "additionalProperties": False,
        "required": ["asm", "code", "cycles"],
    }


def _kind(stock: Iterable[str]) -> Schema:
    """A kind, one of those that begin with these keys."""
    return {"type": "object", "oneOf": [_keys(KEYS[key], {one: _option(key, one) for one in KEYS[key]}, excludes(key)) for key in stock]}


def excludes(stock: str) -> Schema:
    """Keys that do not go together."""
    return {"if": {"required": ["values"]}, "then": {"properties": {"min": False, "max": False}}} if stock in NUMERIC else {}


def _option(stock: str, key: str) -> Schema:
    """What stands behind a key of a kind that begins with `stock`."""
    if key == stock and key not in ("choice", "list", "modes"):
        return _integer(0 if stock == "unsigned" else 1, WIDEST)
    shapes: dict[str, Schema] = {
        "choice": {**_named(_integer(0, FULL), WORD_OF_TEXT.pattern), "minProperties": 1},
        "list": {**_named({"anyOf": [_integer(1, FULL), {"type": "string", "pattern": CLAIM}]}, whole(WORD_OF_TEXT)), "minProperties": 1},
        "apart": {"enum": list(APART)},
        "never_alone": _list({"type": "string"}),
        "modes": {**_list({"$ref": "#/$defs/mode"}), "minItems": 1},
        "values": {"anyOf": [{**_list(_integer(-FULL, FULL)), "minItems": 1}, {**_named(_integer(0, FULL)), "minProperties": 1}]},
        "order": {"enum": list(ORDERS)},
        "from": {"enum": [*ORIGINS, "zero"]},
        "within": _integer(1, WIDEST_ADDRESS),
        "bits": _integer(1, WIDEST),
        "cycles": _named(_integer(0, LONGEST_TIME)),
        "or": {"$ref": "#/$defs/numbers"},
        "min": {"type": "integer"},
        "max": {"type": "integer"},
    }
    return shapes.get(key, {"type": "string"})


def _integer(low: int, high: int) -> Schema:
    return {"type": "integer", "minimum": low, "maximum": high}


def _byte(low: int) -> Schema:
    return _integer(low, MOST_BYTES)


def _list(item: Schema) -> Schema:
    return {"type": "array", "items": item}


def _named(value: Schema, pattern: str = "") -> Schema:
    """Names that match, each with such a value."""
    names: Schema = {"propertyNames": {"pattern": pattern}} if pattern else {}
    return {"type": "object", "additionalProperties": value} | names


def whole(pattern: re.Pattern[str]) -> str:
    """A pattern of the loader, as a schema has it, for all of a text."""
    return f"^(?:{pattern.pattern.replace(END, '')})$"


def _keys(keys: Mapping[str, bool], shapes: Mapping[str, Schema], more: Schema | None = None) -> Schema:
    """These keys and no others; those that are true are needed."""
    needed = [key for key, one in keys.items() if one]
    return {"type": "object", "properties": {key: shapes[key] for key in keys}, "required": needed, "additionalProperties": False} | (
        more or {}
    )
