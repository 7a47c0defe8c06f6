"""Drawing: shapes and text as SVG, self-contained. Lengths are in pixels, of which 96 are an inch; y grows downwards."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from xasm.source.diagnostics import printable

LETTER = 0.61  # widest letter of the fonts that stand for "monospace", in sizes of the font
INK, GREY, LINE, PAPER = "#1a1a1a", "#5a5a5a", "#8a8a8a", "#ffffff"


class Canvas:
    """A picture in the making, `width` wide; it becomes as high as what is drawn last says."""

    def __init__(self, width: float) -> None:
        self.width = width
        self.parts: list[str] = []

    def box(self, x: float, y: float, width: float, height: float, fill: str, line: str = "", title: str = "") -> None:
        """A rectangle; `line` is the colour of its border, `title` is shown where somebody points at it."""
        border = f' stroke="{line}" stroke-width="0.75"' if line else ""
        size = f'x="{number(x)}" y="{number(y)}" width="{number(width)}" height="{number(height)}"'
        self.parts.append(titled("rect", f'{size} fill="{fill}"{border}', title))

    def shape(self, points: Sequence[tuple[float, float]], fill: str, opacity: float) -> None:
        """A polygon that can be seen through."""
        corners = " ".join(f"{number(x)},{number(y)}" for x, y in points)
        self.parts.append(f'<polygon points="{corners}" fill="{fill}" fill-opacity="{number(opacity)}"/>')

    def text(
        self, x: float, y: float, content: str, size: float = 11, room: float = 0, anchor: str = "", bold: bool = False, ink: str = INK
    ) -> None:
        """A line of text on the base line y; what does not fit into `room` is cut. `anchor` is "middle" or "end"."""
        content = cut(content, int(room / (size * LETTER))) if room else content
        more = f' text-anchor="{anchor}"' if anchor else ""
        more += ' font-weight="bold"' if bold else ""
        place = f'x="{number(x)}" y="{number(y)}" font-size="{number(size)}" fill="{ink}"{more}'
        self.parts.append(f'<text {place} xml:space="preserve">{plain(content)}</text>')

    def done(self, height: float, title: str) -> str:
        """The whole file."""
        size = f'width="{number(self.width)}" height="{number(height)}" viewBox="0 0 {number(self.width)} {number(height)}"'
        paper = f'<rect width="{number(self.width)}" height="{number(height)}" fill="{PAPER}"/>'
        opening = f'<svg xmlns="http://www.w3.org/2000/svg" {size} font-family="monospace">'
        return "\n".join([opening, f"<title>{plain(title)}</title>", paper, *self.parts, "</svg>", ""])


def number(value: float) -> str:
    """A length as it is written, to a tenth or, below one, a hundredth."""
    return f"{round(value, 1 if value >= 1 else 2):g}" if value < 100_000 else f"{value:.0f}"


def titled(element: str, attributes: str, title: str) -> str:
    return f"<{element} {attributes}><title>{plain(title)}</title></{element}>" if title else f"<{element} {attributes}/>"


def cut(text: str, letters: int) -> str:
    """A text, or its beginning and end with dots between them."""
    if len(text) <= letters:
        return text
    if letters < 8:
        return text[: max(1, letters - 1)] + "."
    behind = (letters - 2) // 3
    return f"{text[: letters - 2 - behind]}..{text[-behind:]}"


def plain(text: str) -> str:
    """A text as it can stand in XML, with no character that this has not."""
    return escape(printable(text))
