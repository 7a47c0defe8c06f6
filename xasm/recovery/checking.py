"""What a typed listing says against what its own words say: checksums, characters, statements."""

from __future__ import annotations

from collections.abc import Sequence

from xasm.recovery.layout import mask_of, sums
from xasm.recovery.placing import Placed, Slip
from xasm.recovery.rows import Cutter, Row, Token
from xasm.recovery.statements import Speech
from xasm.target.decode import Decoder

AS_TYPED = "the words"  # what is taken where they contradict what stands beside them
FRAMES = (("|", "|"), ("'", "'"), ('"', '"'), (">", "<"), ("*", "*"))
MOST = 0.6  # of the rows with characters beside them must agree before the others are called wrong


class Checker:
    """Checks rows that were placed; `slip` tells of each mistake."""

    def __init__(self, rows: Sequence[Placed], slip: Slip, cutter: Cutter) -> None:
        self.rows = rows
        self.slip = slip
        self.cutter = cutter

    def sums(self, rule: str) -> None:
        """Holds each row against its checksum, made in the way in which most are; "" for none."""
        for one in self.rows if rule else ():
            row = one.row
            if row.total is None or not one.clean:
                continue
            found = self.cutter.word.number(row.total.text)
            wanted = sums(row, mask_of(row, self.cutter))[rule]
            if found != wanted:
                digits = len(row.total.text)
                self.slip("typed_sum", row, row.total, AS_TYPED, found=row.total.text, wanted=f"{wanted:0{digits}X}", rule=rule)

    def characters(self) -> None:
        """Holds each row of a dump against the characters beside it, where most rows have the right ones."""
        beside = [one for one in self.rows if one.row.cells and one.row.beside.strip()]
        wrong = [(one, *found) for one in beside if (found := differing(one.words, one.row.beside)) is not None]
        if len(beside) < 2 or len(wrong) > (1 - MOST) * len(beside):
            return
        for one, text, at in wrong:
            if one.clean and at >= len(one.words):
                self.slip("typed_few", one.row, all_words(one.row), AS_TYPED, have=len(one.words), wanted=len(text))
            elif one.clean:
                cell = one.row.cells[at]
                shown = self.cutter.word.written(ord(text[at]))
                self.slip("typed_character", one.row, cell.token, AS_TYPED, found=cell.token.text, character=text[at], typed=shown)

    def statements(self, speech: Speech, decoder: Decoder) -> None:
        """Holds each row against the statement beside it."""
        target = speech.target
        for one in self.rows:
            cut = one.said.statement
            if cut is None or not one.words or not one.clean or speech.agrees(cut, one.words, one.address):
                continue
            found = decoder.decode(one.words, one.address)
            whole = found is not None and found.form.size == len(one.words)
            reads = f" is {found.text}" if found is not None and whole and cut.operation in target.mnemonics else ""
            shown = " ".join(map(target.word_text, one.words))
            row = one.row
            values = {"address": target.address_text(one.address), "words": shown, "reads": reads, "statement": one.said.text}
            self.slip("typed_differs", row, all_words(row), AS_TYPED, **values)


def differing(words: Sequence[int], beside: str) -> tuple[str, int] | None:
    """The characters beside a row, and the index of the first word that they contradict; None where they agree, framed by marks
    or not."""
    text = beside.strip()
    framed = len(text) > 1 and any(text[0] == first and text[-1] == last for first, last in FRAMES)
    ways = [text[1:-1], text] if framed else [text, beside.rstrip()]
    found = [(way, differs(words, way)) for way in ways]
    wrong = next((at for _, at in found if at is not None), None)
    return None if wrong is None or any(at is None for _, at in found) else (ways[0], wrong)


def differs(words: Sequence[int], text: str) -> int | None:
    """The index of the first word whose character is another; a point, or a blank, may stand for what has none. The number of
    words where there are more characters."""
    for index, (word, sign) in enumerate(zip(words, text, strict=False)):
        if chr(word & 0x7F) != sign and sign not in ". ":
            return index
    return len(words) if len(text) > len(words) else None


def all_words(row: Row) -> Token:
    """All the words of a row."""
    return Token("", row.cells[0].token.start, row.cells[-1].token.end)
