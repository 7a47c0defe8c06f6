"""The data card of a chip as a page for a browser, which also prints."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import groupby

from xasm.reports.card import assumptions, bits, facts, habits, kind_text, notes, operands, words
from xasm.reports.web import FLOWS, code, flow_text, page, plain, table
from xasm.target.forms import Mode, Row
from xasm.target.model import Target

STYLE = """\
html { scroll-padding-top: 2rem; }
body { max-width: 76rem; }
table { border-collapse: collapse; width: 100%; background: var(--raised); font-size: 0.88rem; }
th, td { padding: 0.18rem 0.5rem; border: 1px solid var(--hair); text-align: left; vertical-align: top; }
thead th { background: var(--paper); border-bottom-color: var(--line); }
tbody { border-bottom: 1px solid var(--line); }
td code { white-space: nowrap; }
.forms td:nth-child(3), .forms td:nth-child(4) { white-space: nowrap; text-align: right; }
.unlisted { font-style: italic; }
b.sign { display: inline-block; min-width: 1.7em; text-align: center; border-radius: 0.2em; }
.go { background: var(--go); } .sub { background: var(--sub); } .stop { background: var(--stop); } .turn { background: var(--turn); }
dl { display: grid; grid-template-columns: max-content 1fr; gap: 0.1rem 1.2rem; margin: 0.6rem 0; }
dt { color: var(--quiet); } dd { margin: 0; }
.said { white-space: pre-wrap; margin: 0; }
ul { margin: 0; padding-left: 1.2rem; }
ul.names { columns: 11rem; padding: 0; list-style: none; }
nav { margin: 0.5rem 0; line-height: 1.8; }
nav a { margin-right: 0.7rem; white-space: nowrap; }
@page { size: A4 portrait; margin: 11mm; }
@media print {
  body { font-size: 8pt; line-height: 1.3; }
  h1 { font-size: 13pt; } h2 { font-size: 9.5pt; margin: 3.5mm 0 1mm; break-after: avoid; }
  table { font-size: 7.3pt; } th, td { padding: 0.25mm 1.2mm; border-width: 0.4pt; }
  tbody, tr, li { break-inside: avoid; }
}
"""


def card_page(target: Target) -> str:
    """Everything that a programmer of the chip wants beside the keyboard, as HTML."""
    body = [f"<h1>{plain(target.title)}</h1>", "<dl>"]
    body += [f"<dt>{plain(label)}</dt><dd>{plain(text)}</dd>" for label, text in facts(target)]
    body.append("</dl>")
    said = "\n".join(plain(line) for line in target.conventions.rstrip().split("\n"))
    body += _part("How it is written", [f'<pre class="said">{said}</pre>'])
    listed = ", ".join(map(code, words(target)))
    body += _part("Registers, conditions and other words in operands", [f"<p>{listed}</p>"] if listed else [])
    body += _part("Names that it has", _names(target))
    body += _part("What is assumed", _list(assumptions(target)))
    body += _part("How its maker writes", _list(habits(target)))
    body += _part("What operands take", _kinds(target))
    body += _part("Operands of several forms; their time is added", _modes(target))
    body += _part("Instructions", _forms(target))
    body += _part("Books", _list(f"{book.title} ({book.edition}); read for this table: {book.read}" for book in target.books))
    return page(f"Data card of the {target.name}", STYLE, body)


def _part(title: str, lines: Iterable[str]) -> Iterator[str]:
    """A part of the card; nothing where there are no lines."""
    found = list(lines)
    if found:
        yield from ("<section>", f"<h2>{plain(title)}</h2>", *found, "</section>")


def _list(texts: Iterable[str]) -> Iterator[str]:
    # what stands between two backquotes is text of a program
    items = [
        "<li>" + "".join(code(part) if odd % 2 else plain(part) for odd, part in enumerate(text.split("`"))) + "</li>" for text in texts
    ]
    if items:
        yield f"<ul>{''.join(items)}</ul>"


def _names(target: Target) -> Iterator[str]:
    for group, values in target.names.groups.items():
        listed = "".join(f"<li>{code(name)} {code(f'0x{value:02X}')}</li>" for name, value in values.items())
        yield f'<p>{plain(group)}</p><ul class="names">{listed}</ul>'
    yield from (f"<p>{plain(bits(area))}</p>" for area in target.names.areas)


def _kinds(target: Target) -> Iterator[str]:
    if target.kinds:
        rows = [(code(kind.name), plain(kind_text(kind))) for kind in target.kinds.values()]
        yield table(("kind", "takes"), [("", rows)])


def _modes(target: Target) -> Iterator[str]:
    groups = []
    for kind in target.modes.values():
        rows = [
            (code(kind.name if index == 0 else ""), code(mode.asm), code(mode.code_text), plain(mode.cycles_text()), *_remarks(mode))
            for index, mode in enumerate(kind.modes)
        ]
        groups.append(("", rows))
    if groups:
        yield table(("operand", "written", "code", "time", "fields", "remarks"), groups)


def _forms(target: Target) -> Iterator[str]:
    groups = []
    links = []
    for number, (mnemonic, found) in enumerate(groupby(sorted(target.rows, key=lambda row: row.mnemonic), lambda row: row.mnemonic)):
        groups.append((f' id="form-{number}"', [_form(row) for row in found]))
        links.append(f'<a href="#form-{number}">{plain(mnemonic.rstrip(","))}</a>')
    yield f'<nav class="screen" aria-label="Instructions">{" ".join(links)}</nav>'
    yield table(("form", "code", "bytes" if target.word == 8 else "words", "time", "flow", "fields", "remarks"), groups, "forms")


def _form(row: Row) -> tuple[str, ...]:
    sizes = sorted({form.size for form in row.forms()})
    length = str(sizes[0]) if len(sizes) == 1 else f"{sizes[0]}-{sizes[-1]}"
    sign, _, tint = FLOWS[row.flow]
    shown = f'<span class="quiet">{plain(row.flow)}</span>'
    if sign:
        shown = f'<b class="sign {tint}">{plain(sign)}</b> {plain(flow_text(row.flow, row.target))}'
    form = f'<span class="unlisted">{code(row.asm)} *</span>' if row.undocumented else code(row.asm)
    return (form, code(row.code_text), length, plain(row.cycles_text()), shown, *_remarks(row))


def _remarks(part: Row | Mode) -> tuple[str, str]:
    fields = plain(operands(part)).replace(": ", ":&nbsp;")  # a line ends between fields and not inside
    return fields, plain("; ".join(notes(part)))
