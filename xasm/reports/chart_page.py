"""The opcode map as a page for a browser, which also prints: a sheet of paper for each map."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import zip_longest

from xasm.reports.card import kind_text
from xasm.reports.chart import Cell, Entry, Sheet, chart, unit
from xasm.reports.chart_legend import marks, second_spellings, times
from xasm.reports.web import FLOWS, code, flow_text, page, plain
from xasm.target.check import opcode_words
from xasm.target.forms import Form
from xasm.target.model import Target

MIXED = "these differ"
STYLE = """\
html { scroll-padding: 1rem 4rem 14rem; }
table.map { border-collapse: collapse; table-layout: fixed; width: 100%; min-width: 70rem; }
.map th { padding: 0.15rem; color: var(--quiet); font: 600 0.8rem ui-monospace, "DejaVu Sans Mono", monospace; }
.map thead th:first-child { width: 2.6rem; }
.map th[scope=row] { position: sticky; left: 0; background: var(--paper); z-index: 1; }
.map td { height: 3.5rem; padding: 0.15rem 0.25rem; border: 1px solid var(--line); vertical-align: top; font-size: 0.8rem;
  line-height: 1.2; overflow-wrap: anywhere; background: var(--raised); }
.map td.across { border-right-color: var(--hair); }
.map td.down { border-bottom-color: var(--hair); }
.map td.none { background: var(--paper); color: var(--quiet); text-align: center; vertical-align: middle; }
.map td.unlisted > b { font-weight: 400; font-style: italic; }
.map td i { display: block; font: 0.72rem ui-monospace, "DejaVu Sans Mono", monospace; }
.map td small { display: flex; justify-content: space-between; white-space: nowrap; font-size: 0.7rem; color: var(--quiet); }
.map td.go, .go { background: var(--go); } .map td.sub, .sub { background: var(--sub); }
.map td.stop, .stop { background: var(--stop); } .map td.turn, .turn { background: var(--turn); }
.map td.some:hover, .map td.some:focus-within { box-shadow: inset 0 0 0 2px var(--mark); outline: none; }
.map a { display: block; }
.more { display: none; position: fixed; inset: auto 0 0 0; z-index: 5; max-height: 50vh; overflow: auto; padding: 0.7rem 1.25rem;
  background: var(--raised); color: var(--ink); border-top: 2px solid var(--mark); font-size: 0.9rem; line-height: 1.4; }
.more > div { display: flex; flex-wrap: wrap; gap: 0.2rem 2rem; }
.more div + div { margin-top: 0.5rem; padding-top: 0.5rem; border-top: 1px solid var(--hair); }
.more pre { margin: 0; } .more p { margin: 0; max-width: 48rem; }
td:hover > .more, td:focus-within > .more { display: block; }
body:has(td.some:hover) td:focus-within:not(:hover) > .more { display: none; }
.key { display: flex; flex-wrap: wrap; gap: 0.15rem 1.4rem; margin: 0.5rem 0; padding: 0; list-style: none; font-size: 0.85rem; }
.key b { display: inline-block; min-width: 1.6em; text-align: center; margin-right: 0.35em; padding: 0 0.2em; }
@media screen { body { padding-bottom: 14rem; } }
@page { size: A4 landscape; margin: 9mm; }
@media print {
  body { font-size: 7.5pt; line-height: 1.3; }
  h1 { font-size: 12pt; margin: 0 0 1mm; } h2 { font-size: 9pt; margin: 0 0 1mm; }
  section { break-inside: avoid; } section + section { padding-top: 3mm; }
  table.map { min-width: 0; }
  .map thead th:first-child { width: 7mm; }
  .map th { font-size: 7pt; padding: 0; } .map th[scope=row] { position: static; background: none; }
  .map tr { break-inside: avoid; }
  .map td { height: 9.2mm; padding: 0.3mm 0.6mm; font-size: 7pt; line-height: 1.15; border-width: 0.5pt; }
  .map td i { font-size: 6pt; } .map td small { font-size: 6pt; }
  .more { display: none !important; }
  .key { font-size: 7pt; margin: 1mm 0; }
}
"""

# The arrow keys go from cell to cell; without them every cell is a stop of the Tab key.
SCRIPT = """\
for (const map of document.querySelectorAll("table.map")) {
  const rows = [...map.tBodies[0].rows].map(row => [...row.querySelectorAll("td")].map(cell =>
    cell.matches("[tabindex]") ? cell : cell.querySelector("a")));
  const all = rows.flat().filter(Boolean);
  const stop = chosen => all.forEach(one => one.tabIndex = one === chosen ? 0 : -1);
  stop(all[0]);
  map.addEventListener("focusin", event => { if (all.includes(event.target)) stop(event.target); });
  map.addEventListener("keydown", event => {
    if (event.key === "Escape") event.target.blur();
    const step = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [-1, 0], ArrowDown: [1, 0] }[event.key];
    let y = rows.findIndex(row => row.includes(event.target));
    if (!step || y < 0) return;
    let x = rows[y].indexOf(event.target);
    do { y += step[0]; x += step[1]; } while (rows[y] && x in rows[y] && !rows[y][x]);
    event.preventDefault();
    if (rows[y] && rows[y][x]) rows[y][x].focus();
  });
}
"""


def chart_page(target: Target) -> str:
    """The map of a chip as HTML. Raises Fault where there is none."""
    sheets = chart(target)
    titles = {sheet.name: sheet.title for sheet in sheets}
    body = [f"<h1>Opcode map: {plain(target.title)}</h1>", *_contents(sheets)]
    for index, sheet in enumerate(sheets):
        body += [f'<section id="{plain(sheet.name)}">', f"<h2>{plain(sheet.title)}</h2>"]
        body += [*([f"<p>{plain(sheet.note)}</p>"] if sheet.note else []), _map(sheet, target, titles), *_spellings(sheet)]
        body += [*([] if index else _key(target, sheets)), "</section>"]
    return page(f"Opcode map of the {target.name}", STYLE, body, SCRIPT)


def _contents(sheets: Sequence[Sheet]) -> Iterator[str]:
    yield '<p class="screen quiet">Point at an instruction, or go there with Tab and the arrow keys: below stand its form and its bits.</p>'
    if len(sheets) > 1:
        links = ", ".join(f'<a href="#{plain(sheet.name)}">{plain(sheet.title)}</a>' for sheet in sheets)
        yield f'<p class="screen">Maps: {links}</p>'


def _key(target: Target, sheets: Sequence[Sheet]) -> Iterator[str]:
    """What the signs and the tints mean."""
    yield f"<p>{plain(times(target, sheets))}</p>"
    yield '<ul class="key">'
    shown = {"undefined": "\u00b7", "prefix": "Behind", "mixed": MIXED}
    for mark, meaning in marks(target, sheets):
        yield f"<li><b>{plain(shown.get(mark, mark))}</b>{plain(meaning)}</li>"
    used = {entry.row.flow for sheet in sheets for cell in sheet.cells() for entry in cell.entries}
    for flow, (sign, _, tint) in FLOWS.items():
        if sign and flow in used:
            yield f'<li><b class="{tint}">{plain(sign)}</b>{plain(flow_text(flow, "a place"))}</li>'
    yield "</ul>"


def _map(sheet: Sheet, target: Target, titles: Mapping[str, str]) -> str:
    head = "".join(f'<th scope="col">{plain(column)}</th>' for column in sheet.columns)
    lines = ['<div class="wide"><table class="map">', f"<thead><tr><th></th>{head}</tr></thead>", "<tbody>"]
    for number, (label, cells) in enumerate(sheet.rows):
        lines.append(f'<tr><th scope="row">{plain(label)}</th>')
        below = sheet.rows[number + 1][1] if number + 1 < len(sheet.rows) else ()
        for cell, beside, under in zip_longest(cells, cells[1:], below):
            joined = (" across" if beside and _same(cell, beside) else "") + (" down" if under and _same(cell, under) else "")
            lines.append(_cell(cell, target, titles, joined))
        lines.append("</tr>")
    return "\n".join([*lines, "</tbody></table></div>"])


def _same(one: Cell, other: Cell) -> bool:
    """Whether two neighbours belong to one row of the table, so that the line between them is faint."""
    if not one.entries or not other.entries:
        return not (one.entries or other.entries or one.sheets or other.sheets)
    return one.entries[0].row is other.entries[0].row


def _cell(cell: Cell, target: Target, titles: Mapping[str, str], joined: str) -> str:
    links = "".join(f'<a href="#{plain(name)}">{MIXED if cell.mixed else plain(titles[name])}</a>' for name in cell.sheets)
    if not cell.entries and not links:
        return f'<td class="none{joined}">&middot;</td>'
    more = f'<div class="more">{"".join(_more(cell, target)) or _leads(cell, target)}</div>'
    if not cell.entries:
        return f'<td class="some{joined}">{links}{more}</td>'
    entry = cell.entries[0]
    sign, _, tint = FLOWS[entry.row.flow]
    kind = " ".join(filter(None, ["some", tint, "unlisted" if entry.undocumented else ""])) + joined
    operands = f"<i>{plain(entry.operands)}</i>" if entry.operands else ""
    time = f"<small><span>{plain(f'{entry.length} {entry.cycles}')}</span><span>{plain(sign)}</span></small>"
    # a link inside is a stop of the Tab key already
    stop = "" if links else ' tabindex="0"'
    operation = plain(entry.operation + cell.marks).replace(",", ",<wbr>")
    return f'<td class="{kind}"{stop}><b>{operation}</b>{operands}{time}{links}{more}</td>'


def _leads(cell: Cell, target: Target) -> str:
    what = f"The {unit(target)}s of this place differ" if cell.mixed else f"The {unit(target)} behind it decides"
    return f"<div><p>{code(cell.code)}</p><p>{what}: a map of its own shows them.</p></div>"


def _more(cell: Cell, target: Target) -> Iterator[str]:
    """All about what a cell means."""
    for entry in cell.entries:
        row = entry.row
        size = f"{entry.length} {unit(target)}{'' if entry.length == '1' else 's'}"
        told = [f"{size}, time {entry.cycles}", flow_text(row.flow, row.target)]
        told += ["not in the maker's book"] if entry.undocumented else []
        told += [row.note] if row.note else []
        told += [f"also written {alias.text}" for alias in cell.aliases]
        shown = "\n".join(map(plain, bits(entry, target)))
        yield f"<div><p>{code(cell.code)} <b>{plain(entry.text)}</b><br>form {code(row.asm)}</p><pre>{shown}</pre>"
        yield f"<p>{plain('; '.join(told))}"
        for name, kind in row.fields.items():
            yield f"<br>{code(name)} {plain(kind_text(kind))}"
        for name, modes in row.modes.items():
            yield f"<br>{code(name)} one of {code('  '.join(dict.fromkeys(mode.asm for mode in modes.modes)))}"
        yield "</p></div>"


def bits(entry: Entry, target: Target) -> tuple[str, str]:
    """The bits of a form, letters for its fields, `-` for bits that the chip ignores, and what stands for the operands of a row
    with modes; in a second line what the code makes of them, `.` where it leaves them open."""
    form = entry.forms[0]
    one = len(entry.forms) == 1
    words = [_word(form, index, target.word) for index in range(form.size if one else max(1, opcode_words(form)))]
    words += [] if one else [f"<{name}>" for name in entry.row.modes]
    made = [_bits(mask, value, target.word) for mask, value in entry.code]
    return " ".join(words), " ".join(made)


def _bits(mask: int, value: int, width: int) -> str:
    return "".join("01"[value >> bit & 1] if mask >> bit & 1 else "." for bit in reversed(range(width)))


def _word(form: Form, index: int, width: int) -> str:
    mask, match, ignored = form.code.masks[index], form.code.match[index], form.code.ignored[index]
    letters = ["-" if ignored >> bit & 1 else "01"[match >> bit & 1] if mask >> bit & 1 else "." for bit in range(width)]
    for name, slots in form.code.slots.items():
        for slot in slots:
            if slot.word == index:
                letters[slot.shift : slot.shift + slot.width] = name[0] * slot.width
    return "".join(reversed(letters))


def _spellings(sheet: Sheet) -> Iterator[str]:
    found = second_spellings(sheet)
    if found:
        told = "; ".join(f"{code(text)} ({plain(', '.join(codes))})" for text, codes in found.items())
        yield f"<p>Second spellings: {told}</p>"
