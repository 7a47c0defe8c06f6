"""Everything that can be said of a table: what is wrong with it (errors) and what is merely doubtful (warnings)."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from xasm.source.diagnostics import Diagnostic, Report, at
from xasm.source.files import Place
from xasm.target.book_check import book_faults
from xasm.target.bookvalues import Book
from xasm.target.check import WIDEST, check_target, claimed, line_text, opcodes
from xasm.target.decode import Decoder
from xasm.target.doubts import doubts, loose
from xasm.target.forms import FLOWS, Form
from xasm.target.kinds import Choice
from xasm.target.model import Target
from xasm.target.trials import Trial, lost, trials
from xasm.target.unlisted_check import unlisted_faults

# What keeps no form from being read, and what would spoil every trial all the same.
READABLE = frozenset(("table_symbol", "table_count", "table_overlap", "table_same_form"))
SPOILED = frozenset(("table_overlap", "table_same_form", "check_choice_field"))


@dataclass(frozen=True)
class Review:
    """What was looked at: rows, forms, opcodes, statements that went to words and back, book values; and how many of the
    first words begin an instruction, of how many (0 of 0 where words are too wide to look at each)."""

    rows: int
    forms: int
    opcodes: int
    statements: int
    values: int
    first: int
    words: int


def review(target: Target, report: Report, books: Sequence[Book] = ()) -> Review:
    """Adds all there is to say of a table, and of books with it, to the report."""
    looked: dict[str, int] = {}
    for diagnostic in findings(target, books, looked):
        report.add(diagnostic)
    more = (looked.get(key, 0) for key in ("forms", "opcodes", "statements", "values", "first", "words"))
    return Review(len(target.rows), *more)


def findings(target: Target, books: Sequence[Book] = (), looked: dict[str, int] | None = None) -> Iterator[Diagnostic]:
    """All there is to say of a table, and of books with it; `looked` is told how much was looked at."""
    looked = {} if looked is None else looked
    report = Report()
    check_target(target, report)
    readable = all(diagnostic.code in READABLE for diagnostic in report.diagnostics)
    for diagnostic in (*unsaid(target), *doubts(target), *(collisions(target) if readable else ())):
        report.add(diagnostic)
    yield from report.diagnostics
    if not readable or any(diagnostic.code in SPOILED for diagnostic in report.diagnostics):
        return
    first = first_words(target) if target.word <= WIDEST else {}
    looked |= {"forms": len(list(target.all_forms())), "opcodes": len(opcodes(target))}
    looked |= {"first": len(first), "words": 1 << target.word if first else 0}
    yield from unaccounted(target, first)
    yield from loose(target)
    for book in books:
        looked["values"] = looked.get("values", 0) + len(book.values)
        yield from (unlisted_faults if book.undocumented else book_faults)(target, book)
    hidden = any(form.undocumented for form in target.all_forms())
    for chip in (target, target.with_undocumented()) if hidden else (target,):
        tried = list(trials(chip))
        looked["statements"] = len(tried)
        yield from told(chip, tried)


def unsaid(target: Target) -> Iterator[Diagnostic]:
    """Rows without flow: what is taken then would be a guess."""
    for row in target.rows:
        if "flow" not in row.places:
            yield at(row.places[""], "check_no_flow", {"asm": row.asm}, hint=f"flow: next, or one of {', '.join(FLOWS[1:])}")


def collisions(target: Target) -> Iterator[Diagnostic]:
    """Choices that are written like a field of the same row, so that one is taken for the other."""
    for form in target.all_forms():
        for kind in form.fields.values():
            for spelling, _ in kind.options if isinstance(kind, Choice) else ():
                if spelling in form.fields:
                    values = {"choice": spelling, "kind": kind.name, "asm": form.asm}
                    yield at(form.places["asm"], "check_choice_field", values, hint=f"give the field '{spelling}' another letter")


def told(target: Target, tried: list[Trial]) -> Iterator[Diagnostic]:
    """What trials lose, the first of each sort at each place: what is wrong with one value mostly is with its neighbours."""
    seen: set[tuple[Place, str]] = set()
    for found in lost(target, tried, Decoder(target)):
        place = found.form.places["asm"]
        if (place, found.code) not in seen:
            seen.add((place, found.code))
            yield at(place, found.code, found.values)


def first_words(target: Target) -> dict[int, Form]:
    """Every word that begins an instruction, documented or not, with one that it begins."""
    found: dict[int, Form] = {}
    for form in target.all_forms():
        for code in claimed(form, 1):
            found.setdefault(code[0], form)
    return found


def unaccounted(target: Target, first: dict[int, Form]) -> Iterator[Diagnostic]:
    """First words that begin no instruction and are not said to, and the other way round."""
    if not first:
        return
    missing = [word for word in range(1 << target.word) if word not in first and word not in target.undefined]
    if missing:
        place = target.places.get("undefined") or target.places["forms"]
        parts = ranges([word for word in range(1 << target.word) if word not in first], target)
        hint = f"if so, the head says: undefined: {json.dumps(parts)}"
        yield at(place, "check_undefined", {"words": listed(ranges(missing, target))}, hint=hint, severity="warning")
    begun: dict[Form, list[int]] = {}
    for word in sorted(target.undefined & first.keys()):
        begun.setdefault(first[word], []).append(word)
    for form, words in begun.items():
        values = {"words": listed(ranges(words, target)), "asm": form.asm, "line": line_text(form, form)}
        yield at(target.places["undefined"], "check_defined", values)


def ranges(words: list[int], target: Target) -> list[str]:
    """Ascending words as the head has them: single ones, and ranges."""
    starts = [word for before, word in pairwise([-2, *words]) if word != before + 1]
    ends = [word for word, behind in pairwise([*words, -2]) if behind != word + 1]
    pairs = zip(starts, ends, strict=True)
    return [target.hex_word(one) if one == other else f"{target.hex_word(one)}..{target.hex_word(other)}" for one, other in pairs]


def listed(parts: list[str]) -> str:
    return f"{', '.join(parts[:-1])} or {parts[-1]}" if len(parts) > 1 else parts[0]
