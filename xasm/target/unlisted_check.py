"""What a table has that its maker's book does not list, held against values of such instructions."""

from __future__ import annotations

from collections.abc import Iterator

from xasm.source.diagnostics import Diagnostic, Fault, at
from xasm.target.book_check import stands, without_source, wrong_cycles
from xasm.target.bookvalues import UNLISTED, Book
from xasm.target.check import opcode_words, undocumented_opcodes
from xasm.target.decode import Decoder
from xasm.target.model import Target
from xasm.target.statements import Encoded, encoded

NEVER = "-"  # the time of an instruction that never ends


def unlisted_faults(plain: Target, book: Book) -> Iterator[Diagnostic]:
    """What the table has otherwise than a file of undocumented instructions (errors), and what that does not say (warnings).
    `plain` is the chip without them."""
    every = plain.with_undocumented()
    yield from wrong_statements(every, book)
    yield from wrong_readings(every, book)
    yield from wrong_times(every, book)
    yield from unlisted_counts(every, book)
    yield from there_unasked(plain, book)
    yield from without_source(book)
    yield from unmet_codes(every, book)


def wrong_statements(every: Target, book: Book) -> Iterator[Diagnostic]:
    """Statements that become other words than those of their line. That of an `alias` line becomes those of the book where it
    is in the book, else those of another line: the lowest."""
    main = {value.words for value in book.values if not value.alias}
    for value in book.values:
        try:
            made = encoded(every, value.statement, value.address)
        except Fault as fault:
            yield at(book.place(value, "statement"), "book_refused", {"why": fault.text}, 0, len(value.statement), fault.hint)
            continue
        lower = made.words in main and made.words < value.words
        right = made.words != value.words and (lower or not made.form.undocumented) if value.alias else made.words == value.words
        if not right:
            said = {"book": book.written(value.words, every), "table": book.written(made.words, every)}
            code = "book_alias" if value.alias else "book_words"
            yield at(book.place(value, "words"), code, said, 0, len(said["book"]), stands(made.form))


def wrong_readings(every: Target, book: Book) -> Iterator[Diagnostic]:
    """Words that are not read as the statement of their line, or that the book lists."""
    decoder = Decoder(every)
    for value in book.values:
        said = {"words": book.written(value.words, every)}
        place = book.place(value, "words")
        instruction = decoder.decode(value.words, value.address)
        if instruction is None or instruction.form.size != len(value.words):
            yield at(place, "book_not_read", said, 0, len(said["words"]))
            continue
        said["text"] = instruction.text
        if not instruction.form.undocumented:
            yield at(place, "book_listed", said, 0, len(said["words"]), stands(instruction.form))
        if same(every, instruction.text, value.statement, value.address):
            continue
        yield at(place, "book_read_as", said, 0, len(said["words"]), stands(instruction.form))


def same(target: Target, one: str, other: str, address: int) -> bool:
    """Whether two statements become the same words by the same form."""
    try:
        first, second = encoded(target, one, address), encoded(target, other, address)
    except Fault:
        return False
    return (first.words, first.form) == (second.words, second.form)


def wrong_times(every: Target, book: Book) -> Iterator[Diagnostic]:
    """What never ends halts and counts 0 in the table; the others are as in a book."""
    decoder = Decoder(every)
    made: dict[int, Encoded | Fault] = {}
    for value in book.values:
        made[value.line] = Fault("no_value", what=value.statement)  # second names are in no such file
        instruction = decoder.decode(value.words, value.address)
        if instruction is not None and (value.cycles == NEVER) != (instruction.form.cycles == 0 and instruction.form.flow == "halt"):
            said = {"book": value.cycles, "table": instruction.form.cycles_text(value.words)}
            yield at(book.place(value, "cycles"), "book_cycles", said, 0, len(value.cycles), stands(instruction.form))
    ending = tuple(value for value in book.values if value.cycles != NEVER)
    yield from wrong_cycles(every, Book(book.text, ending), made)


def unlisted_counts(every: Target, book: Book) -> Iterator[Diagnostic]:
    told, found = book.counts.get(UNLISTED), len(undocumented_opcodes(every))
    if told is not None and told != found:
        yield at(book.places[UNLISTED], "book_count", {"told": told, "what": UNLISTED, "found": found})


def there_unasked(plain: Target, book: Book) -> Iterator[Diagnostic]:
    """What the chip without undocumented rows takes, or reads, all the same. The statement of a further code may be in the
    book, with the code that it has there."""
    decoder = Decoder(plain)
    for value in book.values:
        words = book.written(value.words, plain)
        if decoder.decode(value.words, value.address) is not None:
            yield at(book.place(value, "words"), "book_unasked", {"what": words}, 0, len(words))
        try:
            made = encoded(plain, value.statement, value.address)
        except Fault:
            continue
        if not value.alias or made.words == value.words:
            yield at(book.place(value, "statement"), "book_unasked", {"what": value.statement}, 0, len(value.statement))


def unmet_codes(every: Target, book: Book) -> Iterator[Diagnostic]:
    """Undocumented rows, and undocumented opcodes, that no line has."""
    decoder = Decoder(every)
    rows, codes = set(), set()
    for value in book.values:
        instruction = decoder.decode(value.words, value.address)
        if instruction is not None:
            form = instruction.form
            rows.add(form)
            codes.add(tuple(0 if index in form.code.operands else value.words[index] for index in range(opcode_words(form))))
    for form in every.forms:
        if form.undocumented and not form.alias and form not in rows:
            yield at(form.places["asm"], "book_unmet", {"what": f"{form.asm} {form.code_text}"}, severity="warning")
    for code in sorted(undocumented_opcodes(every) - codes):
        yield at((book.text, 1, 1), "book_unmet", {"what": book.written(code, every)}, severity="warning")
