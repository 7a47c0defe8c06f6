"""A picture of memory, as SVG: each window or address space as a bar to scale, and beside it a row for each piece and gap.

Rows are all of one height, so that a few words in a large space can be read; bands lead from them to their places in the bar.
Windows that share addresses, as banks do, stand side by side; where there are many they are bars only. Below is what the host
has and what of it is taken.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple, TypeVar

from xasm.linking.linker import Linked
from xasm.reports.svg import GREY, INK, LINE, PAPER, Canvas
from xasm.reports.tables import addresses
from xasm.reports.usage import Area, Gap, Piece, Resource, Usage, beside

WIDTH, MARGIN = 720, 20
ROW = 18  # height
BAR = 22  # width
BAND = 22  # width
LEAST = 1.2  # height of what would be too thin to see
ACROSS = 3  # panels
MOST_ROWS = 40  # of a panel
MOST_PANELS = 6  # of windows that share addresses; where there are more they are bars only
MOST_LINES = 100  # of panels
MOST_BARS = 4096
BARS = 16  # across
TALL = 96  # height of such a bar
COLOURS = ("#9cc5e8", "#f4c58d", "#a8d8a0", "#e8a9b8", "#c9b6e4", "#e6dc8c", "#9fd9d3", "#d9bfa3", "#b9c4cf", "#d5e29a")
MIXED, SPOTS = "#dddddd", 24  # the colour of what is shown together; sections in the list of colours


Thing = TypeVar("Thing")


class Row(NamedTuple):
    """A row of a panel: `words` from `start` on, what they are, the colour ("" for free words), and what pointing shows."""

    start: int
    words: int
    name: str
    file: str
    colour: str
    title: str


def picture(linked: Linked) -> str:
    """The whole picture as the text of an SVG file."""
    return _Picture(Usage(linked)).draw()


class _Picture:
    def __init__(self, usage: Usage) -> None:
        self.usage = usage
        self.canvas = Canvas(WIDTH)
        self.colours = {name: COLOURS[index % len(COLOURS)] for index, name in enumerate(usage.sections)}
        self.y = 0.0

    def draw(self) -> str:
        usage = self.usage
        title = "Memory: " + ", ".join(dict.fromkeys(usage.named(module.path) for module in usage.linked.program.modules))
        self.head(title)
        lines = list(packed(beside(usage.areas)))
        for line in lines[:MOST_LINES]:
            if len(line) > MOST_PANELS:
                self.bars(line)
            else:
                for some in lines_of(line, ACROSS):
                    self.panels(some, len(line))
        if len(lines) > MOST_LINES:
            self.note(f"and {sum(map(len, lines[MOST_LINES:])):,} further windows")
        if usage.resources:
            self.note("Host")
            for resource in usage.resources:
                self.resource(resource)
        return self.canvas.done(self.y + MARGIN, title)

    def head(self, title: str) -> None:
        usage = self.usage
        room = WIDTH - 2 * MARGIN
        self.canvas.text(MARGIN, 36, title, 16, room, bold=True)
        about = f"{len(usage.linked.image):,} words of {usage.target.word} bits, {usage.target.title}"
        self.canvas.text(MARGIN, 54, about, 11, room, ink=GREY)
        if usage.board is not None and usage.board.name:
            self.canvas.text(MARGIN, 69, f"board: {usage.board.name}", 11, room, ink=GREY)
            self.y += 15
        self.y += 62

    def note(self, text: str) -> None:
        self.y += 24
        self.canvas.text(MARGIN, self.y, text, 12, bold=True)
        self.y += 4

    # panels

    def panels(self, areas: Sequence[Area], count: int) -> None:
        """Some areas side by side; `count` says how many belong together."""
        across = min(count, ACROSS)
        gap = 16
        width = (WIDTH - 2 * MARGIN - gap * (across - 1)) / across
        ends = []
        for index, area in enumerate(areas):
            ends.append(self.panel(area, MARGIN + index * (width + gap), self.y + 16, width))
        self.y = max(ends)

    def panel(self, area: Area, x: float, y: float, width: float) -> float:
        """One area; returns where it ends."""
        canvas = self.canvas
        window = area.window
        what = [window.kind, *([f"bank {window.bank}"] if window.bank else [])] if window is not None else ["address space"]
        canvas.text(x, y + 10, f"{area.name}", 12, width, bold=True)
        canvas.text(x, y + 23, f"{', '.join(what)}, {addresses(self.usage, area.start, area.size)}", 10, width, ink=GREY)
        canvas.text(x, y + 35, f"{area.used:,} of {area.size:,} words used", 10, width, ink=GREY)
        y += 41
        rows = self.rows(area)
        height = max(2, len(rows)) * ROW
        first = y + (height - len(rows) * ROW) / 2
        beside_bar = x + BAR + BAND
        canvas.box(x, y, BAR, height, PAPER, LINE)
        for index, row in enumerate(rows):
            top, end = scaled(area, row.start, row.words, y, height)
            at = first + index * ROW
            canvas.shape([(x + BAR, top), (beside_bar, at + 1), (beside_bar, at + ROW - 1), (x + BAR, end)], row.colour or "#eeeeee", 0.45)
            if row.colour:
                canvas.box(x, top, BAR, end - top, row.colour, title=row.title)
            self.row(row, beside_bar, at, x + width - beside_bar)
        canvas.box(x, y, BAR, height, "none", LINE)
        return y + height

    def row(self, row: Row, x: float, y: float, width: float) -> None:
        canvas = self.canvas
        ink = INK if row.colour else GREY
        count = f"{row.words:,}"
        address = self.usage.target.hex_address(row.start)
        canvas.box(x, y + 1, width, ROW - 2, row.colour or PAPER, LINE, row.title)
        canvas.text(x + 5, y + 13, address, 10.5, ink=ink)
        left = x + 5 + (len(address) + 1.5) * 6.5
        right = x + width - 5
        canvas.text(right, y + 13, count, 10.5, anchor="end", ink=ink)
        room = right - (len(count) + 1) * 6.5 - left
        if width > 400:
            canvas.text(left + room * 0.55, y + 13, row.file, 10.5, room * 0.45, ink=ink)
            room *= 0.53
        canvas.text(left, y + 13, row.name, 10.5, room, ink=ink)

    def rows(self, area: Area) -> list[Row]:
        """The rows of an area: where there are too many, the largest pieces and gaps, and what lies between them together."""
        parts = area.parts()
        if len(parts) <= MOST_ROWS:
            return [self.single(area, part) for part in parts]
        largest = sorted(range(len(parts)), key=lambda index: (-parts[index].words, index))[: MOST_ROWS // 2 - 1]
        found: list[Row] = []
        begin = 0
        for index in [*sorted(largest), len(parts)]:
            if index - begin == 1:
                found.append(self.single(area, parts[begin]))
            elif index > begin:
                found.append(self.together(parts[begin:index]))
            if index < len(parts):
                found.append(self.single(area, parts[index]))
            begin = index + 1
        return found

    def single(self, area: Area, part: Piece | Gap) -> Row:
        place = addresses(self.usage, part.start, part.words)
        if isinstance(part, Gap):
            name = "io" if area.window is not None and area.window.kind == "io" else "free"
            return Row(part.start, part.words, name, "", "", f"{name}: {place}, {part.words:,} words")
        title = f"{part.section}: {place}, {part.words:,} words, {part.loaded:,} of them loaded, {part.file}"
        return Row(part.start, part.words, part.section, part.file, self.colours[part.section], title)

    def together(self, parts: Sequence[Piece | Gap]) -> Row:
        start = parts[0].start
        words = max(part.end for part in parts) - start
        pieces = sum(isinstance(part, Piece) for part in parts)
        name = f"{pieces:,} pieces, {len(parts) - pieces:,} gaps"
        return Row(start, words, name, "", MIXED, f"{name}: {addresses(self.usage, start, words)}")

    # bars

    def bars(self, areas: Sequence[Area]) -> None:
        """Many areas that share addresses, each as a bar to the same scale; the sections' colours are listed below."""
        start, end = min(area.start for area in areas), max(area.end for area in areas)
        whole = Area("", start, end - start, "", None, [])
        self.note(f"{len(areas):,} windows at {addresses(self.usage, start, end - start)}")
        step = (WIDTH - 2 * MARGIN) / BARS
        for line in lines_of(areas[:MOST_BARS], BARS):
            self.y += 8
            for index, area in enumerate(line):
                self.bar(area, whole, MARGIN + index * step, step - 8)
            self.y += TALL + 12
        names = list(dict.fromkeys(piece.section for area in areas for piece in area.pieces))
        for some in lines_of(names[:SPOTS], ACROSS):
            self.y += 16
            for index, name in enumerate(some):
                x = MARGIN + index * (WIDTH - 2 * MARGIN) / ACROSS
                self.canvas.box(x, self.y - 9, 11, 11, self.colours[name], LINE)
                self.canvas.text(x + 17, self.y, name, 10.5, (WIDTH - 2 * MARGIN) / ACROSS - 24)
        if len(names) > SPOTS:
            self.note(f"and {len(names) - SPOTS:,} further sections")

    def bar(self, area: Area, whole: Area, x: float, width: float) -> None:
        canvas = self.canvas
        top, end = scaled(whole, area.start, area.size, self.y, TALL)
        window = area.window
        bank = f", bank {window.bank}" if window is not None and window.bank else ""
        place = addresses(self.usage, area.start, area.size)
        canvas.box(x, top, width, end - top, PAPER, LINE, f"{area.name}{bank}: {place}, {area.used:,} of {area.size:,} words used")
        for row in self.rows(area):
            if row.colour:
                first, last = scaled(whole, row.start, row.words, self.y, TALL)
                canvas.box(x, first, width, last - first, row.colour, title=f"{area.name}, {row.title}")
        canvas.box(x, top, width, end - top, "none", LINE)
        label = window.bank if window is not None and window.bank else area.name
        canvas.text(x + width / 2, self.y + TALL + 10, label, 9, width + 6, "middle", ink=GREY)

    # the host

    def resource(self, resource: Resource) -> None:
        """What the host has of something, as a bar, and what each window takes of it."""
        canvas = self.canvas
        width = WIDTH - 2 * MARGIN
        share = f" ({100 * resource.used / resource.budget:.1f} %)" if resource.budget else ""
        self.y += 16
        canvas.text(MARGIN, self.y, f"{resource.name}: {resource.used:,} of {resource.budget:,} bytes{share}", 10.5, width)
        self.y += 5
        canvas.box(MARGIN, self.y, width, 12, PAPER, LINE, f"{resource.name}: {resource.budget - resource.used:,} bytes free")
        x = float(MARGIN)
        for index, (name, cost) in enumerate((name, cost) for name, cost in resource.costs if cost):
            taken = width * cost / resource.budget
            canvas.box(x, self.y, taken, 12, COLOURS[index % len(COLOURS)], LINE, f"{name}: {cost:,} bytes")
            canvas.text(x + 4, self.y + 9.5, name if len(name) * 5.5 + 8 < taken else "", 9)
            x += taken
        self.y += 14


def packed(groups: Iterable[list[Area]]) -> Iterator[list[Area]]:
    """Groups of areas as lines: single ones of one row are put side by side."""
    line: list[Area] = []
    for group in groups:
        if len(group) == 1 and len(group[0].parts()) == 1:
            line += group
            if len(line) == ACROSS:
                yield line
                line = []
            continue
        if line:
            yield line
            line = []
        yield group
    if line:
        yield line


def lines_of(things: Sequence[Thing], count: int) -> Iterator[Sequence[Thing]]:
    """Things in lines of so many."""
    for first in range(0, len(things), count):
        yield things[first : first + count]


def scaled(area: Area, start: int, words: int, y: float, height: float) -> tuple[float, float]:
    """Where words stand in a bar at y that shows an area: top and end, never too thin to see."""
    top = y + height * (start - area.start) / area.size
    end = y + height * (start + words - area.start) / area.size
    if end - top < LEAST:
        top = min(top, y + height - LEAST)
        end = top + LEAST
    return top, end
