"""The opcode map of a chip: what each first word means, and each word behind a prefix, in sheets of 16 by 16.

A sheet shows two digits. Words of up to 8 bits fill one. Of wider ones the first sheet has a cell for each value of the upper
8 bits, and where the words of a cell differ, a sheet of its own shows them one by one. Of a chip whose maker writes octal
digits the sheets are 8 by 8.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

from xasm.source.diagnostics import Fault
from xasm.target.check import claimed, codes_count, opcode_words
from xasm.target.decode import text_of
from xasm.target.forms import Form, Row, Slot, gather
from xasm.target.kinds import NameList, Placed
from xasm.target.model import Target

DIGIT, OCTAL_DIGIT = 4, 3  # bits of a digit: a sheet shows two
BYTE = 8
WIDEST = 4 * DIGIT  # bits of the widest word that is drawn
MOST_CODES = 1 << 17  # of all rows together; more is a mistake in the table
MOST_SHEETS = 300
FEW = 3  # values that are named one by one

UNDOCUMENTED, ALIAS, MORE = "*", "=", "!"  # signs behind an instruction

Prefix = tuple[int | None, ...]  # words in front of the last one of an opcode; None is an operand


class Entry(NamedTuple):
    """What a code means: a row of the table, those of its forms that have the code, how it is written with everything filled
    in that the code settles, and the code: mask of the settled bits and their value for each of its words."""

    row: Row
    forms: tuple[Form, ...]
    operation: str
    operands: str
    code: tuple[tuple[int, int], ...]

    @property
    def text(self) -> str:
        return f"{self.operation} {self.operands}".rstrip()

    @property
    def alias(self) -> bool:
        return all(form.alias for form in self.forms)

    @property
    def undocumented(self) -> bool:
        return all(form.undocumented for form in self.forms)

    @property
    def length(self) -> str:
        """In words: `2`, or `2-4` where that depends on the operand."""
        sizes = {form.size for form in self.forms}
        return str(min(sizes)) if len(sizes) == 1 else f"{min(sizes)}-{max(sizes)}"

    @property
    def cycles(self) -> str:
        """As on the card; the shortest time, with `+` behind it, where the operand decides. Lists that the code settles are counted."""
        words = [value for _, value in self.code]
        different = {form.cycles_text(words if self._lists_settled(form) else ()) for form in self.forms}
        return different.pop() if len(different) == 1 else f"{min(self.forms, key=lambda form: form.cycles).cycles_text()}+"

    def _lists_settled(self, form: Form) -> bool:
        lists = [form.code.slots[name] for name, kind in form.fields.items() if isinstance(kind, NameList)]
        return bool(lists) and all(_settled(self.code, slots) for slots in lists)


class Cell(NamedTuple):
    """A place of a sheet: its code as printed, what it means, second spellings of that, and the names of the sheets that go
    on where it is a prefix or stands for words that differ (`mixed`). Without any of these it is undefined."""

    code: str
    entries: tuple[Entry, ...] = ()
    aliases: tuple[Entry, ...] = ()
    sheets: tuple[str, ...] = ()
    mixed: bool = False

    @property
    def marks(self) -> str:
        """The signs behind the instruction."""
        more = len(self.entries) + len(self.sheets) > 1
        return UNDOCUMENTED * self.entries[0].undocumented + ALIAS * bool(self.aliases) + MORE * more if self.entries else ""


class Sheet(NamedTuple):
    """A map: `columns` are the headings, `rows` the labels with their cells; `note` says what each of several prefixes
    settles, or is ""."""

    name: str
    title: str
    note: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, tuple[Cell, ...]], ...]

    def cells(self) -> Iterator[Cell]:
        for _, cells in self.rows:
            yield from cells


def chart(target: Target) -> list[Sheet]:
    """The sheets of a chip, that of the first word in front. Raises Fault where there would be too many."""
    if target.word > WIDEST:
        raise Fault("chart_word", chip=target.name, bits=target.word, most=WIDEST)
    sheets: list[Sheet] = []
    for page in _pages(target):
        sheets += _Drawing(target, page).sheets()
        if len(sheets) > MOST_SHEETS:
            raise Fault("chart_size", chip=target.name)
    return sheets


@dataclass(eq=False)
class _Page:
    """What the next word means behind any of some prefixes: its forms, and the pages behind it."""

    prefixes: list[Prefix]
    forms: dict[int, tuple[Form, ...]]
    behind: dict[int, tuple[_Page, ...]]
    names: dict[int, str] = field(default_factory=dict)  # of the operands among the prefix, by their place

    @property
    def name(self) -> str:
        return "-".join(["map", *("x" if word is None else f"{word:X}" for word in self.prefixes[0])])


def _codes(form: Form, target: Target) -> Iterator[tuple[Prefix, int]]:
    """The opcodes of a form: the words in front of the last one, and that."""
    length = opcode_words(form)
    if not length:  # nothing is fixed in any word
        yield from (((), word) for word in range(1 << target.word))
        return
    if codes_count(form) > MOST_CODES:
        raise Fault("chart_size", chip=target.name)
    for *front, word in claimed(form, length):
        yield tuple(None if index in form.code.operands else one for index, one in enumerate(front)), word


def _meanings(target: Target) -> tuple[dict[Prefix, dict[int, tuple[Form, ...]]], dict[Prefix, dict[int, str]]]:
    """For each prefix the forms of the words behind it, and how the operands in it are called."""
    forms: dict[Prefix, dict[int, tuple[Form, ...]]] = {(): {}}
    names: dict[Prefix, dict[int, str]] = {}
    count = 0
    for form in target.all_forms():
        for prefix, word in _codes(form, target):
            count += 1
            if count > MOST_CODES:
                raise Fault("chart_size", chip=target.name)
            here = forms.setdefault(prefix, {})
            here[word] = (*here.get(word, ()), form)
            if None in prefix:
                names.setdefault(prefix, _operand_names(form, prefix))
    for prefix in list(forms):
        while link := _link(prefix):
            prefix = link[0]
            forms.setdefault(prefix, {})
    return forms, names


def _pages(target: Target) -> list[_Page]:
    """One page for each set of prefixes behind which everything is alike, in the order of their codes."""
    forms, names = _meanings(target)
    behind: dict[Prefix, dict[int, tuple[_Page, ...]]] = {}
    pages: dict[object, _Page] = {}
    for prefix in sorted(forms, key=lambda one: (-len(one), _order(one))):  # the longest first, as they are behind others
        page = _Page([prefix], forms[prefix], behind.get(prefix, {}), names.get(prefix, {}))
        looks = (tuple(word is None for word in prefix), frozenset(page.forms.items()), frozenset(page.behind.items()))
        known = pages.setdefault(looks, page)
        if known is not page:
            known.prefixes.append(prefix)
        if link := _link(prefix):
            parent, word = link
            others = behind.setdefault(parent, {}).get(word, ())
            behind[parent][word] = others if known in others else (*others, known)
    return sorted(pages.values(), key=lambda page: _order(page.prefixes[0]))


def _order(prefix: Prefix) -> list[int]:
    return [-1 if word is None else word for word in prefix]


def _link(prefix: Prefix) -> tuple[Prefix, int] | None:
    """The prefix and the word behind it from which one comes to a prefix."""
    for index in reversed(range(len(prefix))):
        word = prefix[index]
        if word is not None:
            return prefix[:index], word
    return None


def _operand_names(form: Form, prefix: Prefix) -> dict[int, str]:
    """How the operands among the words of a prefix are called."""
    held = {slot.word: name for name, slots in form.code.slots.items() for slot in slots if slot.width}
    return {index: held.get(index, "n") for index, word in enumerate(prefix) if word is None}


class _Drawing:
    """A page, cut into sheets."""

    def __init__(self, target: Target, page: _Page) -> None:
        self.target = target
        self.page = page
        self.full = (1 << target.word) - 1
        self.digit = OCTAL_DIGIT if target.octal and target.word <= 4 * OCTAL_DIGIT else DIGIT
        self.sheet = 1 << 2 * self.digit  # words that a sheet shows one by one
        self.step = 1 << max(0, target.word - 2 * self.digit)  # words that a cell of the first sheet stands for
        self.digits = -(-target.word // self.digit)

    def sheets(self) -> Iterator[Sheet]:
        title = f"Behind {self.front}" if self.front else f"First {unit(self.target)}"
        yield self._sheet(self.page.name, title, 0, self.full, self.step)
        if self.step == 1:
            return
        for first in range(0, self.full + 1, self.sheet):
            last = first + self.sheet - 1
            if any(self._differ(word) for word in range(first, last, self.step)):
                yield self._sheet(self._part(first), f"{title}, {self._shown(first)} to {self._shown(last)}", first, last, 1)

    def _shown(self, word: int) -> str:
        """A word in all its digits."""
        return self.target.word_text(word)

    @cached_property
    def front(self) -> str:
        """The words of the prefix: `CB`, `DD/FD CB <d>`."""
        words = []
        for index, values in enumerate(zip(*self.page.prefixes, strict=True)):
            shown = [self._shown(value) for value in sorted({value for value in values if value is not None})]
            if not shown:
                words.append(f"<{self.page.names.get(index, 'n')}>")
            else:
                words.append("/".join(shown) if len(shown) <= FEW else f"{shown[0]}..{shown[-1]}")
        return " ".join(words)

    @cached_property
    def fixed(self) -> list[tuple[int, int]]:
        return _fixed(self.page.prefixes, self.full)

    @cached_property
    def note(self) -> str:
        """What each of a few prefixes settles: `DD: x is IX; FD: x is IY`."""
        if not 1 < len(self.page.prefixes) <= FEW:
            return ""
        forms = dict.fromkeys(form for forms in self.page.forms.values() for form in forms)
        told = []
        for prefix in self.page.prefixes:
            found: dict[str, int | str] = {}
            for form in forms:
                common = self._values(form, self.fixed)
                found |= {name: text for name, text in self._values(form, _fixed([prefix], self.full)).items() if name not in common}
            if found:
                words = " ".join(self._shown(word) for word in prefix if word is not None)
                told.append(f"{words}: {', '.join(f'{name} is {text}' for name, text in found.items())}")
        return "; ".join(told)

    def _part(self, word: int) -> str:
        """The name of the sheet that shows a word by itself."""
        return f"{self.page.name}-from-{self._shown(word - word % self.sheet)}"

    def _differ(self, first: int) -> bool:
        """Whether the words of a cell of the first sheet do not all mean the same."""
        words = range(first, first + self.step)
        return len({(self.page.forms.get(word), self.page.behind.get(word)) for word in words}) > 1

    def _sheet(self, name: str, title: str, first: int, last: int, step: int) -> Sheet:
        across = min(step << self.digit, last - first + 1)
        columns = tuple(self._column(offset, step) for offset in range(0, across, step))
        rows = []
        for start in range(first, last + 1, across):
            cells = tuple(self._cell(word, step) for word in range(start, start + across, step))
            rows.append((self._row(start, step), cells))
        return Sheet(name, title, self.note, columns, tuple(rows))

    def _column(self, offset: int, step: int) -> str:
        """The heading of a column, with a line for each digit that is told elsewhere: `_3`, `_3_`."""
        behind = self._behind(step)
        if behind is None:
            return f"+{offset:X}"
        return "_" * (self.digits - 1 - behind) + f"{offset >> self.digit * behind:X}" + "_" * behind

    def _row(self, start: int, step: int) -> str:
        behind = self._behind(step)
        if behind is None:
            return self._shown(start)
        told = max(0, self.digits - 1 - behind)
        return self._shown(start)[:told] + "_" * (self.digits - told)

    def _behind(self, step: int) -> int | None:
        """How many digits a cell of `step` words leaves open; None where it does not end with a digit."""
        bits = step.bit_length() - 1
        return bits // self.digit if bits % self.digit == 0 else None

    def _cell(self, word: int, step: int) -> Cell:
        mask = self.full & ~(step - 1)
        code = f"{self.front} {self._code(word, step)}".strip()
        if step > 1 and self._differ(word):
            return Cell(code, sheets=(self._part(word),), mixed=True)
        known = [*self.fixed, (mask, word)]
        rows: dict[Row, list[Form]] = {}
        for form in self.page.forms.get(word, ()):
            rows.setdefault(form.row or form, []).append(form)
        entries = [self._entry(row, forms, known) for row, forms in rows.items()]
        aliases = tuple(entry for entry in entries if entry.alias)
        chosen = tuple(entry for entry in entries if not entry.alias)
        return Cell(code, chosen or aliases, aliases if chosen else (), tuple(page.name for page in self.page.behind.get(word, ())))

    def _code(self, word: int, step: int) -> str:
        return self._shown(word) if step == 1 else f"{self._shown(word)}..{self._shown(word + step - 1)}"

    def _entry(self, row: Row, forms: list[Form], known: Sequence[tuple[int, int]]) -> Entry:
        values = {name: text for name, text in self._values(forms[0], known).items() if name in row.fields}
        operation, _, operands = text_of(row, values, self.target).partition(" ")
        return Entry(row, tuple(forms), operation, operands.strip(), tuple(known))

    def _values(self, form: Form, known: Sequence[tuple[int, int]]) -> dict[str, int | str]:
        """The fields of a form that the known bits settle, with the value or the spelling of each."""
        values: dict[str, int | str] = {}
        words = [value for _, value in known]
        for name, kind in form.fields.items():
            slots = form.code.slots[name]
            if isinstance(kind, Placed) or not _settled(known, slots):
                continue
            bits = gather(words, slots)
            spelling = kind.spelling(bits)
            try:
                values[name] = kind.load(bits, 0, form.size, slots[0].word) if spelling is None else spelling
            except Fault:
                continue
        return values


def _fixed(prefixes: Sequence[Prefix], full: int) -> list[tuple[int, int]]:
    """For each word of some prefixes the bits that all of them agree on: their mask and their value; `full` is a word of ones."""
    found = []
    for first, *others in zip(*prefixes, strict=True):
        mask = 0 if first is None else full
        for other in others:
            mask &= ~((first or 0) ^ (other or 0))
        found.append((mask, (first or 0) & mask))
    return found


def _settled(known: Sequence[tuple[int, int]], slots: Sequence[Slot]) -> bool:
    """Whether all bits of a field are among those that are known: mask and value of each word."""
    masks = [mask for mask, _ in known]
    return all(slot.word < len(masks) and not ~masks[slot.word] >> slot.shift & (1 << slot.width) - 1 for slot in slots)


def unit(target: Target) -> str:
    """What a word of the chip is called."""
    return "byte" if target.word == BYTE else "word"
