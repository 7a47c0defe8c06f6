"""The JSON Schema of tables and the loader agree: what one takes the other takes, and what one value can tell both refuse."""

from __future__ import annotations

import copy
import json
import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from tests.invented import RICH
from tests.test_table_mistakes import MISTAKES, TABLE, Mistake
from xasm.source.diagnostics import Fault, Report, SourceErrors
from xasm.source.files import Source, read_source
from xasm.target.document import Listing, Scalar, Value, read_document
from xasm.target.finding import table_paths, table_source
from xasm.target.loader import EXTENDING, HEAD, read_target
from xasm.target.new_table import new_table
from xasm.target.schema import SAYS, schema, schema_text

PUBLISHED = Path(__file__).resolve().parent.parent / "targets" / "table.schema.json"
VALIDATOR = Draft202012Validator(schema())
TRIES = 24  # changes of each sort in each table

# Of these entries of the catalogue a schema sees all mistakes of the file, of all others none, but for EXCEPTIONS.
SEEN = set("table_missing_key table_unknown_key table_shape table_stock table_number table_value table_quote table_directive_name".split())
# What takes more than one value to judge all the same, by what the first line of the message says.
EXCEPTIONS = [
    "'at' is 4096", "'max' is 256", "'values' must be 1..2 different numbers", "unknown key 'flwo'", "'x' is not possible for 'to'",
    "'last' is 128", "'bits' must be areas of different bytes", "the assumption 'next'", "'bonk' is not possible for 'of'", "'within' is 7",
    "'KX' is 256", "'or' must be 3 bits wide", "unknown key 'KY'", "'cycles' must be given for names", "unknown key 'flow'",
    "'KB' must be 4 of the signs", "'KC' is not possible", "'min' is -129",
    "'b' is not possible for 'to'", "'s' is not possible for 'to'", "'t' is not possible for 'to'",
]  # fmt: skip


def plain(value: Value) -> Any:
    """A value without places."""
    if isinstance(value, Scalar):
        return value.value
    if isinstance(value, Listing):
        return [plain(item) for item in value.items]
    return {value.keys[key].value: plain(item) for key, item in value.items.items()}


def document(source: Source) -> Any:
    return plain(read_document(source, Report()))


def valid(value: Any) -> bool:
    return bool(VALIDATOR.is_valid(json.loads(json.dumps(value))))


def text_of(value: Any) -> str:
    """A plain value as a table is typed, texts in quotes and numbers without."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{text_of(key)}: {text_of(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(text_of, value)) + "]"
    return json.dumps(value)


def loads(value: Any) -> bool:
    """Whether the loader takes a plain value as a table."""
    try:
        read_target(Source("changed.yaml", text_of(value)), Report(), table_source)
    except (SourceErrors, Fault):
        return False
    return True


def tables() -> dict[str, Any]:
    found = {name: document(read_source(path, path.name)) for name, path in table_paths().items()}
    found |= {"toy": document(Source("toy.yaml", TABLE)), "rich": document(Source("rich.yaml", RICH))}
    found |= {f"new {bits}": document(Source("new.yaml", new_table("new", bits, 15, "big"))) for bits in (4, 12, 32)}
    return found


DOCUMENTS = tables()


def test_the_published_schema_is_the_present_one() -> None:
    assert PUBLISHED.read_text("ascii") == schema_text(), "xasm target schema > targets/table.schema.json"
    Draft202012Validator.check_schema(schema())


def test_every_key_is_in_it() -> None:
    assert set(schema()["properties"]) == {*HEAD, *EXTENDING}
    assert all(SAYS.values())


@pytest.mark.parametrize("name", DOCUMENTS)
def test_a_right_table_is_right_for_both(name: str) -> None:
    assert [error.message for error in VALIDATOR.iter_errors(json.loads(json.dumps(DOCUMENTS[name])))] == []
    assert loads(DOCUMENTS[name])


def readable(mistake: Mistake) -> Any:
    """The plain value of a wrong table; None where it is no YAML, or there is a mistake in how a value is typed."""
    report = Report()
    try:
        found = plain(read_document(Source(mistake.path, mistake.text), report))
    except Fault:
        return None
    return None if report.diagnostics else found


def test_mistakes_that_a_schema_can_see_are_seen_by_both() -> None:
    wrong, seen = [], 0
    for mistake in MISTAKES:
        found = readable(mistake)
        if found is None:
            continue
        sees = not valid(found)
        seen += sees
        first = mistake.printed.split("\n")[0]
        expected = (mistake.code in SEEN) != any(f": error: {text}" in first for text in EXCEPTIONS)
        if sees != expected:
            wrong.append((sees, mistake.code, first))
    assert seen >= 35
    assert wrong == []


# changes by chance


def parts(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """The path to every value inside."""
    for key, item in value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ():
        yield (*path, key)
        yield from parts(item, (*path, key))


def at(value: Any, path: tuple[Any, ...]) -> Any:
    for key in path:
        value = value[key]
    return value


def changed(value: Any, path: tuple[Any, ...], new: Any) -> Any:
    value = copy.deepcopy(value)
    at(value, path[:-1])[path[-1]] = new
    return value


def without(value: Any, path: tuple[Any, ...]) -> Any:
    value = copy.deepcopy(value)
    del at(value, path[:-1])[path[-1]]
    return value


OTHERS = [True, -1, 0, 3, 70, 1 << 33, "", "next", "a b", "0", [], [1], {}, {"number": 8}, {"at": 0}]


@pytest.mark.parametrize("name", DOCUMENTS)
def test_what_the_schema_refuses_the_loader_refuses(name: str) -> None:
    table = DOCUMENTS[name]
    chance = random.Random(f"schema {name}")
    paths = [path for path in parts(table) if path[0] != "forms" or path[1:2] < (8,)]
    refused = 0
    for _ in range(TRIES):
        path = chance.choice(paths)
        sort = chance.randrange(3)
        if sort == 0:
            new = changed(table, path, chance.choice(OTHERS))
        elif sort == 1:
            new = without(table, path)
        else:
            new = changed(table, (*path[:-1], "more"), 1) if isinstance(path[-1], str) else changed(table, path, "more")
        if not valid(new):
            refused += 1
            assert not loads(new), (path, at(table, path))
    assert refused >= TRIES // 4


@pytest.mark.parametrize("name", DOCUMENTS)
def test_what_is_needed_both_miss(name: str) -> None:
    table = DOCUMENTS[name]
    for key in table:
        needed = EXTENDING[key] if "extends" in table else HEAD[key]
        if needed and key != "extends":
            assert not valid(without(table, (key,))), key
            assert not loads(without(table, (key,))), key
    for key in ("asm", "code", "cycles"):
        assert not valid(without(table, ("forms", 0, key)))
        assert not loads(without(table, ("forms", 0, key)))


def test_a_schema_that_lacks_something_is_noticed() -> None:
    short = schema()
    del short["properties"]["habits"]
    assert not Draft202012Validator(short).is_valid(DOCUMENTS["toy"] | {"habits": []})
    assert valid(DOCUMENTS["toy"] | {"habits": []})
    assert loads(DOCUMENTS["toy"] | {"habits": []})
    loose = schema()
    loose["properties"]["word"] = {}
    assert Draft202012Validator(loose).is_valid(DOCUMENTS["toy"] | {"word": "eight"})
    assert not valid(DOCUMENTS["toy"] | {"word": "eight"})
