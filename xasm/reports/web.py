"""What the pages for a browser have in common: one file each, in ASCII, that needs nothing from elsewhere.

They follow the reader's choice of a light or a dark screen, and print dark on light.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from xasm.source.diagnostics import printable

LIGHT = """\
  --paper: #fbfaf6; --ink: #1f2328; --quiet: #5b6066; --line: #8d9096; --hair: #d9d6cc; --raised: #ffffff; --mark: #1d5c8f;
  --go: #dce9f4; --sub: #dfeedd; --stop: #f6dedb; --turn: #f4ead0;
"""
DARK = """\
  --paper: #15181c; --ink: #e6e3dc; --quiet: #a3a7ab; --line: #6b7178; --hair: #30353b; --raised: #1f2429; --mark: #8fc1ea;
  --go: #1d3a52; --sub: #20412a; --stop: #562a28; --turn: #47391a;
"""
STYLE = f"""\
:root {{ color-scheme: light dark;
{LIGHT}}}
@media screen and (prefers-color-scheme: dark) {{ :root {{
{DARK}}} }}
* {{ box-sizing: border-box; }}
body {{ margin: 0 auto; padding: 1.25rem; background: var(--paper); color: var(--ink);
  font: 0.95rem/1.45 system-ui, "DejaVu Sans", sans-serif; -webkit-print-color-adjust: exact; print-color-adjust: exact; }}
h1 {{ margin: 0 0 0.4rem; font-size: 1.45rem; line-height: 1.2; }}
h2 {{ margin: 1.8rem 0 0.5rem; font-size: 1.05rem; }}
p {{ margin: 0.4rem 0; }}
a {{ color: var(--mark); }}
code, pre {{ font-family: ui-monospace, "DejaVu Sans Mono", monospace; font-size: 0.92em; }}
:focus-visible {{ outline: 2px solid var(--mark); outline-offset: 1px; }}
.wide {{ overflow-x: auto; padding: 1px; }}
.quiet {{ color: var(--quiet); }}
@media print {{
  :root {{ color-scheme: light; }}
  body {{ max-width: none; padding: 0; background: none; }}
  a {{ color: inherit; text-decoration: none; }}
  .screen {{ display: none; }}
  .wide {{ overflow: visible; }}
}}
"""

# How a page shows where control goes: a sign, the words, and the tint that is the same for like ones.
FLOWS = {
    "next": ("", "goes on behind it", ""),
    "jump": ("\u2192", "goes to {to}", "go"),
    "branch": ("\u2192?", "goes to {to}, or on behind it", "go"),
    "call": ("\u2193", "calls {to}", "sub"),
    "call_if": ("\u2193?", "calls {to}, or goes on behind it", "sub"),
    "return": ("\u2191", "returns to the caller", "sub"),
    "return_if": ("\u2191?", "returns to the caller, or goes on behind it", "sub"),
    "skip": ("\u21b7", "may skip what is behind it", "turn"),
    "repeat": ("\u21bb", "is repeated, or goes on behind it", "turn"),
    "trap": ("\u21af", "calls what a vector says", "stop"),
    "halt": ("\u25a0", "stops", "stop"),
}


def flow_text(flow: str, target: str | None) -> str:
    """Where control goes; `target` is the field that says it, or None where it is known only when the program runs."""
    return FLOWS[flow][1].format(to=target or "an address known when it runs")


def plain(text: str) -> str:
    """A text as it can stand in a page."""
    return escape(printable(text))


def code(text: str) -> str:
    return f"<code>{plain(text)}</code>" if text else ""


def table(headings: Sequence[str], groups: Iterable[tuple[str, Iterable[Sequence[str]]]], kind: str = "") -> str:
    """A table in groups of rows, each with the attributes of its body; its cells are HTML already. `kind` is its class."""
    head = "".join(f'<th scope="col">{plain(heading)}</th>' for heading in headings)
    lines = [f'<div class="wide"><table class="{kind}">' if kind else '<div class="wide"><table>', f"<thead><tr>{head}</tr></thead>"]
    for attributes, rows in groups:
        lines.append(f"<tbody{attributes}>")
        lines += ["<tr>" + "".join(f"<td>{cell}</td>" for cell in row) + "</tr>" for row in rows]
        lines.append("</tbody>")
    return "\n".join([*lines, "</table></div>"])


def page(title: str, style: str, body: Iterable[str], script: str = "") -> str:
    """A whole page; `style` and `script` come on top of what all have."""
    parts = [
        "<!DOCTYPE html>",
        '<html lang="en">',
        "<head>",
        '<meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{plain(title)}</title>",
        f"<style>\n{STYLE}{style}</style>",
        "</head>",
        "<body>",
        *body,
        *([f"<script>\n{script}</script>"] if script else []),
        "</body>",
        "</html>",
        "",
    ]
    return "\n".join(parts).encode("ascii", "xmlcharrefreplace").decode("ascii")
