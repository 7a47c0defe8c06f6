"""The card of a chip, out of its table."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Iterator

from xasm.target.forms import Mode, Row
from xasm.target.habits import HABITS
from xasm.target.kinds import Choice, Kind, NameList, Placed
from xasm.target.model import Target
from xasm.target.symbols import BITS, BitArea

WIDTH = 110  # columns of a list of names


def overview(targets: Iterable[Target]) -> str:
    """One row for each chip: name, word, address, counts, title."""
    rows = [f"{'name':<10}{'word':>5}{'address':>9}{'mnemonics':>11}{'opcodes':>9}  chip"]
    for target in targets:
        sizes = f"{target.word:>5}{target.address:>9}{target.count['mnemonics']:>11}{target.count['opcodes']:>9}"
        other = f" (also {', '.join(target.also)})" if target.also else ""
        rows.append(f"{target.name:<10}{sizes}  {target.title}{other}")
    return "\n".join(rows)


def card(target: Target) -> str:
    """Everything that a programmer of the chip wants beside the keyboard, as text."""
    return "\n".join(_card(target))


def _card(target: Target) -> Iterator[str]:
    yield target.title
    yield "=" * len(target.title)
    yield from (f"{label:<14}{text}" for label, text in facts(target))
    yield from titled("How it is written", (f"  {line}".rstrip() for line in target.conventions.rstrip().split("\n")))
    yield from titled("Registers, conditions and other words in operands", wrapped(", ".join(words(target))))
    yield from titled("Names that it has", names(target))
    yield from titled("What is assumed", (f"  {text}" for text in assumptions(target)))
    yield from titled("How its maker writes", (f"  {text}" for text in habits(target)))
    width = max((len(name) for name in (*target.kinds, *target.modes)), default=0)
    yield from titled("What operands take", (f"  {kind.name:<{width}}  {kind_text(kind)}" for kind in target.kinds.values()))
    yield from titled("Operands of several forms; their time is added", modes(target))
    yield from titled("", rows(target))
    yield from titled("Books", books(target))


def titled(title: str, lines: Iterable[str]) -> Iterator[str]:
    """A part of the card with an empty line in front; nothing where there are no lines."""
    found = list(lines)
    if found:
        yield ""
        yield from [title, *found] if title else found


def books(target: Target) -> Iterator[str]:
    for book in target.books:
        yield f"  {book.title} ({book.edition})"
        yield f"    read for this table: {book.read}"


def facts(target: Target) -> Iterator[tuple[str, str]]:
    """What the head of the table says, each with its label."""
    clock = target.clock
    first, last, start = (target.address_text(address) for address in (0, target.top, target.start))
    low = "low" if target.order == "little" else "high"
    periods = f", {clock.periods} clock periods each" if clock.periods > 1 else ""
    yield "name", f"-t {', '.join([target.name, *target.also])}"
    yield "memory", f"words of {target.word} bits, addresses {first}..{last}, numbers of several words {low} word first"
    if target.octal:
        yield "digits", "octal, in listings and messages; the files that are written are hexadecimal"
    if target.spaces:
        yield "other spaces", ", ".join(f"{name} (addresses of {width} bits)" for name, width in target.spaces.items())
    yield "starts", f"{'at the address held in' if target.start_vector else 'at'} {start}"
    yield "cycles", f"counted in units of one {clock.unit}{periods}; usual clock {clock.typical}"
    unlisted = target.count.get("undocumented", 0)
    more = f", and {unlisted} opcodes that the maker's book does not list" if unlisted else ""
    yield "instructions", f"{target.count['mnemonics']} mnemonics, {target.count['opcodes']} opcodes{more}"


def words(target: Target) -> list[str]:
    """The words that operands have besides numbers, R2 in front of R10."""
    return sorted(target.reserved, key=lambda word: [int(part) if part.isdecimal() else part for part in re.split(r"(\d+)", word)])


def wrapped(text: str, start: str = "") -> Iterator[str]:
    """A list of names in lines of the width of the card; `start` stands in front of the first."""
    yield from textwrap.wrap(text, WIDTH, initial_indent=f"  {start}", subsequent_indent=" " * (len(start) + 2))


def names(target: Target) -> Iterator[str]:
    """The chip's own names by group, and which bytes have bits with addresses."""
    for group, values in target.names.groups.items():
        listed = ", ".join(f"{name}\u00a00x{value:02X}" for name, value in values.items())
        yield from (line.replace("\u00a0", " ") for line in wrapped(listed, f"{group}: "))
    yield from (f"  {bits(area)}" for area in target.names.areas)


def bits(area: BitArea) -> str:
    return f"bits .0 to .{BITS - 1} of the bytes {area.text()} have the addresses 0x{area.bit:02X}..0x{area.end - 1:02X}"


def assumptions(target: Target) -> Iterator[str]:
    yield from (f"{name} is {value}; ASSUME says otherwise" for name, value in target.assume.items())


def habits(target: Target) -> Iterator[str]:
    """The maker's names of directives, and habits of writing."""
    for name, directive in target.directives.items():
        order = f", {'low' if directive.order == 'little' else 'high'} word first" if directive.order else ""
        text = ", its text between any two equal characters" if directive.delimited else ""
        yield f"{name} is {directive.name} {directive.first}".rstrip(" ,") + order + text
    yield from (HABITS[habit] for habit in HABITS if habit in target.habits)


def kind_text(kind: Kind) -> str:
    if isinstance(kind, Placed):
        return f"a target: {kind.range_text()}"
    if isinstance(kind, NameList) and kind.times:
        times = dict(kind.times)
        adds = ", ".join(f"{name} {times[own]}" for name, own in kind.options if own in times)
        return f"{kind.range_text()}; each adds cycles: {adds}"
    if isinstance(kind, (Choice, NameList)):
        return kind.range_text()
    return f"{'an address' if kind.address else 'a number'} {kind.range_text()}"


def modes(target: Target) -> Iterator[str]:
    every = [mode for kind in target.modes.values() for mode in kind.modes]
    name = max((len(name) for name in target.modes), default=0)
    asm = max((len(mode.asm) for mode in every), default=0)
    code = max((len(mode.code_text) for mode in every), default=0)
    for kind in target.modes.values():
        for index, mode in enumerate(kind.modes):
            shown = "" if index else kind.name
            line = f"  {shown:<{name}}  {mode.asm:<{asm}}  {mode.code_text:<{code}}  {mode.cycles_text():<7}  {remarks(mode)}"
            yield line.rstrip()


def rows(target: Target) -> Iterator[str]:
    width = max((len(row.asm) for row in target.rows), default=0)
    code = max((len(row.code_text) for row in target.rows), default=0)
    yield f"{'form':<{width}}  {'code':<{code}}  {'cycles':<7}  flow"
    for row in sorted(target.rows, key=lambda row: row.mnemonic):
        flow = row.flow + (f" {row.target}" if row.target else "") + (f"+{row.behind}" if row.behind else "")
        line = f"{row.asm:<{width}}  {row.code_text:<{code}}  {row.cycles_text():<7}  {'; '.join(filter(None, (flow, remarks(row))))}"
        yield line.replace(";   [", "  [").rstrip()


def remarks(part: Row | Mode) -> str:
    """What else there is to say of a row or mode, its kinds at the end."""
    fields = operands(part)
    return "; ".join(notes(part)) + (f"  [{fields}]" if fields else "")


def notes(part: Row | Mode) -> list[str]:
    found = ["second spelling"] if part.alias else []
    found += ["undocumented"] if part.undocumented else []
    return found + ([part.note] if part.note else [])


def operands(part: Row | Mode) -> str:
    """The fields of a row or mode, each with its kind."""
    kinds = {name: kind.name for name, kind in part.fields.items()}
    if isinstance(part, Row):
        kinds |= {name: modes.name for name, modes in part.modes.items()}
    return ", ".join(f"{name}: {kind}" for name, kind in kinds.items())
