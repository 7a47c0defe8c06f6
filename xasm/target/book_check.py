"""A table held against book values: every value, and what of the table no value has met."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from xasm.source.diagnostics import Diagnostic, Fault, at, where
from xasm.source.files import Place
from xasm.target.bookvalues import Book, BookValue
from xasm.target.check import mnemonics, opcodes
from xasm.target.decode import Decoder
from xasm.target.forms import Form, Mode, Row
from xasm.target.kinds import Choice, Kind, NameList
from xasm.target.model import Target
from xasm.target.statements import Encoded, Spellings, encoded, spellings

Way = tuple[str, str, tuple[str, ...]]  # asm, code and kinds of a mode
ELSEWHERE = 0x300  # where values without an address are tried once more
Made = Mapping[int, Encoded | Fault]  # what the table makes of every value's statement, by the number of its line


def book_faults(target: Target, book: Book) -> Iterator[Diagnostic]:
    """What the table has otherwise than the book (errors), and what the book does not say (warnings)."""
    made = assembled(target, book.values)
    yield from wrong_words(target, book, made)
    yield from wrong_decoding(target, book, made)
    yield from wrong_cycles(target, book, made)
    yield from wrong_places(target, book, made)
    yield from wrong_counts(target, book)
    yield from without_source(book)
    yield from unmet(target, made)


def assembled(target: Target, values: Iterable[BookValue]) -> dict[int, Encoded | Fault]:
    found: dict[int, Encoded | Fault] = {}
    for value in values:
        try:
            found[value.line] = encoded(target, value.statement, value.address)
        except Fault as fault:
            found[value.line] = fault
    return found


def wrong_words(target: Target, book: Book, made: Made) -> Iterator[Diagnostic]:
    """Statements that the table refuses, or makes other words of."""
    for value in book.values:
        one = made[value.line]
        if isinstance(one, Fault):
            length = len(value.statement)
            yield at(book.place(value, "statement"), "book_refused", {"why": one.text}, 0, length, one.hint)
        elif one.words != value.words:
            said = {"book": book.written(value.words, target), "table": book.written(one.words, target)}
            yield at(book.place(value, "words"), "book_words", said, 0, len(said["book"]), stands(one.form))


def wrong_decoding(target: Target, book: Book, made: Made) -> Iterator[Diagnostic]:
    """Words that are read otherwise. A second name may be longer than the instruction whose code it takes; its further words
    are none of the code."""
    decoder = Decoder(target)
    for value in book.values:
        one = made[value.line]
        alias = isinstance(one, Encoded) and one.form.alias
        instruction = decoder.decode(value.words, value.address)
        words = book.written(value.words, target)
        place = book.place(value, "words")
        if instruction is None or (instruction.form.size != len(value.words) and not alias):
            yield at(place, "book_not_read", {"words": words}, 0, len(words))
            continue
        try:
            again = encoded(target, instruction.text, value.address).words
        except Fault:
            again = ()
        if again != value.words[: instruction.form.size]:
            said = {"words": words, "text": instruction.text, "again": book.written(again, target) or "nothing"}
            yield at(place, "book_read_again", said, 0, len(words), stands(instruction.form))


def wrong_cycles(target: Target, book: Book, made: Made) -> Iterator[Diagnostic]:
    """Times of the instruction that the words are read as, and of a second name of it where the statement is one."""
    decoder = Decoder(target)
    for value in book.values:
        instruction = decoder.decode(value.words, value.address)
        one = made[value.line]
        forms = [instruction.form] if instruction is not None else []
        forms += [one.form] if isinstance(one, Encoded) and one.words == value.words and one.form not in forms else []
        for form in forms if value.cycles != "?" else ():
            table = form.cycles_text(value.words)
            if table != joined(value.cycles):
                said = {"book": value.cycles, "table": table}
                yield at(book.place(value, "cycles"), "book_cycles", said, 0, len(value.cycles), stands(form))


def wrong_places(target: Target, book: Book, made: Made) -> Iterator[Diagnostic]:
    """Statements that stand at no particular address in the book, and elsewhere are made as other words."""
    for value in book.values if target.top > ELSEWHERE else ():
        if value.placed or isinstance(made[value.line], Fault):
            continue
        try:
            again = encoded(target, value.statement, ELSEWHERE)
        except Fault as fault:
            why = fault.text
        else:
            if again.words == made[value.line].words:  # type: ignore[union-attr]
                continue
            why = book.written(again.words, target)
        said = {"address": target.hex_address(ELSEWHERE), "why": why}
        hint = "if the words depend on the place, the line begins with it, as in 0200: ..."
        yield at(book.place(value, "words"), "book_placed", said, hint=hint)


def joined(cycles: str) -> str:
    """The same time either way is one time: `10/10` is `10`."""
    either, plus, cross = cycles.partition("+")
    less, _, more = either.partition("/")
    return (less if less == more else either) + plus + cross


def stands(form: Form) -> str:
    """Where the row of a form stands."""
    return f"{form.asm} stands at {where(form.places['asm'])}"


def wrong_counts(target: Target, book: Book) -> Iterator[Diagnostic]:
    counted = {"mnemonics": len(mnemonics(target)), "opcodes": len(opcodes(target))} if book.counts else {}
    for what, told in book.counts.items():
        if told != counted[what]:
            yield at(book.places[what], "book_count", {"told": told, "what": what, "found": counted[what]})


def without_source(book: Book) -> Iterator[Diagnostic]:
    """The first value that lies under no `source:` line, in place of all such."""
    for value in book.values:
        if not value.source:
            yield at(book.place(value, "words"), "book_no_source", {}, severity="warning")
            return


def unmet(target: Target, made: Made) -> Iterator[Diagnostic]:
    """Rows, modes of operands, and spellings of choices and names of lists in them, that no value has.

    A row written like an earlier one, with fields of the same kinds, only reads a further code of the same instruction: what
    meets the earlier one is enough.
    A mode must be met in some row, whatever the kind is called that has it; not where it is only a second way to write.
    Of several spellings with the same bits the first must be met in every row or mode, the others somewhere.
    """
    present = [one for one in made.values() if isinstance(one, Encoded)]
    spelled: set[tuple[Row | Way, str, str | None]] = set()
    somewhere: set[tuple[str, str | None]] = set()
    for form, found in _spelled(target, present):
        spelled.update((owner(form, name), name, spelling) for name, spelling in found)
        somewhere.update((form.fields[name].name, spelling) for name, spelling in found)
    met: set[Row | Way] = {one.form.row or one.form for one in present}
    met.update(way(mode) for one in present for mode in one.form.chosen)
    told: set[str] = set()
    for part, text, place, fields in parts(target):
        for missing in [text] if part not in met else _missing(part, text, fields, spelled, somewhere):
            if missing not in told:
                told.add(missing)
                yield at(place, "book_unmet", {"what": missing}, severity="warning")


def _spelled(target: Target, present: Iterable[Encoded]) -> Iterator[tuple[Form, Spellings]]:
    """The forms of statements, each with how its choices are spelled."""
    for one in present:
        if any(isinstance(kind, (Choice, NameList)) for kind in one.form.fields.values()):
            yield one.form, spellings(target, one)


def parts(target: Target) -> Iterator[tuple[Row | Way, str, Place, dict[str, Kind]]]:
    """What values must meet, rows and modes: with the words that name it, where it stands, and its fields."""
    earlier: dict[tuple[object, ...], Row] = {}
    own = target.places["name"][0]
    for row in target.rows:
        if row.places[""][0] is not own:  # of a table that this one extends, which has a book of its own
            continue
        written = (row.asm, *((name, kind.name) for name, kind in row.fields.items()))
        if not row.undocumented and earlier.setdefault(written, row) is row:
            yield row, row.asm, row.places["asm"], row.fields
    for modes in target.modes.values():
        for mode in modes.modes:
            if not (mode.alias or mode.undocumented):
                yield way(mode), f"{modes.name} {mode.asm}", mode.places["asm"], mode.fields


def _missing(
    part: Row | Way,
    text: str,
    fields: Mapping[str, Kind],
    spelled: set[tuple[Row | Way, str, str | None]],
    somewhere: set[tuple[str, str | None]],
) -> Iterator[str]:
    """The spellings in a row or mode that no value has."""
    for name, kind in fields.items():
        missing = []
        for spelling, bits in kind.options if isinstance(kind, (Choice, NameList)) else ():
            if isinstance(kind, Choice) and spelling != kind.spelling(bits):
                if (kind.name, spelling) not in somewhere:
                    yield f"{kind.name} {spelling}"
            elif (part, name, spelling) not in spelled:
                missing.append(spelling)
        if missing:
            yield f"{text} with {name} = {', '.join(missing)}"


def way(mode: Mode) -> Way:
    """What makes a mode the same in several kinds."""
    return mode.asm, mode.code_text, tuple(kind.name for kind in mode.fields.values())


def owner(form: Form, name: str) -> Row | Way:
    """Whose field a field of a form is: a mode's or the row's."""
    mode = next((mode for mode in form.chosen if name in mode.fields), None)
    return way(mode) if mode else form.row or form
