"""The `kinds` of a table: operand kinds by name."""

from __future__ import annotations

from functools import partial
from typing import Any

from xasm.source.diagnostics import Fault
from xasm.source.files import Place
from xasm.syntax.parser import parse_operands
from xasm.target.document import Listing, Mapping, Value
from xasm.target.kinds import STOCK, Choice, Kind, Listed, Page, Placed, Relative, plain
from xasm.target.model import WORD_OF_TEXT
from xasm.target.reading import KEYED, Reader, expect, integer, unknown_key, word

WIDEST = 64  # bits of a kind
PLACED: dict[str, tuple[str, Any]] = {"relative": ("from", Relative), "page": ("of", Page)}


def read_kinds(reader: Reader, value: Value, space: int) -> dict[str, Kind | None]:
    """All kinds by name, None for one with a mistake. `space` is the number of addresses of the chip."""
    listed = expect(value, Mapping, "'kinds'", "made of names and kinds (name: {kind: width})").items
    return {name: reader.attempt(partial(_kind, reader, name, item, space), None) for name, item in listed.items()}


def _kind(reader: Reader, name: str, value: Value, space: int) -> Kind:
    mapping = expect(value, Mapping, f"kind '{name}'", KEYED)
    items = mapping.items
    stock = next(iter(items), "")
    if stock not in STOCK:
        raise Fault("table_stock", place=value.place, kind=name, first=stock, stock=", ".join(STOCK))
    if stock == "choice":
        return _choice(reader, name, mapping, space)
    bits = integer(items[stock], stock, 1, WIDEST)
    if stock in PLACED:
        key, make = PLACED[stock]
        reader.known(mapping, f"kind '{name}'", {stock: True, key: True})
        origin = word(items[key], key, ("next", "self", "field")) if key in items else "next"
        placed: Kind = make(name, bits, None, origin, space)
        return placed
    narrowed = {} if "values" in items else {"min": False, "max": False}
    reader.known(mapping, f"kind '{name}'", {stock: True, "values": False, "order": False} | narrowed)
    order = word(items["order"], "order", ("little", "big")) if "order" in items else None
    if "values" in items:
        return Listed(name, bits, order, _values(items["values"], bits), stock)
    full = plain(name, stock, bits)
    low = integer(items["min"], "min", full.low, full.high) if "min" in items else full.low
    high = integer(items["max"], "max", low, full.high) if "max" in items else full.high
    return plain(name, stock, bits, low, high, order)


def _values(value: Value, bits: int) -> tuple[tuple[int, int], ...]:
    """The numbers of a kind with `values`, each with its bits."""
    limit = (1 << WIDEST) - 1
    if isinstance(value, Mapping):
        pairs = [
            (integer(value.keys[key], "values", -limit, limit), integer(item, "values", 0, (1 << bits) - 1))
            for key, item in value.items.items()
        ]
    else:
        listing = expect(value, Listing, "'values'", "a list of numbers, or numbers with their bits")
        pairs = [(integer(item, "values", -limit, limit), stored) for stored, item in enumerate(listing.items)]
    different = len({number for number, _ in pairs}) == len({stored for _, stored in pairs}) == len(pairs)
    if not pairs or len(pairs) > 1 << bits or not different:
        raise Fault("table_shape", place=value.place, what="'values'", wanted=f"1..{1 << bits} different numbers (width {bits})")
    return tuple(pairs)


def _choice(reader: Reader, name: str, mapping: Mapping, space: int) -> Kind:
    for key in mapping.keys:
        if key not in ("choice", "or"):
            reader.note(unknown_key(mapping.keys[key], ("choice", "or")))
    other: Kind | None = None
    if "or" in mapping.items:
        other = _kind(reader, name, mapping.items["or"], space)
        if isinstance(other, (Choice, Placed)):
            raise Fault("table_shape", place=mapping.items["or"].place, what="'or'", wanted="a kind of plain numbers")
    listed = expect(mapping.items["choice"], Mapping, "'choice'", "made of spellings and numbers (spelling: number)")
    options: dict[str, int] = {}
    for spelling, item in listed.items.items():
        place = listed.keys[spelling].place
        if not WORD_OF_TEXT.search(spelling):
            raise Fault("table_shape", place=place, what=f"the choice '{spelling}'", wanted="an operand with a word in it")
        if spelling.upper() in (known.upper() for known in options):
            raise Fault("table_choice_same", place=place, choice=spelling)
        if not WORD_OF_TEXT.fullmatch(spelling):
            _operand(spelling, place)
        options[spelling] = integer(item, spelling, 0, (1 << WIDEST) - 1)
        if other is not None and options[spelling] >> other.bits:
            where = f"the bits of 'or' ({other.bits})"
            raise Fault("table_choice_wide", place=item.place, value=options[spelling], choice=spelling, where=where)
    if not options:
        raise Fault("table_shape", place=listed.place, what="'choice'", wanted="at least one spelling")
    bits = other.bits if other else max(1, *(bits.bit_length() for bits in options.values()))
    return Choice(name, bits, None, tuple(options.items()), other)


def _operand(spelling: str, place: Place) -> None:
    """Refuses a spelling that is not exactly one operand of the source."""
    try:
        count = len(parse_operands(spelling).nodes)
    except Fault as fault:
        raise Fault("table_spelling", place=place, choice=spelling, why=fault.text) from None
    if count != 1:
        raise Fault("table_spelling", place=place, choice=spelling, why="it is more than one operand")
