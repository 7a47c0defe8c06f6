"""The first fetches as a picture: SVG that needs nothing else."""

from __future__ import annotations

from collections.abc import Iterator
from xml.sax.saxutils import escape

from xasm.bus.tables import rows
from xasm.bus.timing import Timing, hertz_text
from xasm.bus.trace import Fetch, Step, Trace
from xasm.formats.options import Options

MOST = 48  # fetches drawn
IN_ROW = 8
CELL, HEIGHT, LEFT, TOP, ROW = 104, 26, 84, 56, 118
FAMILY = "font-family='monospace'"
FONT = f"{FAMILY} font-size='13'"


def write_svg(trace: Trace, timing: Timing, options: Options) -> bytes:
    """Address and word of the first fetches, each instruction above its own; fetches of the loop are shaded."""
    target = trace.target
    drawn = list(rows(trace))[:MOST]
    count = -(-len(drawn) // IN_ROW) if drawn else 1
    width, height = LEFT + IN_ROW * CELL + 16, TOP + count * ROW + 30
    title = f"Fetches of the {target.name} after a reset"
    lines = [
        f"<svg xmlns='http://www.w3.org/2000/svg' width='{width}' height='{height}' viewBox='0 0 {width} {height}' role='img'>",
        f"<title>{escape(title)}</title>",
        f"<rect width='{width}' height='{height}' fill='#ffffff'/>",
        f"<text x='12' y='24' {FONT} font-weight='bold'>{escape(title)}</text>",
        f"<text x='12' y='42' {FONT} fill='#555555'>cycles of one {escape(timing.unit)} at {hertz_text(timing.hertz)}; not to scale</text>",
    ]
    for index, (part, fetch, step) in enumerate(drawn):
        lines += _cell(trace, index, part, fetch, step)
    for row in range(count):
        y = TOP + row * ROW
        lines += [f"<text x='12' y='{y + dy}' {FONT} fill='#555555'>{word}</text>" for dy, word in ((49, "address"), (81, "word"))]
    lines += [f"<text x='12' y='{height - 12}' {FONT}>{escape(_foot(trace, len(drawn)))}</text>", "</svg>"]
    return ("\n".join(lines) + "\n").encode()


def _cell(trace: Trace, index: int, part: str, fetch: Fetch, step: Step | None) -> Iterator[str]:
    target = trace.target
    x, y = LEFT + index % IN_ROW * CELL, TOP + index // IN_ROW * ROW
    fill = {"loop": "#ffe9b8", "vector": "#e4e4f4"}.get(part, "#eef4ee")
    if step is not None:
        yield f"<text x='{x + 4}' y='{y + 14}' {FONT} fill='#004488'>{escape(_short(step.text))}</text>"
        yield f"<text x='{x + 4}' y='{y + 26}' {FAMILY} font-size='10' fill='#777777'>{escape(f'at {step.begin.text()}')}</text>"
    elif part == "vector":
        yield f"<text x='{x + 4}' y='{y + 14}' {FONT} fill='#777777'>start address</text>"
    for top, text in ((31, target.address_text(fetch.address)[2:]), (63, target.word_text(fetch.word))):
        yield _lozenge(x, y + top, fill)
        yield f"<text x='{x + CELL // 2}' y='{y + top + 18}' {FONT} text-anchor='middle'>{text}</text>"


def _lozenge(x: int, y: int, fill: str) -> str:
    """The sign for lines that hold a value, as timing diagrams have it."""
    middle = y + HEIGHT // 2
    points = ((x, middle), (x + 6, y), (x + CELL - 6, y), (x + CELL, middle), (x + CELL - 6, y + HEIGHT), (x + 6, y + HEIGHT))
    return f"<polygon points='{' '.join(f'{a},{b}' for a, b in points)}' fill='{fill}' stroke='#444444'/>"


def _short(text: str) -> str:
    return text if len(text) <= 13 else f"{text[:12]}~"


def _foot(trace: Trace, drawn: int) -> str:
    total = sum(1 for _ in trace.fetches())
    more = f"the first {drawn} of {total} fetches; " if total > drawn else ""
    return more + ("shaded: these repeat for ever" if trace.loop is not None else "no loop has closed")
