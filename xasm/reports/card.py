"""The card of a chip, out of its table."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from xasm.target.forms import Form
from xasm.target.kinds import Choice, Kind, Placed
from xasm.target.model import Target


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
    yield from head(target)
    yield ""
    yield "How it is written"
    yield from (f"  {line}".rstrip() for line in target.conventions.rstrip().split("\n"))
    yield ""
    yield "What operands take"
    width = max((len(name) for name in target.kinds), default=0)
    for kind in target.kinds.values():
        yield f"  {kind.name:<{width}}  {kind_text(kind)}"
    yield ""
    yield from forms(target)
    yield ""
    yield "Books"
    for book in target.books:
        yield f"  {book.title} ({book.edition})"
        yield f"    read for this table: {book.read}"


def head(target: Target) -> Iterator[str]:
    clock = target.clock
    first, last, start = (target.hex_address(address) for address in (0, target.top, target.start))
    low = "low" if target.order == "little" else "high"
    periods = f", {clock.periods} clock periods each" if clock.periods > 1 else ""
    yield f"name          -t {', '.join([target.name, *target.also])}"
    yield f"memory        words of {target.word} bits, addresses {first}..{last}, numbers of several words {low} word first"
    yield f"starts        {'at the address held in' if target.start_vector else 'at'} {start}"
    yield f"cycles        counted in units of one {clock.unit}{periods}; usual clock {clock.typical}"
    yield f"instructions  {target.count['mnemonics']} mnemonics, {target.count['opcodes']} opcodes"


def kind_text(kind: Kind) -> str:
    if isinstance(kind, Placed):
        return f"a target: {kind.range_text()}"
    if isinstance(kind, Choice):
        return kind.range_text()
    return f"{'an address' if kind.address else 'a number'} {kind.range_text()}"


def forms(target: Target) -> Iterator[str]:
    width = max((len(form.asm) for form in target.forms), default=0)
    code = max((len(form.code_text) for form in target.forms), default=0)
    yield f"{'form':<{width}}  {'code':<{code}}  {'cycles':<7}  flow"
    for form in sorted(target.forms, key=lambda form: form.mnemonic):
        yield f"{form.asm:<{width}}  {form.code_text:<{code}}  {form.cycles_text():<7}  {flow_text(form)}".rstrip()


def flow_text(form: Form) -> str:
    parts = [form.flow + (f" {form.target}" if form.target else "")]
    if form.alias:
        parts.append("second spelling")
    if form.note:
        parts.append(form.note)
    kinds = ", ".join(f"{name}: {kind.name}" for name, kind in form.fields.items())
    return "; ".join(parts) + (f"  [{kinds}]" if kinds else "")
