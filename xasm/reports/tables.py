"""Tables of text: what reports say of memory, sections, files and the host, in columns."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from xasm.reports.usage import Area, Gap, Piece, Size, Usage, is_ports

WIDEST = 32  # columns of a cell that make the whole column wider; a longer one in front stands in a row of its own
NUMBERS = frozenset(("words", "used", "free", "loaded", "budget", "code", "data", "reserved", "total"))  # columns set to the right


def table(heads: Sequence[str], rows: Iterable[Sequence[str]], indent: str = "") -> Iterator[str]:
    """Rows under their heads, two spaces apart; a column in which every row is empty is left out, and nothing is given where
    there are no rows."""
    found = list(rows)
    kept = [index for index in range(len(heads)) if any(row[index] for row in found)]
    widths = {index: max(len(heads[index]), *(min(WIDEST, len(row[index])) for row in found)) for index in kept}
    for row in [heads, *found] if found else []:
        if len(row[0]) > widths.get(0, WIDEST):
            yield indent + row[0]
            row = ("", *row[1:])
        cells = [row[index].rjust(widths[index]) if heads[index] in NUMBERS else row[index].ljust(widths[index]) for index in kept]
        yield indent + "  ".join(cells).rstrip()


def areas_table(usage: Usage) -> Iterator[str]:
    """The windows of the board, or the address spaces: how much of each is in use."""
    moved = any(area.window is not None and area.window.image not in (None, area.start) for area in usage.areas)

    def row(area: Area) -> Sequence[str]:
        window, hole = area.window, area.hole
        ports = is_ports(area)
        return (
            area.name,
            window.kind if window is not None else "",
            area.space if window is not None else "",
            window.bank if window is not None else "",
            addresses(usage, area.start, area.size),
            f"{area.size:,}",
            "" if ports else f"{area.used:,}",
            "" if ports else f"{area.free:,}",
            "" if ports else f"{hole.words:,} from {usage.target.address_text(hole.start)}" if hole is not None else "none",
            usage.target.address_text(window.image) if moved and window is not None and window.image is not None else "",
        )

    head = "window" if usage.board is not None else "space"
    heads = (head, "kind", "space", "bank", "addresses", "words", "used", "free", "largest hole", "image from")
    return table(heads, map(row, usage.areas))


def host_table(usage: Usage) -> Iterator[str]:
    """What the host has, and what the windows take of it, in bytes."""
    rows = []
    for resource in usage.resources:
        costs = ", ".join(f"{name} {cost:,}" for name, cost in resource.costs if cost)
        rows.append((resource.name, f"{resource.budget:,}", f"{resource.used:,}", f"{resource.budget - resource.used:,}", costs))
    return table(("host, bytes", "budget", "used", "free", "by windows"), rows)


def sizes_table(head: str, sizes: dict[str, Size], filler: int = 0) -> Iterator[str]:
    """Words of each section or file, and their sum where there are several."""
    rows = list(sizes.items())
    if filler:
        rows.append(("(filled by the board)", Size(data=filler)))
    if len(rows) > 1:
        every = [size for _, size in rows]
        rows.append(("all", Size(sum(size.code for size in every), sum(size.data for size in every), sum(size.reserved for size in every))))
    cells = [(name, f"{size.code:,}", f"{size.data:,}", f"{size.reserved:,}", f"{size.words:,}") for name, size in rows]
    return table((head, "code", "data", "reserved", "total"), cells)


def content_table(usage: Usage, area: Area) -> Iterator[str]:
    """The pieces of an area and the gaps between them."""

    def row(part: Piece | Gap) -> Sequence[str]:
        place = addresses(usage, part.start, part.words)
        if isinstance(part, Gap):
            return (place, f"{part.words:,}", "", "free", "")
        return (place, f"{part.words:,}", f"{part.loaded:,}" if part.loaded else "-", part.section, part.file)

    return table(("addresses", "words", "loaded", "section", "file"), map(row, area.parts()), "  ")


def addresses(usage: Usage, start: int, words: int) -> str:
    """A range of addresses, or the one address."""
    first, last = usage.target.address_text(start), usage.target.address_text(start + words - 1)
    return f"{first}..{last}" if words > 1 else first


def parts(*tables: Iterable[str]) -> str:
    """Tables one below the other with an empty line between them, as text; those without rows are left out."""
    return "\n".join("\n".join([*rows, ""]) for rows in map(list, tables) if rows)
