"""Every table held against itself: nothing is wrong with it, and what it encodes it decodes to the same."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import product
from typing import NamedTuple

import pytest

from tests.statements import NoNames, encoded, shapes
from tests.test_table_mistakes import TABLE
from xasm.source.diagnostics import Fault, Report
from xasm.source.files import Source
from xasm.syntax.expressions import Number
from xasm.target.check import check_target, opcodes, patterns, undocumented_opcodes
from xasm.target.decode import Decoder, Instruction, text_of
from xasm.target.encode import encode
from xasm.target.finding import load_target, table_paths
from xasm.target.forms import Form, Patch, Variant
from xasm.target.kinds import Choice, Misfit, NameList, Page, Plain, Relative, numeric
from xasm.target.loader import read_target
from xasm.target.model import Target

TABLES = list(table_paths())
HIDING = [name for name, path in table_paths().items() if "undocumented: true" in path.read_text("ascii")]
# Each table, and again with what its maker's book does not list.
BOTH = [*((name, False) for name in TABLES), *((name, True) for name in HIDING)]
FEWEST_ROWS = 40  # of one table
FEWEST_TRIALS = 200
COUNTED = 4  # bits of an operand whose values are all tried; of a wider one the edges
ADDRESSED = ("jump", "branch", "call", "call_if")
NUMBER = re.compile(r"(?<![A-Za-z0-9_])(?:0x[0-9A-F]+|0o[0-7]+|[0-9]+)\b")


class Trial(NamedTuple):
    """A form with a value for each field: spellings and numbers by name (the bits of a list are a number); the numbers in the
    order of the expressions too."""

    target: Target
    form: Form
    variant: Variant
    fields: dict[str, int | str]
    numbers: tuple[int, ...]
    address: int

    def encode(self) -> tuple[int, ...]:
        leaves = [Number(0, 0, number) for number in self.numbers]
        return tuple(encode(self.variant, leaves, NoNames(self.address, self.target), self.address))

    def __str__(self) -> str:
        return f"{self.form.asm} with {self.fields} at 0x{self.address:X}"


def places(form: Form, target: Target) -> list[int]:
    """Where a form is tried: in the middle of memory, and at both ends where that can make a difference."""
    middle = 1 << (target.address - 1)
    return [middle, 0, target.top + 1 - form.size] if any(kind.placed for kind in form.fields.values()) else [middle]


def ways(form: Form, target: Target) -> Iterator[tuple[dict[str, int | str], list[str], Variant]]:
    """Every way to write the choices of a form: spellings by field, the fields left as expressions in order, the variant."""
    names = {(slots, numeric(form.fields[name])): name for name, slots in form.code.slots.items()}
    for way, _, variant in shapes(form, target):
        spelled: dict[str, int | str] = {name: spelling for name, spelling in way if spelling is not None}
        yield spelled, [names[patch.slots, numeric(patch.kind)] for patch in variant.patches], variant


def good_values(form: Form, patch: Patch, address: int) -> list[int]:
    """Values to try: all of a list, and where the field lies in an opcode word; else those at the edges."""
    kind = patch.kind if isinstance(patch.kind, NameList) else numeric(patch.kind)
    if isinstance(kind, NameList):
        return [bits for bits in range(1 << kind.bits) if kind.spelling(bits) is not None]
    here = (address, form.size, patch.slots[0].word)
    values, _ = kind.edges(*here)
    if kind.bits <= COUNTED or any(slot.word not in form.code.operands for slot in patch.slots):
        values = values + [kind.load(bits, *here) for bits in patterns(kind)]
    return sorted(set(values))


def trials(target: Target) -> Iterator[Trial]:
    """Every form with every spelling, every value inside opcode words, and operands at their edges."""
    for form in target.forms:
        for (spelled, names, variant), address in product(ways(form, target), places(form, target)):
            for numbers in product(*(good_values(form, patch, address) for patch in variant.patches)):
                yield Trial(target, form, variant, spelled | dict(zip(names, numbers, strict=True)), numbers, address)


def bad_trials(target: Target) -> Iterator[tuple[Trial, str]]:
    """Every form with one value just beyond what its field takes, and that field."""
    for form in target.forms:
        address = places(form, target)[0]
        for spelled, names, variant in ways(form, target):
            kinds = [(numeric(patch.kind), patch.slots[0].word) for patch in variant.patches]
            edges = [kind.edges(address, form.size, word) for kind, word in kinds]
            for index, name in enumerate(names):
                for value in edges[index][1]:
                    numbers = tuple(value if other == index else good[0] for other, (good, _) in enumerate(edges))
                    yield Trial(target, form, variant, spelled | dict(zip(names, numbers, strict=True)), numbers, address), name


# What the tests ask; each gives the list of what is wrong.


def wrong_rows(target: Target) -> list[str]:
    """Rows without time or flow, and rows that send control elsewhere without saying where."""
    wrong = []
    for form in target.forms:
        wrong += [f"{form.asm} has no {key}" for key in ("cycles", "flow") if key not in form.places]
        anywhere = form.flow == "jump" or form.chosen  # a mode may say where control goes, or leave it to a register
        computed = "to" in form.places or (anywhere and not any(kind.address for kind in form.fields.values()))
        computed = computed or any(mode.to == "none" for mode in form.chosen)
        if form.flow in ADDRESSED and form.target is None and not computed:
            wrong.append(f"{form.asm} is {form.flow} without a target")
        if form.target is not None and (form.target not in form.fields or not form.fields[form.target].address):
            wrong.append(f"{form.asm} goes to {form.target}, which is no address")
    return wrong


def wrong_returns(target: Target, tried: Iterable[Trial], decoder: Decoder) -> list[str]:
    """What is lost on the way from words to text to words. Every row must be chosen by some statement, but for further
    codes of an earlier row that is written the same."""
    wrong = []
    chosen = set()
    rows = dict.fromkeys(trial.form for trial in tried)
    for trial in tried:
        words = trial.encode()
        instruction = decoder.decode(words, trial.address)
        if instruction is None:
            wrong.append(f"{trial}: {words} are not decoded")
            continue
        text = instruction.text
        if trial.form.alias:
            text = text_of(trial.form, trial.fields, target)
            if instruction.form.alias:
                wrong.append(f"{trial}: decoded to another second name, {instruction.text}")
        elif instruction.form is not trial.form or not all(equal(trial, name, instruction.fields[name]) for name in trial.fields):
            wrong.append(f"{trial}: decoded to {instruction.text}")
        try:
            again = encoded(target, text, trial.address)
        except Fault as fault:
            wrong.append(f"{trial}: {text} is refused: {fault}")
            continue
        chosen.add(again.form)
        if again.words != words:
            # rightly so where another form says the same in fewer words, or is the first of several that are written the same
            other = decoder.decode(again.words, trial.address)
            first = again.form is not trial.form and again.form.asm == trial.form.asm
            same = other is not None and (again.form.alias or plain(other.text) == plain(text))
            if not same or not (len(again.words) < len(words) or (first and len(again.words) == len(words))):
                wrong.append(f"{trial}: {text} gives {again.words}, not {words}")
    earlier = {form.asm: form for form in reversed(target.forms)}
    return wrong + [f"{form.asm} is never chosen" for form in rows if form not in chosen and earlier[form.asm] is form]


def wrong_ignored(tried: Iterable[Trial], decoder: Decoder) -> tuple[int, list[str]]:
    """How many trials have bits that the chip ignores, and those that are read differently when such a bit is 1; all at once,
    and each by itself."""
    count, wrong = 0, []
    for trial in tried:
        masks = trial.form.code.ignored
        bits = [tuple(mask & 1 << bit for mask in masks) for bit in range(max(masks).bit_length())]
        words = trial.encode()
        count += any(masks)
        for ones in [masks, *bits] if any(masks) else ():
            other = tuple(word | one for word, one in zip(words, ones, strict=True))
            found, again = decoder.decode(words, trial.address), decoder.decode(other, trial.address)
            if found is None or again is None or found.text != again.text:
                wrong.append(f"{trial}: {other} is read as {again and again.text}, not as {found and found.text}")
    return count, wrong


def equal(trial: Trial, name: str, found: int | str) -> bool:
    """Whether a decoded field is what was put in."""
    kind, value = trial.form.fields[name], trial.fields[name]
    bits = dict(kind.options) if isinstance(kind, Choice) else {}
    if isinstance(found, str):
        if isinstance(value, str):
            return bits.get(found) == bits[value]
        if isinstance(kind, NameList):
            return found == kind.spelling(value)
        return bits.get(found) == kind.store(value, trial.address, trial.form.size, trial.form.code.slots[name][0].word)
    # a number with and without sign may be the same bits
    wraps = 1 << kind.bits if isinstance(kind, Plain) and kind.role == "number" else 0
    return isinstance(value, int) and (found == value or (wraps > 0 and (found - value) % wraps == 0))


def plain(text: str) -> str:
    """A statement with its numbers in decimal."""
    return NUMBER.sub(lambda match: str(int(match[0], 0)), text)


def wrong_refusals(tried: Iterable[tuple[Trial, str]]) -> list[str]:
    """Values that are taken although they do not fit, or refused without saying what would."""
    wrong = []
    for trial, name in tried:
        try:
            words = trial.encode()
        except Misfit as misfit:
            if not any(text in misfit.text for text in ranges_of(trial, name)):
                wrong.append(f"{trial}: '{misfit.text}' does not say {' or '.join(ranges_of(trial, name))}")
        else:
            wrong.append(f"{trial}: gives {words}")
    return wrong


def ranges_of(trial: Trial, name: str) -> list[str]:
    """The range of a field as its refusals state it; a distance that reaches everything is refused for the address."""
    kind = numeric(trial.form.fields[name])
    if isinstance(kind, Relative):
        return [f"{kind.low}..+{kind.high}", f"0..0x{trial.target.top:X}"]
    if isinstance(kind, Page):
        (first, last), _ = kind.edges(trial.address, trial.form.size, trial.form.code.slots[name][0].word)
        return [f"0x{first:X}..0x{last:X}"]
    return [kind.range_text()]


def wrong_first_words(target: Target, codes: Iterable[tuple[int, ...]], decoder: Decoder) -> list[str]:
    """A first word is an opcode by itself, begins longer ones, or is no instruction; that is told from the opcodes, and
    again by decoding everything."""
    codes = list(codes)
    words = range(1 << target.word)
    opcode = {code[0] for code in codes if len(code) == 1}
    prefix = {code[0] for code in codes if len(code) > 1}
    seconds = range(min(len(words), 256))
    begins = {first for first in words if any(decoder.decode((first, second, *[0] * 8), 0) for second in seconds)}
    undefined = set(words) - begins
    wrong = [f"{word:02X} is an opcode and a prefix" for word in opcode & prefix]
    if len(opcode) + len(prefix) + len(undefined) != len(words):
        wrong.append(f"{len(opcode)} opcodes, {len(prefix)} prefixes and {len(undefined)} others are not {len(words)}")
    wrong += [f"{word:02X} is not decoded" for word in (opcode | prefix) - begins]
    return wrong + [f"{word:02X} is decoded but no opcode" for word in begins - opcode - prefix]


# The tables


@pytest.mark.parametrize(("name", "every"), BOTH)
def test_the_check_finds_nothing(name: str, every: bool) -> None:
    report = Report()
    target = load_target(name, every)
    assert len(target.forms) >= FEWEST_ROWS
    check_target(target, report)
    assert report.diagnostics == []
    assert target.name == name


@pytest.mark.parametrize(("name", "every"), BOTH)
def test_rows_have_time_flow_and_target(name: str, every: bool) -> None:
    target = load_target(name, every)
    assert len([form for form in target.forms if form.flow in ADDRESSED]) > 3
    assert wrong_rows(target) == []


@pytest.mark.parametrize(("name", "every"), BOTH)
def test_words_come_back(name: str, every: bool) -> None:
    target = load_target(name, every)
    tried = list(trials(target))
    assert len(tried) >= FEWEST_TRIALS
    assert {trial.form for trial in tried} == set(target.forms)
    assert wrong_returns(target, tried, Decoder(target)) == []


def test_bits_that_a_chip_ignores_are_read_as_either() -> None:
    targets = {which: load_target(*which) for which in BOTH}
    found = {which: wrong_ignored(trials(target), Decoder(target)) for which, target in targets.items()}
    assert {which: wrong for which, (_, wrong) in found.items() if wrong} == {}
    assert sum(count > 0 for (_, every), (count, _) in found.items() if not every) >= 2, "there are such chips"


@pytest.mark.parametrize(("name", "every"), BOTH)
def test_values_beyond_the_edges_are_refused(name: str, every: bool) -> None:
    tried = list(bad_trials(load_target(name, every)))
    assert len(tried) > 10
    assert wrong_refusals(tried) == []


@pytest.mark.parametrize(("name", "every"), BOTH)
def test_first_words_add_up(name: str, every: bool) -> None:
    target = load_target(name, every)
    codes = opcodes(target) | (undocumented_opcodes(target) if every else set())
    assert wrong_first_words(target, codes, Decoder(target)) == []


# The same questions to a table with something wrong


def toy(old: str = "", new: str = "") -> Target:
    assert not old or TABLE.count(old) == 1
    return read_target(Source("toy.yaml", TABLE.replace(old, new) if old else TABLE), Report())


def test_a_table_with_nothing_wrong() -> None:
    target = toy()
    tried = list(trials(target))
    assert len(tried) > 100
    assert wrong_rows(target) == []
    assert wrong_returns(target, tried, Decoder(target)) == []
    refused = list(bad_trials(target))
    assert len(refused) == 2 * 4 + 2 + 2
    assert wrong_refusals(refused) == []
    assert wrong_first_words(target, opcodes(target), Decoder(target)) == []


def test_missing_flow_and_time_are_noticed() -> None:
    assert wrong_rows(toy('cycles: 1, flow: next}\n  - {asm: "PUT', 'cycles: 1}\n  - {asm: "PUT')) == ["REST has no flow"]
    target = toy()
    del target.forms[0].places["cycles"]
    assert wrong_rows(target) == ["REST has no cycles"]


def test_missing_targets_are_noticed() -> None:
    target = toy()
    target.forms = (*target.forms[:3], replace(target.forms[3], target=None), replace(target.forms[4], target="x"))
    assert wrong_rows(target) == ["LEAP a is jump without a target", "HOP t goes to x, which is no address"]
    assert wrong_rows(toy("flow: branch", "flow: branch, to: none")) == []


class Changed(Decoder):
    """A decoder with a mistake: `change` turns what is decoded into something else."""

    def __init__(self, target: Target, change: Callable[[Instruction], Instruction | None]) -> None:
        super().__init__(target)
        self.change = change

    def decode(self, words: Sequence[int], address: int) -> Instruction | None:
        found = super().decode(words, address)
        return None if found is None else self.change(found)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda found: found, ""),
        (lambda found: None if found.form.asm == "REST" else found, "REST with {} at 0x800: (0,) are not decoded"),
        (lambda found: found._replace(text=found.text.replace(" U", " V")), "GROW V gives (97,), not (96,)"),
        (lambda found: found._replace(text=found.text.replace("REST", "RUST")), "RUST is refused: 'RUST' is no instruction"),
        (lambda found: found._replace(text=found.text.replace(",0x80", ",0x180")), "PUT V,0x180 is refused: 384"),
        (lambda found: found._replace(fields=dict.fromkeys(found.fields, "V")), "GROW r with {'r': 'W'} at 0x800: decoded to"),
        (lambda found: found._replace(form=replace(found.form)), "REST with {} at 0x800: decoded to REST"),
    ],
)
def test_a_wrong_decoder_is_noticed(change: Callable[[Instruction], Instruction | None], said: str) -> None:
    target = toy()
    wrong = wrong_returns(target, list(trials(target)), Changed(target, change))
    assert any(said in text for text in wrong) if said else wrong == []


def test_an_ignored_bit_that_is_read_is_noticed() -> None:
    target = toy('"00", cycles: 1', '"0000000-", cycles: 1')
    tried = list(trials(target))
    assert wrong_ignored(tried, Decoder(target)) == (1, [])

    class Strict(Decoder):
        def decode(self, words: Sequence[int], address: int) -> Instruction | None:
            return super().decode(words, address) if words[0] != 1 else None

    assert wrong_ignored(tried, Strict(target)) == (1, ["REST with {} at 0x800: (1,) is read as None, not as REST"] * 2)


def test_equal_codes_of_two_spellings_are_right() -> None:
    target = toy("U: 0", "U: 1")
    assert wrong_returns(target, list(trials(target)), Decoder(target)) == []


def test_a_row_that_is_never_chosen_is_noticed() -> None:
    hidden = '  - {asm: "PUT r,e", code: "010100rr <e>", r: cell, e: data, cycles: 2, flow: next}\n'
    target = read_target(Source("toy.yaml", TABLE + hidden), Report())
    assert wrong_returns(target, list(trials(target)), Decoder(target))[-1] == "PUT r,e is never chosen"


def test_a_second_name_without_a_first_is_noticed() -> None:
    target = toy('"00", cycles: 1', '"00", cycles: 1, alias: true')
    wrong = wrong_returns(target, list(trials(target)), Decoder(target))
    assert wrong == ["REST with {} at 0x800: (0,) are not decoded", "REST is never chosen"]


def test_a_value_that_is_taken_is_noticed() -> None:
    trial, name = next(iter(bad_trials(toy())))
    assert wrong_refusals([(trial._replace(numbers=(1,)), name)]) == [f"{trial}: gives (64, 1)"]
    assert "does not say 0x0..0xFFF" in wrong_refusals([(trial._replace(form=toy().forms[3]), "a")])[0]


def test_first_words_that_do_not_add_up_are_noticed() -> None:
    target = toy()
    codes = opcodes(target)
    assert wrong_first_words(target, codes - {(0xC0,)}, Decoder(target)) != []
    assert wrong_first_words(target, codes | {(0xC1,)}, Decoder(target)) != []
    assert wrong_first_words(target, codes | {(0xC0, 0x00)}, Decoder(target)) != []
