"""Charts and cards in a real browser: nothing to repair, nothing from elsewhere, usable with pointer and keys, legible, printable."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

import pytest

from tests.browser import Browser
from tests.invented import rich
from tests.test_wide_words import TWELVE
from xasm.reports.card_page import card_page
from xasm.reports.chart import chart
from xasm.reports.chart_page import chart_page
from xasm.reports.web import page
from xasm.target.finding import load_target, table_paths
from xasm.target.model import Target

TABLES = list(table_paths())
LARGEST = max(TABLES, key=lambda name: len(chart(load_target(name))))
EMPTY = frozenset(["meta", "br", "wbr"])
PAPER = {"landscape": (297 - 18, 210 - 18), "portrait": (210 - 22, 297 - 22)}  # mm without the margins
CLOSEST = 4.5  # least contrast between text and what it stands on

# The elements below the root, each with its id and its own text, as `Tree` tells them.
TREE = """(() => {
  const text = one => [...one.childNodes].filter(node => node.nodeType === 3).map(node => node.data).join("").replace(/\\s+/g, " ").trim();
  const tell = (one, depth) =>
    [`${depth} ${one.localName} ${one.id} ${text(one)}`, ...[...one.children].flatMap(part => tell(part, depth + 1))];
  return tell(document.documentElement, 0);
})()"""
# Texts whose colour is too close to that of what they stand on, as `ratio: text`.
FAINT = """(() => {
  const channels = colour => colour.match(/[\\d.]+/g).map(Number);
  const light = colour => channels(colour).slice(0, 3).map(one => one / 255)
    .map(one => one <= 0.04045 ? one / 12.92 : ((one + 0.055) / 1.055) ** 2.4)
    .reduce((sum, one, index) => sum + one * [0.2126, 0.7152, 0.0722][index], 0);
  const ground = one => {
    for (; one; one = one.parentElement) {
      const colour = getComputedStyle(one).backgroundColor;
      if ((channels(colour)[3] ?? 1) > 0) return colour;
    }
    return "rgb(255, 255, 255)";
  };
  const seen = [...document.body.querySelectorAll("*")].filter(one => one.checkVisibility() && [...one.childNodes].some(node =>
    node.nodeType === 3 && node.data.trim()));
  const told = seen.map(one => {
    const [front, back] = [light(getComputedStyle(one).color), light(ground(one))];
    return [(Math.max(front, back) + 0.05) / (Math.min(front, back) + 0.05), one.textContent];
  });
  return [seen.length, told.filter(one => one[0] < CLOSEST).map(one => one.join(": "))];
})()""".replace("CLOSEST", str(CLOSEST))
SHOWN = "[...document.querySelectorAll('.more')].filter(one => one.checkVisibility()).map(one => one.innerText)"
WIDER = "[...document.querySelectorAll('.map td')].filter(one => one.scrollWidth > one.clientWidth + 1).map(one => one.innerText)"


class Tree(HTMLParser):
    """The elements of a page as written, every one of which must be closed in its turn."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[list[str]] = []
        self.open: list[tuple[str, list[str]]] = []

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        names = [name for name, _ in attributes]
        assert len(set(names)) == len(names), (tag, names)
        element = [f"{len(self.open)} {tag} {dict(attributes).get('id') or ''}", ""]
        self.found.append(element)
        if tag not in EMPTY:
            self.open.append((tag, element))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop()[0] == tag, (self.getpos(), tag)

    def handle_data(self, data: str) -> None:
        if self.open:
            self.open[-1][1][1] += data

    def lines(self) -> list[str]:
        assert not self.open
        return [f"{element} {' '.join(text.split())}" for element, text in self.found]


def written(text: str) -> list[str]:
    tree = Tree()
    tree.feed(text)
    tree.close()
    return tree.lines()


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with Browser() as running:
        yield running


@pytest.fixture
def show(browser: Browser, tmp_path: Path) -> Iterator[object]:
    def showing(text: str, width: int = 1400, height: int = 1000) -> Browser:
        path = tmp_path / "page.html"
        path.write_text(text, "ascii")
        browser.prefer()
        browser.open(path, width, height)
        return browser

    yield showing
    browser.prefer()


def pages() -> list[tuple[str, Target, bool]]:
    chips = [*((name, load_target(name)) for name in TABLES), ("twelve", TWELVE), ("rich", rich())]
    return [(f"{kind}-{name}", target, kind == "chart") for name, target in chips for kind in ("chart", "card")]


@pytest.mark.parametrize(("target", "is_chart"), [one[1:] for one in pages()], ids=[one[0] for one in pages()])
def test_nothing_to_repair_and_nothing_from_elsewhere(target: Target, is_chart: bool, show) -> None:  # type: ignore[no-untyped-def]
    text = chart_page(target) if is_chart else card_page(target)
    browser = show(text)
    assert browser.value(TREE) == written(text)
    told = [event for event in browser.events if event["method"] in ("Runtime.exceptionThrown", "Log.entryAdded")]
    assert told == []
    asked = {event["params"]["request"]["url"] for event in browser.events if event["method"] == "Network.requestWillBeSent"}
    assert asked == {browser.value("location.href")}
    assert not re.search(r"url\(|@import|\bsrc=|<link|https?:", text)
    ids = re.findall(r' id="([^"]*)"', text)
    assert len(ids) == len(set(ids)) > 0
    assert set(re.findall(r'href="#([^"]*)"', text)) <= set(ids)
    assert text.count('href="') == text.count('href="#')
    if is_chart:
        cells = browser.value("[...document.querySelectorAll('.map')].map(map => map.querySelectorAll('td').length)")
        assert cells == [len(list(sheet.cells())) for sheet in chart(target)]
        assert set(cells) == {64 if target.octal else 256}


def test_a_page_to_repair_and_one_from_elsewhere_are_noticed(show) -> None:  # type: ignore[no-untyped-def]
    text = page("none", "", ["<table><tr><td>a</td></tr></table>"])
    assert show(text).value(TREE) != written(text)
    with pytest.raises(AssertionError):
        written("<p><b>a</p></b>")
    browser = show(page("none", "", ['<p>a</p><img src="picture.png" alt="none">'], "nothing.here();"))
    assert any(event["method"] == "Runtime.exceptionThrown" for event in browser.events)
    assert any(event["params"]["request"]["url"].endswith("picture.png") for event in browser.events if "request" in event["params"])


def test_what_a_table_says_is_text_and_never_part_of_the_page(show) -> None:  # type: ignore[no-untyped-def]
    said = "<script>nothing.here()</script> </title></style> & &lt; \u00fc"
    changes = (
        ("An invented chip with many ways to write an operand", said),
        ("a second code", said),
        ("conventions: none", f"conventions: '{said}'"),
    )
    target = rich(*changes)
    for text in (chart_page(target), card_page(target)):
        assert text.isascii()
        browser = show(text)
        assert browser.value(TREE) == written(text)
        assert [event for event in browser.events if event["method"] == "Runtime.exceptionThrown"] == []
        assert browser.value("document.querySelector('h1').textContent").endswith(said)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("target", "is_chart"), [one[1:] for one in pages()], ids=[one[0] for one in pages()])
def test_texts_stand_out(target: Target, is_chart: bool, scheme: str, show) -> None:  # type: ignore[no-untyped-def]
    browser = show(chart_page(target) if is_chart else card_page(target))
    browser.prefer(scheme=scheme)
    seen, faint = browser.value(FAINT)
    assert seen > 50
    assert faint == []
    assert browser.value("getComputedStyle(document.body).color") == {"light": "rgb(31, 35, 40)", "dark": "rgb(230, 227, 220)"}[scheme]


def test_a_faint_text_is_noticed(show) -> None:  # type: ignore[no-untyped-def]
    seen, faint = show(page("none", "p { color: #999; background: #fff; }", ["<p>faint</p><h1>clear</h1>"])).value(FAINT)
    assert (seen, [text.partition(": ")[2] for text in faint]) == (2, ["faint"])


def test_colours_are_not_all_that_tells(show) -> None:  # type: ignore[no-untyped-def]
    for name in TABLES:
        browser = show(chart_page(load_target(name)))
        signs = browser.value(
            "[...document.querySelectorAll('td.go, td.sub, td.stop, td.turn')].map(one => one.querySelector('small :last-child').innerText)"
        )
        assert len(signs) > 2
        assert all(signs)
        marks = browser.value("[...document.querySelectorAll('td.unlisted > b')].map(one => one.innerText)")
        assert all("*" in mark for mark in marks)


def test_pointing_shows_the_form_and_its_bits(show) -> None:  # type: ignore[no-untyped-def]
    browser = show(chart_page(load_target("z80")))
    assert browser.value(SHOWN) == []
    browser.point("#map-DD tbody tr:nth-child(5) td:nth-of-type(7)")
    (told,) = browser.value(SHOWN)
    for part in (
        "DD 46",
        "LD B,(IX+d)",
        "form LD r,(x+d)",
        "11x11101 01rrr110 dddddddd\n11011101 01000110",
        "3 bytes, time 19",
        "-128..127",
    ):
        assert part in told
    browser.point("h1")
    assert browser.value(SHOWN) == []
    browser.point("#map td", click=True)
    browser.point("h1")
    (kept,) = browser.value(SHOWN)
    assert kept.startswith("00 NOP"), "a click keeps it"
    browser.point("#map td:nth-of-type(2)")
    (told,) = browser.value(SHOWN)
    assert told.startswith("01 LD BC,n"), "where the pointer is goes before what was clicked"
    browser.point("h1")
    browser.key("Escape", 27)
    assert browser.value(SHOWN) == []


def test_it_does_without_scripts(show) -> None:  # type: ignore[no-untyped-def]
    browser = show(chart_page(load_target("z80")).replace("<script>", '<script type="text/plain">'))
    browser.point("#map td:nth-of-type(2)")
    assert browser.value(SHOWN)[0].startswith("01 LD BC,n")
    focusable = browser.value(
        "[...document.querySelectorAll('#map td')].filter(one => one.tabIndex === 0 || one.querySelector('a')).length"
    )
    assert focusable == 256


def test_keys_lead_from_cell_to_cell(show) -> None:  # type: ignore[no-untyped-def]
    browser = show(chart_page(load_target("z80")))
    here = "(document.activeElement.closest('td') ?? document.activeElement).innerText.split('\\n').slice(0, 2).join(' ')"
    stops = browser.value("[...document.querySelectorAll('.map')].map(map => map.querySelectorAll('[tabindex=\"0\"]').length)")
    assert stops == [1] * 6, "the Tab key goes from map to map"
    browser.value("document.querySelector('#map-DD td[tabindex]').focus()")
    visited = [browser.value(here)]
    for key, code in (("ArrowRight", 39), ("ArrowDown", 40), ("ArrowDown", 40), ("ArrowLeft", 37), ("ArrowUp", 38)):
        browser.key(key, code)
        visited.append(browser.value(here))
    assert visited == ["ADD IX,BC", "ADD IX,BC", "ADD IX,DE", "ADD IX,IX", "LD* IXH,n", "LD* IXH,n"], "undefined cells are passed over"
    assert browser.value(SHOWN)[0].startswith("DD 26")
    browser.value("document.querySelector('#map a[href=\"#map-CB\"]').focus()")
    assert "decides" in browser.value(SHOWN)[0]
    browser.key("ArrowLeft", 37)
    assert browser.value(here) == "JP Z,n"


def test_a_prefix_leads_to_its_map(show) -> None:  # type: ignore[no-untyped-def]
    browser = show(chart_page(load_target("z80")))
    browser.point("#map a[href='#map-ED']", click=True)
    browser.settle()
    assert browser.value("location.hash") == "#map-ED"
    assert 0 <= browser.value("document.querySelector('#map-ED').getBoundingClientRect().top") < 100


def test_a_narrow_window_moves_the_map_alone(show) -> None:  # type: ignore[no-untyped-def]
    for text in (chart_page(load_target(LARGEST)), card_page(load_target(LARGEST))):
        browser = show(text, width=360, height=700)
        assert browser.value("document.documentElement.scrollWidth") <= 360
        assert browser.value("Math.max(...[...document.querySelectorAll('.wide')].map(one => one.scrollWidth))") > 360


def sheets_of(pdf: bytes) -> list[tuple[float, float]]:
    """The size of each page in points."""
    boxes = re.findall(rb"/Type /Page\b.*?/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", pdf, re.DOTALL)
    assert len(boxes) == len(re.findall(rb"/Type /Page\b", pdf)) > 0
    return [(float(width), float(height)) for width, height in boxes]


@pytest.mark.parametrize(("target", "is_chart"), [one[1:] for one in pages()], ids=[one[0] for one in pages()])
def test_it_prints_well(target: Target, is_chart: bool, show) -> None:  # type: ignore[no-untyped-def]
    """A chart: a sheet of paper for each map, or for two of 8 by 8. A card: upright. Nothing sticks out, and it is dark on light."""
    width, height = PAPER["landscape" if is_chart else "portrait"]
    browser = show(chart_page(target) if is_chart else card_page(target), round(width / 25.4 * 96), round(height / 25.4 * 96))
    papers = sheets_of(browser.pdf())
    if is_chart:
        maps = len(chart(target))
        assert len(papers) == (maps // 2 if target.octal else maps), "small maps go together"
    else:
        assert 1 <= len(papers) <= 12
    assert {(wide > high) == is_chart for wide, high in papers} == {True}
    browser.prefer("print", "dark")
    assert browser.value("getComputedStyle(document.body).color") == "rgb(31, 35, 40)"
    assert browser.value("document.documentElement.scrollWidth <= innerWidth")
    assert browser.value(WIDER) == []
    assert browser.value(SHOWN) == []
    assert browser.value("[...document.querySelectorAll('.screen')].filter(one => one.checkVisibility()).length") == 0
