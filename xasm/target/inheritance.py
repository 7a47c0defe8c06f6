"""Tables that extend another: documents from the table itself down to the one it rests on, and how they join.

Rows and kinds keep the places of the file they were typed in, so a mistake is always shown where it can be mended.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

from xasm.source.diagnostics import Fault, Report
from xasm.source.files import Source
from xasm.source.nearest import nearest
from xasm.target.document import Listing, Mapping, Scalar, Value, read_document
from xasm.target.reading import KEYED, Reader, expect, text

TableSource = Callable[[str], Source]
# Other names belong to one chip only, and so do gaps in its codes; how a table was derived is no part of what it says.
NOT_INHERITED = ("also", "undefined", "extends", "strike")


def no_tables(name: str) -> Source:
    """For tables that stand alone: there is no other one."""
    raise Fault("unknown_target", name=name)


def lineage(source: Source, tables: TableSource, report: Report) -> list[Mapping]:
    """The documents of a table and of those it extends, itself first. Raises Fault with a place."""
    sources = [source]
    documents = [_document(source, report)]
    while "extends" in documents[-1].items:
        extends = documents[-1].items["extends"]
        name = text(extends, "extends")
        try:
            base = tables(name)
        except Fault as fault:
            fault.place = extends.place
            raise
        if any(base.path == one.path and base.lines == one.lines for one in sources):
            chain = " -> ".join([*(one.path for one in sources), base.path])
            raise Fault("table_cycle", place=extends.place, name=name, chain=chain)
        sources.append(Source(base.path, "\n".join(base.lines), extends.place, "extended by"))
        documents.append(_document(sources[-1], report))
    return documents


def _document(source: Source, report: Report) -> Mapping:
    document: Mapping = expect(read_document(source, report), Mapping, "a table", KEYED)
    return document


def joined(documents: list[Mapping], reader: Reader) -> Mapping:
    """One document: what the last one says, changed by each before it."""
    whole = documents[-1]
    for own, _ in reversed(list(pairwise(documents))):
        whole = _changed(whole, own, reader)
    return whole


def _changed(base: Mapping, own: Mapping, reader: Reader) -> Mapping:
    kept = {key: _documented(key, value) for key, value in base.items.items() if key not in NOT_INHERITED}
    items = kept | own.items
    keys = {key: scalar for key, scalar in base.keys.items() if key in kept} | own.keys
    inherited = kept.get("kinds")
    if inherited is not None and "kinds" in own.items:
        older, newer = (expect(value, Mapping, "'kinds'", KEYED) for value in (inherited, own.items["kinds"]))
        items["kinds"] = Mapping(older.items | newer.items, older.keys | newer.keys, newer.place)
    inherited = kept.get("forms")
    if inherited is not None and ("forms" in own.items or "strike" in own.items):
        rows = _rows(inherited)
        if "strike" in own.items:
            rows = _struck(rows, own.items["strike"], reader)
        place = inherited.place
        if "forms" in own.items:
            rows = _replaced(rows, _rows(own.items["forms"]))
            place = own.items["forms"].place
        items["forms"] = Listing(tuple(rows), place)
    return Mapping(items, keys, own.place)


def _documented(key: str, value: Value) -> Value:
    """What is inherited of `kinds` and `forms`: no row and no mode that its maker's book does not list, for these belong to
    that very chip. Anything else, and what has a wrong shape, is inherited as it is."""
    if key == "forms" and isinstance(value, Listing):
        return _without(value)
    if key == "kinds" and isinstance(value, Mapping):
        return Mapping({name: _listed_modes(kind) for name, kind in value.items.items()}, value.keys, value.place)
    return value


def _listed_modes(kind: Value) -> Value:
    modes = kind.items.get("modes") if isinstance(kind, Mapping) else None
    if not isinstance(kind, Mapping) or not isinstance(modes, Listing):
        return kind
    return Mapping(kind.items | {"modes": _without(modes)}, kind.keys, kind.place)


def _without(rows: Listing) -> Listing:
    """Without the rows, or modes, that are undocumented."""
    return Listing(tuple(row for row in rows.items if not _is_undocumented(row)), rows.place)


def _is_undocumented(row: Value) -> bool:
    said = row.items.get("undocumented") if isinstance(row, Mapping) else None
    return isinstance(said, Scalar) and said.value is True


def _rows(value: Value) -> list[Value]:
    return list(expect(value, Listing, "'forms'", "a list of rows").items)


def _asm(row: Value) -> str | None:
    """The form that a row describes; None where the row is no row (that is reported when it is read)."""
    asm = row.items.get("asm") if isinstance(row, Mapping) else None
    return asm.value if isinstance(asm, Scalar) and isinstance(asm.value, str) else None


def _struck(rows: list[Value], strike: Value, reader: Reader) -> list[Value]:
    """The rows without those that `strike` names."""
    present = [asm for asm in map(_asm, rows) if asm is not None]
    out = set()
    for item in expect(strike, Listing, "'strike'", "a list of forms").items:
        asm = text(item, "strike")
        if asm not in present:
            near = nearest(asm, present)
            hint = f"there is: {'; '.join(dict.fromkeys(near))}" if near else None
            reader.note(Fault("table_strike", hint=hint, place=item.place, asm=asm))
        out.add(asm)
    return [row for row in rows if _asm(row) not in out]


def _replaced(rows: list[Value], own: list[Value]) -> list[Value]:
    """Own rows in the place of the inherited ones of the same form; those that are new stand at the end."""
    mine: dict[str | None, list[Value]] = {}
    for row in own:
        mine.setdefault(_asm(row), []).append(row)
    found: list[Value] = []
    done = set()
    for row in rows:
        asm = _asm(row)
        if asm is None or asm not in mine:
            found.append(row)
        elif asm not in done:
            done.add(asm)
            found += mine[asm]
    return found + [row for row in own if _asm(row) not in done]
