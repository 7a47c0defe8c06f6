"""The map of a program that was linked: what lies where, what is free, and every name with the statements that use it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby

from xasm.linking.linker import Linked, Symbol
from xasm.reports.listing import value_text
from xasm.reports.tables import addresses, areas_table, content_table, host_table, parts, sizes_table
from xasm.reports.usage import Area, Usage
from xasm.reports.users import users

WIDTH = 100  # columns of a row
LEAST = 24  # columns for users, however wide the rest is
HEADS = ("name", "value", "kind", "defined")
WIDEST = (24, 24, 9, 30)  # columns of each; a longer name stands in a row of its own


def memory_map(linked: Linked) -> str:
    """The whole map as text, with an end of line behind every row."""
    usage = Usage(linked)
    contents = [[titled(usage, area), *content_table(usage, area)] for area in usage.areas]
    return parts(
        head(usage),
        areas_table(usage),
        host_table(usage),
        *contents,
        sizes_table("section", usage.sections, usage.filler),
        sizes_table("file", usage.files, usage.filler),
        names(usage),
    )


def head(usage: Usage) -> Iterator[str]:
    """What the map is of."""
    target, image = usage.target, usage.linked.image
    yield f"xasm map, {target.title}"
    yield f"{len(image):,} words of {target.word} bits in the image"
    reads = "reads its start address at" if target.start_vector else "starts at"
    entry = f"; the program's own start is {target.address_text(image.entry)}" if image.entry is not None else ""
    yield f"the chip {reads} {target.address_text(target.start)}{entry}"
    if usage.board is not None:
        yield f"board: {usage.board.name or 'without a name'}"


def titled(usage: Usage, area: Area) -> str:
    """The line above the content of an area."""
    window = area.window
    about = [area.name, addresses(usage, area.start, area.size)]
    if window is not None:
        about += [window.kind, *([f"bank {window.bank}"] if window.bank else [])]
    return ", ".join(about)


def names(usage: Usage) -> Iterator[str]:
    """Every name: value, kind, where it is defined, where it is used. What several files got from one line is one name."""
    used = users(usage.linked)
    units = {id(unit): number for number, unit in enumerate(usage.linked.program.units)}
    joined: dict[tuple[str, str, str, str], dict[str, None]] = {}
    for symbol in sorted(usage.linked.symbols, key=lambda one: (one.name.lower(), one.name)):
        kind = symbol.kind + "*" if symbol.public else symbol.kind
        places = joined.setdefault((symbol.name, shown_value(usage, symbol), kind, usage.at(symbol.place)), {})
        places.update(dict.fromkeys(map(usage.at, used.get((units[id(symbol.unit)], symbol.name), ()))))
    if not joined:
        yield "no names"
        return
    cells = [HEADS, *joined]
    widths = [min(most, max(len(row[column]) for row in cells)) for column, most in enumerate(WIDEST)]

    def row(cells: Sequence[str]) -> str:
        return "  ".join(f"{cell:<{width}}" for cell, width in zip(cells, widths, strict=True))

    yield f"{row(HEADS)}  used by"
    margin = sum(widths) + 2 * len(widths)
    for (name, *about), places in joined.items():
        first, *further = wrapped(places, max(LEAST, WIDTH - margin)) or ["-"]
        if len(name) > widths[0]:
            yield name
            name = ""
        yield f"{row([name, *about])}  {first}"
        yield from (" " * margin + places for places in further)
    if any(symbol.public for symbol in usage.linked.symbols):
        yield "(* PUBLIC)"


def shown_value(usage: Usage, symbol: Symbol) -> str:
    return usage.target.address_text(symbol.value) if symbol.kind == "label" else value_text(symbol.value)


def wrapped(places: Iterable[str], width: int) -> list[str]:
    """Places as rows of about a width: `main.asm:5, 9, 12; lamps.asm:3`."""
    rows: list[str] = []
    for _, group in groupby(places, key=lambda place: place.rpartition(":")[0]):
        for number, place in enumerate(group):
            text = place.rpartition(":")[2] if number else place
            separator = "" if not rows else ", " if number else "; "
            if rows and len(rows[-1]) + len(separator) + len(text) <= width:
                rows[-1] += separator + text
            else:
                if rows:
                    rows[-1] += separator.rstrip()
                rows.append(text)
    return rows
