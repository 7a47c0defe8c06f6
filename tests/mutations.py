"""How much of what can be mistyped in a table the checker sees: `python -m tests.mutations [--per N] [NAME ...]`.

For each shipped table N single mistakes of each sort are made in its text by a seeded script, as a person might type them, and
each wrong table is checked with its book values, as `xasm target check --book` does. Printed are the share that is noticed and
all that is not. What book values do not tell (flow, titles, notes, conventions) is not tried.
"""

from __future__ import annotations

import argparse
import os
import random
import re
from collections import Counter
from collections.abc import Callable, Iterator
from typing import NamedTuple

from tests.books import book
from xasm.source.diagnostics import Diagnostic, Report, SourceErrors
from xasm.source.files import Source
from xasm.target.finding import Bases, find_table, load_target, table_paths, table_text
from xasm.target.loader import read_target
from xasm.target.review import findings

PER = 25  # mistakes of each sort in each table
MOST_TRIED = 20  # changes tried for each: a small table has not so many
ROW = re.compile(r'^\s*- \{asm: "')
CODE = re.compile(r'code: "([^"]*)"')
HOLE = re.compile(r" ?<[a-z][a-z0-9]*>")
BITS = re.compile(r"[01a-z-]{4,}\Z")
KIND = re.compile(r"^  ([a-z_0-9]+): +\{((?:number|unsigned|signed|address|relative|page): (\d+))")
FIELD = re.compile(r"(?<=[ {])([a-z][a-z0-9]*): ([a-z_][a-z_0-9]*)(?=[,}])")
NOT_FIELDS = ("flow", "to", "alias", "undocumented", "order", "from", "of", "space")
OPTION = re.compile(r"(?<=[{ ])(\"[^\"]+\"|[A-Za-z_0-9']+): (0x[0-9A-Fa-f]+|\d+)(?=[,}])")

Words = list[str]
Sort = Callable[[Words, random.Random], Iterator[tuple[int, str]]]


class Mistake(NamedTuple):
    """A wrong table: the sort of the mistake, the number of the line, the line before and after, the whole text."""

    sort: str
    line: int
    before: str
    after: str
    text: str


def rows(lines: Words) -> list[int]:
    """The lines with a row or a mode."""
    return [index for index, line in enumerate(lines) if ROW.match(line) and CODE.search(line)]


def code_words(line: str) -> Iterator[tuple[int, str]]:
    """The literal words in the code of a row, each with where it begins."""
    match = CODE.search(line)
    for word in re.finditer(r"\S+", match[1]) if match else ():
        if not word[0].startswith("<"):
            yield match.start(1) + word.start(), word[0]  # type: ignore[union-attr]


# Each sort yields, again and again, a line to change and what stands there then ("" takes the line out).


def flipped_bit(lines: Words, chance: random.Random) -> Iterator[tuple[int, str]]:
    while True:
        index = chance.choice(rows(lines))
        words = list(code_words(lines[index]))
        if not words:
            continue
        start, word = chance.choice(words)
        if BITS.match(word):
            spots = [spot for spot, letter in enumerate(word) if letter in "01"]
            if not spots:
                continue
            spot = chance.choice(spots)
            new = word[:spot] + ("1" if word[spot] == "0" else "0") + word[spot + 1 :]
        else:
            new = f"{int(word, 16) ^ 1 << chance.randrange(4 * len(word)):0{len(word)}X}"
        yield index, put(lines[index], start, word, new)


def dropped_hole(lines: Words, chance: random.Random) -> Iterator[tuple[int, str]]:
    """A field left out of the code, or one bit of it typed as a fixed one."""
    while True:
        index = chance.choice(rows(lines))
        line = lines[index]
        match = CODE.search(line)
        assert match is not None
        holes = list(HOLE.finditer(match[1]))
        letters = [(start + spot, word[spot]) for start, word in code_words(line) if BITS.match(word) for spot in range(len(word))]
        letters = [(start, letter) for start, letter in letters if letter.isalpha()]
        if holes and chance.random() < 0.5:
            hole = chance.choice(holes)
            yield index, put(line, match.start(1) + hole.start(), hole[0], "")
        elif letters:
            start, letter = chance.choice(letters)
            yield index, put(line, start, letter, chance.choice("01-"))


def swapped_width(lines: Words, chance: random.Random) -> Iterator[tuple[int, str]]:
    kinds = [index for index, line in enumerate(lines) if KIND.match(line)]
    while kinds:
        index = chance.choice(kinds)
        match = KIND.match(lines[index])
        assert match is not None
        bits = int(match[3])
        other = chance.choice([bits - 1, bits + 1, bits * 2, bits // 2])
        if other > 0 and other != bits:
            yield index, put(lines[index], match.start(3), match[3], str(other))


def repeated_row(lines: Words, chance: random.Random) -> Iterator[tuple[int, str]]:
    while True:
        index = chance.choice(rows(lines))
        yield index, f"{lines[index]}\n{lines[index]}"


def row_left_out(lines: Words, chance: random.Random) -> Iterator[tuple[int, str]]:
    while True:
        yield chance.choice(rows(lines)), ""


def wrong_count(lines: Words, chance: random.Random) -> Iterator[tuple[int, str]]:
    index = next(index for index, line in enumerate(lines) if line.startswith("count:"))
    for match in re.finditer(r"\d+", lines[index].partition("}")[0]):
        for step in (-1, 1, 10):
            yield index, put(lines[index], match.start(), match[0], str(int(match[0]) + step))


def another_time(lines: Words, chance: random.Random) -> Iterator[tuple[int, str]]:
    while True:
        index = chance.choice(rows(lines))
        match = chance.choice(list(re.finditer(r"(?:cycles|taken|cross): +(\d+)", lines[index])) or [None])
        if match:
            yield index, put(lines[index], match.start(1), match[1], str(max(0, int(match[1]) + chance.choice([-1, 1, 2]))))


def another_kind(lines: Words, chance: random.Random) -> Iterator[tuple[int, str]]:
    """Kinds that say the same under two names are the same here."""
    names = sorted({match[2] for index in rows(lines) for match in FIELD.finditer(lines[index]) if match[1] not in NOT_FIELDS})
    said = {match[1]: match[2].strip() for match in (re.match(r"  ([a-z_0-9]+): +(\{[^#]*\})", line) for line in lines) if match}
    while len(names) > 1:
        index = chance.choice(rows(lines))
        fields = [match for match in FIELD.finditer(lines[index]) if match[1] not in NOT_FIELDS]
        if fields:
            match = chance.choice(fields)
            new = chance.choice(names)
            if said.get(new, new) != said.get(match[2], match[2]):
                yield index, put(lines[index], match.start(2), match[2], new)


def another_letter(lines: Words, chance: random.Random) -> Iterator[tuple[int, str]]:
    """In the mnemonic, or in the operands a capital letter or a sign."""
    while True:
        index = chance.choice(rows(lines))
        line = lines[index]
        start = line.index('"') + 1
        asm = line[start : line.index('"', start)]
        spots = [spot for spot, letter in enumerate(asm) if letter.isupper() or letter in "#@()[]+<>*"]
        if spots:
            spot = chance.choice(spots)
            yield index, put(line, start + spot, asm[spot], chance.choice("ABCDHLMXZ") if asm[spot].isupper() else "")


def swapped_fields(lines: Words, chance: random.Random) -> Iterator[tuple[int, str]]:
    """Two fields in each other's place in the code."""
    able = [index for index in rows(lines) if len(set(re.findall("[a-z]", CODE.search(lines[index])[1]))) > 1]  # type: ignore[index]
    while able:
        index = chance.choice(able)
        match = CODE.search(lines[index])
        assert match is not None
        one, other = chance.sample(sorted(set(re.findall("[a-z]", match[1]))), 2)
        yield index, put(lines[index], match.start(1), match[1], match[1].translate(str.maketrans(one + other, other + one)))


def another_option(lines: Words, chance: random.Random) -> Iterator[tuple[int, str]]:
    """A choice, a name of a list or a value with other bits."""
    end = next(index for index, line in enumerate(lines) if line.startswith("forms:"))
    begin = next((index for index, line in enumerate(lines) if line.startswith("kinds:")), end)
    able = [index for index in range(begin, end) if re.search(r"choice: |list: |values: ", lines[index].partition("#")[0])]
    while able:
        index = chance.choice(able)
        options = list(OPTION.finditer(lines[index].partition("#")[0], re.search(r"choice: |list: |values: ", lines[index]).end()))  # type: ignore[union-attr]
        options = [match for match in options if match[1] not in ("unsigned", "number", "address", "bits", "min", "max")]
        if options:
            match = chance.choice(options)
            bit = 1 << chance.randrange(max(1, int(match[2], 0).bit_length()))
            yield index, put(lines[index], match.start(2), match[2], str(int(match[2], 0) ^ bit))


def another_origin(lines: Words, chance: random.Random) -> Iterator[tuple[int, str]]:
    able = [index for index, line in enumerate(lines) if re.search(r"(from|of): (next|self|field|zero)\b", line)]
    while able:
        index = chance.choice(able)
        match = re.search(r"(?:from|of): (next|self|field|zero)\b", lines[index])
        assert match is not None
        other = chance.choice([word for word in ("next", "self", "field", "zero") if word != match[1]])
        yield index, put(lines[index], match.start(1), match[1], other)


def another_order(lines: Words, chance: random.Random) -> Iterator[tuple[int, str]]:
    for index, line in enumerate(lines):
        match = re.match(r"order: (little|big)", line)
        if match:
            yield index, put(line, match.start(1), match[1], "big" if match[1] == "little" else "little")


def put(line: str, start: int, old: str, new: str) -> str:
    assert line[start : start + len(old)] == old
    return line[:start] + new + line[start + len(old) :]


SORTS: dict[str, Sort] = {
    "a flipped bit": flipped_bit,
    "a dropped hole": dropped_hole,
    "a swapped width": swapped_width,
    "a repeated row": repeated_row,
    "a row left out": row_left_out,
    "a wrong count": wrong_count,
    "another time": another_time,
    "another kind": another_kind,
    "another letter": another_letter,
    "swapped fields": swapped_fields,
    "other bits of a choice": another_option,
    "another origin": another_origin,
    "another order": another_order,
}


def mistakes(name: str, per: int, sorts: dict[str, Sort] = SORTS) -> Iterator[Mistake]:
    """Different mistakes of each sort in a table, at most `per` of each."""
    lines = list(table_text(find_table(name)).lines)
    for sort, make in sorts.items():
        chance = random.Random(f"{name} {sort}")
        seen = {index: {lines[index]} for index in range(len(lines))}
        found = 0
        for tried, (index, after) in enumerate(make(lines, chance)):
            if after not in seen[index]:
                seen[index].add(after)
                found += 1
                new = [*lines[:index], *([after] if after else []), *lines[index + 1 :]]
                yield Mistake(sort, index + 1, lines[index], after, "\n".join(new))
            if found == per or tried > MOST_TRIED * per:
                break


def said(name: str, text: str) -> Iterator[Diagnostic]:
    """What is said of a text of a table, the first things first: whoever asks may stop listening."""
    path = find_table(name)
    try:
        target = read_target(Source(path.name, text), Report(), Bases(path))
    except SourceErrors as errors:
        yield from errors.diagnostics
        return
    yield from findings(target, book(name))


def usual(name: str) -> set[tuple[str, str]]:
    """What is said of the table as it is: warnings, if any."""
    return {(one.code, one.message) for one in findings(load_target(name), book(name))}


def noticed(mistake: Mistake, name: str, known: set[tuple[str, str]]) -> Diagnostic | None:
    """The first thing that is said of a wrong table and not of the right one."""
    return next((one for one in said(name, mistake.text) if (one.code, one.message) not in known), None)


def main() -> None:
    options = argparse.ArgumentParser(prog="python -m tests.mutations", description=__doc__)
    options.add_argument("names", nargs="*", metavar="NAME", help="tables (else all)")
    options.add_argument("--per", type=int, default=PER, metavar="N", help=f"mistakes of each sort in each table (else {PER})")
    chosen = options.parse_args()
    os.environ["XDG_CACHE_HOME"] = os.devnull  # nothing is to be remembered of so many tables
    made: Counter[str] = Counter()
    seen: Counter[str] = Counter()
    for name in chosen.names or table_paths():
        known = usual(name)
        total = caught = 0
        for mistake in mistakes(name, chosen.per):
            total += 1
            made[mistake.sort] += 1
            if noticed(mistake, name, known) is not None:
                caught += 1
                seen[mistake.sort] += 1
            else:
                print(f"  {name}.yaml:{mistake.line}: {mistake.sort} is not noticed")
                print(f"    - {mistake.before.strip()}\n    + {mistake.after.strip()}")
        print(f"{name:10} {caught:5} of {total:5} {caught / total:8.2%}", flush=True)
    print()
    for sort in SORTS:
        if made[sort]:
            print(f"{sort:24} {seen[sort]:6} of {made[sort]:6} {seen[sort] / made[sort]:8.2%}")
    print(f"{'all':24} {seen.total():6} of {made.total():6} {seen.total() / made.total():8.2%}")


if __name__ == "__main__":
    main()
