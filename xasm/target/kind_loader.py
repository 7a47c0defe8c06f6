"""The `kinds` of a table: operand kinds by name."""

from __future__ import annotations

import re
from collections.abc import Mapping as Keys
from functools import partial
from itertools import combinations
from typing import NamedTuple

from xasm.source.diagnostics import Fault
from xasm.source.files import Place
from xasm.syntax.expressions import WORDS
from xasm.syntax.parser import parse_operands
from xasm.target.document import Listing, Mapping, Scalar, Value
from xasm.target.forms import WORD_OF_TEXT
from xasm.target.kinds import ORIGINS, STOCK, Choice, Kind, Listed, NameList, Page, Plain, Relative, plain
from xasm.target.reading import KEYED, Reader, expect, integer, text, unknown_key, word

WIDEST = 64  # bits of a kind
LONGEST_TIME = 10_000  # cycles
APART = {"comma": ",", "blank": " "}  # what stands between the names of a list
ORIGIN_KEY = {"relative": "from", "page": "of"}
NUMERIC = ("number", "unsigned", "signed", "address")
# The keys of each kind of the stock, and whether they are needed; `values` goes without `min` and `max`.
KEYS: dict[str, dict[str, bool]] = {
    **{stock: {stock: True, "values": False, "order": False, "space": False, "min": False, "max": False} for stock in NUMERIC},
    "relative": {"relative": True, "from": True, "within": False, "min": False, "max": False},
    "page": {"page": True, "of": True},
    "choice": {"choice": True, "or": False},
    "list": {"list": True, "bits": False, "cycles": False, "or": False, "apart": False, "never_alone": False},
    "modes": {"modes": True},
}


class Around(NamedTuple):
    """What kinds need to know of the rest of the table: the width of an address, the groups of the chip's own names, the
    assumptions (either None when they could not be read)."""

    address: int
    spaces: tuple[str, ...] | None
    assumed: Keys[str, int] | None


def is_modes(value: Value) -> bool:
    """Whether a kind is one of several ways to write an operand; those are read with the rows."""
    return isinstance(value, Mapping) and next(iter(value.items), "") == "modes"


def read_kinds(reader: Reader, value: Value, around: Around) -> dict[str, Kind | None]:
    """All kinds by name but those of modes, None for one with a mistake."""
    listed = expect(value, Mapping, "'kinds'", "made of names and kinds (name: {kind: width})").items
    return {name: reader.attempt(partial(_kind, reader, name, item, around), None) for name, item in listed.items() if not is_modes(item)}


def kind_places(value: Value | None) -> dict[str, dict[str, Place]]:
    """Where the keys of each kind stand, and under "" its name."""
    if not isinstance(value, Mapping):
        return {}
    inner = {name: item.keys if isinstance(item, Mapping) else {} for name, item in value.items.items()}
    return {name: {key: scalar.place for key, scalar in keys.items()} | {"": value.keys[name].place} for name, keys in inner.items()}


def _kind(reader: Reader, name: str, value: Value, around: Around) -> Kind:
    mapping = expect(value, Mapping, f"kind '{name}'", KEYED)
    items = mapping.items
    stock = next(iter(items), "")
    if stock not in STOCK:
        raise Fault("table_stock", place=value.place, kind=name, first=stock, stock=", ".join(STOCK))
    if stock == "choice":
        return _choice(reader, name, mapping, around)
    if stock == "list":
        return _name_list(reader, name, mapping, around)
    bits = integer(items[stock], stock, 0 if stock == "unsigned" else 1, WIDEST)
    if stock in ORIGIN_KEY:
        return _placed(reader, name, mapping, bits, around)
    left_out = ("min", "max") if "values" in items else ()
    reader.known(mapping, f"kind '{name}'", {key: needed for key, needed in KEYS[stock].items() if key not in left_out})
    order = word(items["order"], "order", ("little", "big")) if "order" in items else None
    space = text(items["space"], "space") if "space" in items else ""
    if space and around.spaces is not None and space not in around.spaces:
        hint = f"there are: {', '.join(around.spaces)}" if around.spaces else "the head has no 'symbols'"
        raise Fault("table_space", hint=hint, place=items["space"].place, space=space)
    if "values" in items:
        return Listed(name, bits, order, space, _values(items["values"], bits), stock)
    full = plain(name, stock, bits)
    return plain(name, stock, bits, *_range(items, full), order, space)


def _range(items: Keys[str, Value], full: Plain) -> tuple[int, int]:
    """The lowest and the highest number, by the keys `min` and `max`."""
    low = integer(items["min"], "min", full.low, full.high) if "min" in items else full.low
    return low, integer(items["max"], "max", low, full.high) if "max" in items else full.high


def _placed(reader: Reader, name: str, mapping: Mapping, bits: int, around: Around) -> Kind:
    """A kind `relative` or `page`."""
    items = mapping.items
    stock = next(iter(items))
    key = ORIGIN_KEY[stock]
    memory = 1 << around.address
    reader.known(mapping, f"kind '{name}'", KEYS[stock])
    known = (*ORIGINS, "zero")
    if stock == "page":
        assumed = around.assumed if around.assumed is not None else {text(items[key], key): 0} if key in items else {}
        origin = word(items[key], key, (*known, *assumed)) if key in items else "next"
        return Page(name, bits, None, "", origin, memory, 0 if origin == "zero" else assumed.get(origin))
    origin = word(items[key], key, known) if key in items else "next"
    within = integer(items["within"], "within", bits, around.address) if "within" in items else 0
    return Relative(name, bits, None, "", origin, memory, within, *_range(items, plain(name, "signed", bits)))


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


def _choice(reader: Reader, name: str, mapping: Mapping, around: Around) -> Kind:
    for key in mapping.keys:
        if key not in KEYS["choice"]:
            reader.note(unknown_key(mapping.keys[key], KEYS["choice"]))
    other = _other(reader, name, mapping, around)
    listed = expect(mapping.items["choice"], Mapping, "'choice'", "made of spellings and numbers (spelling: number)")
    options: dict[str, int] = {}
    for spelling, item in listed.items.items():
        place = listed.keys[spelling].place
        if not WORD_OF_TEXT.search(spelling):
            raise Fault("table_shape", place=place, what=f"the choice '{spelling}'", wanted="an operand with a word in it")
        if spelling.upper() in (known.upper() for known in options):
            raise Fault("table_choice_same", place=place, choice=spelling)
        if WORD_OF_TEXT.fullmatch(spelling):
            _no_operator(spelling, place)
        else:
            _operand(spelling, place)
        options[spelling] = integer(item, spelling, 0, (1 << WIDEST) - 1)
        if other is not None and options[spelling] >> other.bits:
            where = f"the bits of 'or' ({other.bits})"
            raise Fault("table_choice_wide", place=item.place, value=options[spelling], choice=spelling, where=where)
    if not options:
        raise Fault("table_shape", place=listed.place, what="'choice'", wanted="at least one spelling")
    bits = other.bits if other else max(1, *(bits.bit_length() for bits in options.values()))
    return Choice(name, bits, None, "", tuple(options.items()), other)


def _other(reader: Reader, name: str, mapping: Mapping, around: Around) -> Kind | None:
    """The numbers that are legal beside names."""
    if "or" not in mapping.items:
        return None
    value = mapping.items["or"]
    other = None if is_modes(value) else _kind(reader, name, value, around)
    if not isinstance(other, (Plain, Listed)):
        raise Fault("table_shape", place=value.place, what="'or'", wanted="a kind of plain numbers")
    return other


def _name_list(reader: Reader, name: str, mapping: Mapping, around: Around) -> Kind:
    reader.known(mapping, f"kind '{name}'", KEYS["list"])
    items = mapping.items
    other = _other(reader, name, mapping, around)
    listed = expect(items["list"], Mapping, "'list'", "made of names and bits (name: bits)")
    patterns = [item for item in listed.items.values() if isinstance(item, Scalar) and isinstance(item.value, str)]
    width = len(str(patterns[0].value)) if patterns else other.bits if other else WIDEST
    bits = integer(items["bits"], "bits", 1, WIDEST) if "bits" in items else width
    options: dict[str, tuple[int, int]] = {}
    for written, item in listed.items.items():
        place = listed.keys[written].place
        if not WORD_OF_TEXT.fullmatch(written):
            raise Fault("table_shape", place=place, what=f"the name '{written}'", wanted="one word")
        _no_operator(written, place)
        if written.upper() in options:
            raise Fault("table_choice_same", place=place, choice=written)
        options[written.upper()] = _claim(written, item, bits)
    if not options:
        raise Fault("table_shape", place=listed.place, what="'list'", wanted="at least one name")
    if "bits" not in items and other is None and not patterns:
        bits = max(own.bit_length() for own, _ in options.values())
    if other is not None and other.bits != bits:
        raise Fault("table_shape", place=items["or"].place, what="'or'", wanted=f"{bits} bits wide, like the list")
    apart = APART[word(items["apart"], "apart", tuple(APART))] if "apart" in items else ","
    return NameList(
        name, bits, None, "", tuple((written, own) for written, (own, _) in options.items()), other,
        _times(items["cycles"], options) if "cycles" in items else (),
        tuple(claim for _, claim in options.values()), apart,
        _never_alone(items["never_alone"], options) if "never_alone" in items else frozenset(),
    )  # fmt: skip


def _claim(written: str, value: Value, bits: int) -> tuple[int, int]:
    """The bits of a name of a list, and those that it settles: as a number, its ones, or digit by digit, `-` for a bit that is
    none of its business."""
    if not isinstance(value, Scalar) or not isinstance(value.value, str):
        own = integer(value, written, 1, (1 << bits) - 1)
        return own, own
    pattern = text(value, written, quoted=True)
    if not re.fullmatch(f"[01-]{{{bits}}}", pattern) or "1" not in pattern:
        raise Fault("table_shape", place=value.place, what=f"'{written}'", wanted=f"{bits} of the signs 0, 1 and -, with a 1 in it")
    return int(pattern.replace("-", "0"), 2), int(pattern.replace("0", "1").replace("-", "0"), 2)


def _never_alone(value: Value, options: Keys[str, tuple[int, int]]) -> frozenset[str]:
    """The names that need another one beside them."""
    names = expect(value, Listing, "'never_alone'", "a list of names").items
    return frozenset(word(item, "never_alone", tuple(options)) for item in names)


def _times(value: Value, options: Keys[str, tuple[int, int]]) -> tuple[tuple[int, int], ...]:
    """The cycles that names of a list add; a name that stands for several others adds what they add."""
    listed = expect(value, Mapping, "'cycles'", "made of names and cycles (name: cycles)")
    for name, scalar in listed.keys.items():
        if name.upper() not in options:
            raise unknown_key(scalar, options)
    timed = [options[name.upper()] for name in listed.items]
    for (one, claim), (other, also) in combinations(timed, 2):
        if one & other and not (one ^ other) & claim & also:
            raise Fault(
                "table_shape", place=value.place, what="'cycles'", wanted="given for names that share no bits, or exclude each other"
            )
    return tuple((own, integer(item, name, 0, LONGEST_TIME)) for (own, _), (name, item) in zip(timed, listed.items.items(), strict=True))


def _no_operator(name: str, place: Place) -> None:
    """Refuses a word that no expression can be without."""
    if name.upper() in WORDS:
        raise Fault("table_spelling", place=place, choice=name, why="it is an operator of expressions")


def _operand(spelling: str, place: Place) -> None:
    """Refuses a spelling that is not exactly one operand of the source."""
    try:
        count = len(parse_operands(spelling).nodes)
    except Fault as fault:
        raise Fault("table_spelling", place=place, choice=spelling, why=fault.text) from None
    if count != 1:
        raise Fault("table_spelling", place=place, choice=spelling, why="it is more than one operand")
