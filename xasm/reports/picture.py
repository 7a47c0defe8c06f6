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
from xasm.reports.usage import Area, Gap, Piece, Resource, Usage, beside, counted, is_ports

WIDTH, MARGIN = 720, 20
ROW = 18  # height
BAR = 22  # width
BAND = 22  # width
LEAST = 1.2  # height of what would be too thin to see
ACROSS = 3  # panels
SPACING = 16  # between them
MOST_ROWS = 40  # of a panel
MOST_PANELS = 6  # of windows that share addresses; where there are more they are bars only
MOST_LINES = 100  # of panels
BARS = 16  # across
TALL, SHORT = 96, 36  # height of such a bar; of one of very many
MANY = 4 * BARS
COLOURS = ("#9cc5e8", "#f4c58d", "#a8d8a0", "#e8a9b8", "#c9b6e4", "#e6dc8c", "#9fd9d3", "#d9bfa3", "#b9c4cf", "#d5e29a")
SHADES = ("#c4ccd4", "#e0e4e8")  # of what the host gives
MIXED = "#dddddd"  # what is shown together


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
        lines = packed(beside(usage.areas))
        for line in lines[:MOST_LINES]:
            if is_ports(line[0]):
                self.ports(line)
            elif len(line) > MOST_PANELS:
                self.bars(line)
            else:
                for some in lines_of(line, ACROSS):
                    self.panels(some, min(len(line), ACROSS))
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
        about = f"{counted(len(usage.linked.image))} of {usage.target.word} bits, {usage.target.title}"
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

    def panels(self, areas: Sequence[Area], across: int) -> None:
        """Some areas side by side, where there is room for so many."""
        self.y = max(self.panel(area, x, self.y + 16, width) for area, x, width in placed(areas, across))

    def ports(self, areas: Sequence[Area]) -> None:
        """Areas in which nothing is placed: a row each."""
        self.y += 12
        for some in lines_of(areas, ACROSS):
            for area, x, width in placed(some, ACROSS):
                title = f"{area.name}: io at {addresses(self.usage, area.start, area.size)}, {counted(area.size)}"
                self.row(Row(area.start, area.size, f"{area.name}, io", "", "", title), x, self.y, width)
            self.y += ROW

    def panel(self, area: Area, x: float, y: float, width: float) -> float:
        """One area; returns where it ends."""
        canvas = self.canvas
        window = area.window
        what = [window.kind, *([f"bank {window.bank}"] if window.bank else [])] if window is not None else ["address space"]
        canvas.text(x, y + 10, f"{area.name}", 12, width, bold=True)
        canvas.text(x, y + 23, f"{', '.join(what)}, {addresses(self.usage, area.start, area.size)}", 10, width, ink=GREY)
        canvas.text(x, y + 35, taken(area), 10, width, ink=GREY)
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
        address = self.usage.target.address_text(row.start)
        canvas.box(x, y + 1, width, ROW - 2, row.colour or PAPER, LINE, row.title)
        canvas.text(x + 5, y + 13, address, 10.5, ink=ink)
        left = x + 5 + (len(address) + 1.5) * 6.5
        right = x + width - 5
        canvas.text(right, y + 13, count, 10.5, anchor="end", ink=ink)
        room = right - (len(count) + 1) * 6.5 - left
        if width > 400:
            files = x + width * 0.58
            canvas.text(files, y + 13, row.file, 10.5, left + room - files, ink=ink)
            room = files - left - 10
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
            name = "io" if is_ports(area) else "free"
            return Row(part.start, part.words, name, "", "", f"{name}: {place}, {counted(part.words)}")
        title = f"{part.section}: {place}, {counted(part.words)}, {part.loaded:,} of them loaded, {part.file}"
        return Row(part.start, part.words, part.section, part.file, self.colours[part.section], title)

    def together(self, parts: Sequence[Piece | Gap]) -> Row:
        start = parts[0].start
        words = max(part.end for part in parts) - start
        pieces = sum(isinstance(part, Piece) for part in parts)
        name = f"{counted(pieces, 'piece')}, {counted(len(parts) - pieces, 'gap')}"
        return Row(start, words, name, "", MIXED, f"{name}: {addresses(self.usage, start, words)}")

    # bars

    def bars(self, areas: Sequence[Area]) -> None:
        """Many areas that share addresses, each as a bar to the same scale; colours are told where no two sections share one."""
        start, end = min(area.start for area in areas), max(area.end for area in areas)
        whole = Area("", start, end - start, "", None, [])
        self.note(f"{counted(len(areas), 'window')} at {addresses(self.usage, start, end - start)}")
        step = (WIDTH - 2 * MARGIN + 8) / BARS
        tall = TALL if len(areas) <= MANY else SHORT
        for line in lines_of(areas, BARS):
            self.y += 8
            for index, area in enumerate(line):
                self.bar(area, whole, MARGIN + index * step, step - 8, tall)
            self.y += tall + 12
        names = list(dict.fromkeys(piece.section for area in areas for piece in area.pieces))
        for some in lines_of(names, ACROSS) if len(names) <= len(COLOURS) else ():
            self.y += 16
            for index, name in enumerate(some):
                x = MARGIN + index * (WIDTH - 2 * MARGIN) / ACROSS
                self.canvas.box(x, self.y - 9, 11, 11, self.colours[name], LINE)
                self.canvas.text(x + 17, self.y, name, 10.5, (WIDTH - 2 * MARGIN) / ACROSS - 24)

    def bar(self, area: Area, whole: Area, x: float, width: float, tall: float) -> None:
        canvas = self.canvas
        top, end = scaled(whole, area.start, area.size, self.y, tall)
        window = area.window
        bank = f", bank {window.bank}" if window is not None and window.bank else ""
        place = addresses(self.usage, area.start, area.size)
        canvas.box(x, top, width, end - top, PAPER, LINE, f"{area.name}{bank}: {place}, {taken(area)}")
        for row in self.rows(area):
            if row.colour:
                first, last = scaled(whole, row.start, row.words, self.y, tall)
                canvas.box(x, first, width, last - first, row.colour, title=f"{area.name}, {row.title}")
        canvas.box(x, top, width, end - top, "none", LINE)
        label = window.bank if window is not None and window.bank else area.name
        canvas.text(x + width / 2, self.y + tall + 10, label, 9, width + 6, "middle", ink=GREY)

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
            part = width * cost / resource.budget
            canvas.box(x, self.y, max(LEAST, part), 12, SHADES[index % len(SHADES)], LINE, f"{name}: {cost:,} bytes")
            if len(name) * 5.5 + 8 < part:
                canvas.text(x + 4, self.y + 9.5, name, 9)
            x += part
        self.y += 14


def packed(groups: Iterable[list[Area]]) -> list[list[Area]]:
    """Groups of areas that share addresses, and those that hold nothing but ports, one behind the other, as one."""
    lines: list[list[Area]] = []
    for group in groups:
        if lines and all(map(is_ports, [*lines[-1], *group])):
            lines[-1] += group
        else:
            lines.append(group)
    return lines


def placed(areas: Sequence[Area], across: int) -> Iterator[tuple[Area, float, float]]:
    """Each area of a line, where it begins and how wide it is."""
    width = (WIDTH - 2 * MARGIN - SPACING * (across - 1)) / across
    for index, area in enumerate(areas):
        yield area, MARGIN + index * (width + SPACING), width


def taken(area: Area) -> str:
    """How much of an area is in use, where anything is meant to be placed in it."""
    return counted(area.size) if is_ports(area) else f"{area.used:,} of {counted(area.size)} used"


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
