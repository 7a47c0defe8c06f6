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

from tests.books import books
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
ORIGIN = re.compile(r"(?:from|of): (next|self|field|zero)\b")
OPTIONS = re.compile(r"(?:choice|list|values): +\{")
OPTION = re.compile(r"(?<=[{ ])(\"[^\"]+\"|[A-Za-z_0-9']+): (0x[0-9A-Fa-f]+|\d+)(?=[,}])")

Words = list[str]
Change = tuple[int, str] | None
Sort = Callable[[Words, random.Random], Change]


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


def code(line: str) -> re.Match[str]:
    """The code in the line of a row."""
    match = CODE.search(line)
    assert match is not None
    return match


def code_words(line: str) -> Iterator[tuple[int, str]]:
    """The literal words in the code of a row, each with where it begins."""
    match = code(line)
    for word in re.finditer(r"\S+", match[1]):
        if not word[0].startswith("<"):
            yield match.start(1) + word.start(), word[0]


# Each sort gives a line to change and what stands there then ("" takes the line out), or None where chance has found none.


def flipped_bit(lines: Words, chance: random.Random) -> Change:
    index = chance.choice(rows(lines))
    words = list(code_words(lines[index]))
    if not words:
        return None
    start, word = chance.choice(words)
    if not BITS.match(word):
        return index, put(lines[index], start, word, f"{int(word, 16) ^ 1 << chance.randrange(4 * len(word)):0{len(word)}X}")
    spot = chance.randrange(len(word))
    return (index, put(lines[index], start + spot, word[spot], "10"[int(word[spot])])) if word[spot] in "01" else None


def dropped_hole(lines: Words, chance: random.Random) -> Change:
    """A field left out of the code, or one bit of it typed as a fixed one."""
    index = chance.choice(rows(lines))
    line = lines[index]
    match = code(line)
    holes = [(match.start(1) + hole.start(), hole[0], "") for hole in HOLE.finditer(match[1])]
    letters = [(start + spot, word[spot], chance.choice("01-")) for start, word in code_words(line) for spot in range(len(word))]
    found = chance.choice([holes, [letter for letter in letters if letter[1].islower()]])
    return (index, put(line, *chance.choice(found))) if found else None


def swapped_width(lines: Words, chance: random.Random) -> Change:
    kinds = [(index, match) for index, match in enumerate(map(KIND.match, lines)) if match]
    if not kinds:
        return None
    index, match = chance.choice(kinds)
    bits = int(match[3])
    other = chance.choice([bits - 1, bits + 1, bits * 2, bits // 2])
    return (index, put(lines[index], match.start(3), match[3], str(other))) if other else None


def repeated_row(lines: Words, chance: random.Random) -> Change:
    index = chance.choice(rows(lines))
    return index, f"{lines[index]}\n{lines[index]}"


def row_left_out(lines: Words, chance: random.Random) -> Change:
    return chance.choice(rows(lines)), ""


def wrong_count(lines: Words, chance: random.Random) -> Change:
    index = next(index for index, line in enumerate(lines) if line.startswith("count:"))
    match = chance.choice(list(re.finditer(r"\d+", lines[index].partition("}")[0])))
    return index, put(lines[index], match.start(), match[0], str(int(match[0]) + chance.choice([-1, 1, 10])))


def another_time(lines: Words, chance: random.Random) -> Change:
    index = chance.choice(rows(lines))
    match = chance.choice(list(re.finditer(r"(?:cycles|taken|cross): +(\d+)", lines[index])))
    return index, put(lines[index], match.start(1), match[1], str(max(0, int(match[1]) + chance.choice([-1, 1, 2]))))


def another_kind(lines: Words, chance: random.Random) -> Change:
    """Kinds that say the same under two names are the same here."""
    found = [(index, match) for index in rows(lines) for match in FIELD.finditer(lines[index]) if match[1] not in NOT_FIELDS]
    said = {match[1]: match[2].strip() for match in (re.match(r"  ([a-z_0-9]+): +(\{[^#]*\})", line) for line in lines) if match}
    if not found:
        return None
    index, match = chance.choice(found)
    new = chance.choice(sorted({other[2] for _, other in found}))
    return (index, put(lines[index], match.start(2), match[2], new)) if said.get(new, new) != said.get(match[2], match[2]) else None


def another_letter(lines: Words, chance: random.Random) -> Change:
    """In the mnemonic, or in the operands a capital letter or a sign."""
    index = chance.choice(rows(lines))
    line = lines[index]
    start = line.index('"') + 1
    spot = chance.randrange(start, line.index('"', start))
    if line[spot].isupper():
        return index, put(line, spot, line[spot], chance.choice("ABCDHLMXZ"))
    return (index, put(line, spot, line[spot], "")) if line[spot] in "#@()[]+<>*" else None


def swapped_fields(lines: Words, chance: random.Random) -> Change:
    """Two fields in each other's place in the code."""
    index = chance.choice(rows(lines))
    match = code(lines[index])
    letters = sorted(set(re.findall("[a-z]", match[1])))
    if len(letters) < 2:
        return None
    one, other = chance.sample(letters, 2)
    return index, put(lines[index], match.start(1), match[1], match[1].translate(str.maketrans(one + other, other + one)))


def another_option(lines: Words, chance: random.Random) -> Change:
    """A choice, a name of a list or a value with other bits."""
    kinds = [line.startswith("kinds:") for line in lines].index(True) if "kinds:" in lines else len(lines)
    able = [index for index in range(kinds, len(lines)) if OPTIONS.search(lines[index])]
    if not able:
        return None
    index = chance.choice(able)
    begin = OPTIONS.search(lines[index])
    assert begin is not None
    options = list(OPTION.finditer(lines[index].partition("#")[0], begin.end()))
    options = [match for match in options if not match[1].islower()]
    if not options:
        return None
    match = chance.choice(options)
    bit = 1 << chance.randrange(max(1, int(match[2], 0).bit_length()))
    return index, put(lines[index], match.start(2), match[2], str(int(match[2], 0) ^ bit))


def another_origin(lines: Words, chance: random.Random) -> Change:
    able = [(index, match) for index, match in enumerate(map(ORIGIN.search, lines)) if match]
    if not able:
        return None
    index, match = chance.choice(able)
    return index, put(lines[index], match.start(1), match[1], chance.choice(("next", "self", "field", "zero")))


def another_order(lines: Words, chance: random.Random) -> Change:
    index = next((index for index, line in enumerate(lines) if line.startswith("order:")), -1)
    match = re.search("little|big", lines[index]) if index >= 0 else None
    return (index, put(lines[index], match.start(), match[0], "big" if match[0] == "little" else "little")) if match else None


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
        for _ in range(MOST_TRIED * per):
            change = make(lines, chance)
            if change is None or change[1] in seen[change[0]]:
                continue
            index, after = change
            seen[index].add(after)
            new = [*lines[:index], *([after] if after else []), *lines[index + 1 :]]
            yield Mistake(sort, index + 1, lines[index], after, "\n".join(new))
            found += 1
            if found == per:
                break


def said(name: str, text: str) -> Iterator[Diagnostic]:
    """What is said of a text of a table, the first things first: whoever asks may stop listening."""
    path = find_table(name)
    try:
        target = read_target(Source(path.name, text), Report(), Bases(path))
    except SourceErrors as errors:
        yield from errors.diagnostics
        return
    yield from findings(target, books(name))


def usual(name: str) -> set[tuple[str, str]]:
    """What is said of the table as it is: warnings, if any."""
    return {(one.code, one.message) for one in findings(load_target(name), books(name))}


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
