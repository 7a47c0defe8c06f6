"""Every table held against itself: nothing is wrong with it, and what it encodes it decodes to the same."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace

import pytest

from tests.test_table_mistakes import TABLE
from xasm.source.diagnostics import Report
from xasm.source.files import Source
from xasm.target.check import check_target, opcodes, undocumented_opcodes
from xasm.target.decode import Decoder, Instruction
from xasm.target.finding import load_target, table_paths
from xasm.target.kinds import Misfit, Page, Relative, numeric
from xasm.target.loader import read_target
from xasm.target.model import Target
from xasm.target.trials import Trial, lost, places, trials, written

TABLES = list(table_paths())
HIDING = [name for name, path in table_paths().items() if "undocumented: true" in path.read_text("ascii")]
# Each table, and again with what its maker's book does not list.
BOTH = [*((name, False) for name in TABLES), *((name, True) for name in HIDING)]
FEWEST_ROWS = 40  # of one table
FEWEST_TRIALS = 200
ADDRESSED = ("jump", "branch", "call", "call_if")


def bad_trials(target: Target) -> Iterator[tuple[Trial, str]]:
    """Every form with one value just beyond what its field takes, and that field."""
    for form in target.forms:
        address = places(form, target)[0]
        for spelled, names, variant in written(form, target):
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
    """What is lost on the way from words to text to words."""
    return [found.text for found in lost(target, tried, decoder)]


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
        (lambda found: None if found.form.asm == "REST" else found, "'REST' is made as 00, and that is read as no instruction"),
        (lambda found: found._replace(text=found.text.replace(" U", " V")), "which is read as 'GROW V'; that is made as 61"),
        (
            lambda found: found._replace(text=found.text.replace("REST", "RUST")),
            "which is read as 'RUST'; that is refused: 'RUST' is no instruction",
        ),
        (lambda found: found._replace(text=found.text.replace(",0x80", ",0x180")), "which is read as 'PUT V,0x180'; that is refused: 384"),
        (lambda found: found._replace(fields=dict.fromkeys(found.fields, "V")), "'GROW W' is made as 62, and that is read as"),
        (lambda found: found._replace(form=replace(found.form)), "'REST' is made as 00, and that is read as 'REST'"),
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

    assert wrong_ignored(tried, Strict(target)) == (1, ["REST: (1,) is read as None, not as REST"] * 2)


def test_equal_codes_of_two_spellings_are_right() -> None:
    target = toy("U: 0", "U: 1")
    assert wrong_returns(target, list(trials(target)), Decoder(target)) == []


def test_a_row_that_is_never_chosen_is_noticed() -> None:
    hidden = '  - {asm: "PUT r,e", code: "010100rr <e>", r: cell, e: data, cycles: 2, flow: next}\n'
    target = read_target(Source("toy.yaml", TABLE + hidden), Report())
    assert (
        wrong_returns(target, list(trials(target)), Decoder(target))[-1]
        == "'PUT r,e' is never chosen: whatever is written for it, another row takes it"
    )


def test_a_second_name_without_a_first_is_noticed() -> None:
    target = toy('"00", cycles: 1', '"00", cycles: 1, alias: true')
    wrong = wrong_returns(target, list(trials(target)), Decoder(target))
    assert wrong == [
        "'REST' is made as 00, and that is read as no instruction",
        "'REST' is never chosen: whatever is written for it, another row takes it",
    ]


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
