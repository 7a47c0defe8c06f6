"""What a typed listing says against what its own words say: checksums, characters, statements."""

from __future__ import annotations

from collections.abc import Sequence

from xasm.recovery.layout import mask_of, sums
from xasm.recovery.placing import Placed, Slip
from xasm.recovery.rows import Cutter, Token
from xasm.recovery.statements import Speech
from xasm.target.decode import Decoder

AS_TYPED = "the words"  # what is taken where they contradict what stands beside them
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
        beside = [(one, characters(one.row.beside)) for one in self.rows if one.row.cells and one.row.beside.strip()]
        fitting = [(one, text) for one, text in beside if len(text) >= len(one.words)]
        wrong = [(one, text, at) for one, text in fitting if (at := differs(one.words, text)) is not None]
        if len(fitting) < 2 or len(wrong) > (1 - MOST) * len(fitting):
            return
        for one, text, at in wrong:
            cell = one.row.cells[at]
            if one.clean:
                shown = self.cutter.word.written(ord(text[at]))
                self.slip("typed_character", one.row, cell.token, AS_TYPED, found=cell.token.text, character=text[at], code=shown)

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
            shown = " ".join(map(target.hex_word, one.words))
            row = one.row
            token = Token("", row.cells[0].token.start, row.cells[-1].token.end)
            values = {"address": target.hex_address(one.address), "words": shown, "reads": reads, "statement": one.said.text}
            self.slip("typed_differs", row, token, AS_TYPED, **values)


def characters(beside: str) -> str:
    """The characters beside a row of words, without what frames them."""
    text = beside.strip()
    for first, last in (("|", "|"), ("'", "'"), ('"', '"'), (">", "<"), ("*", "*")):
        if len(text) > 1 and text[0] == first and text[-1] == last:
            return text[1:-1]
    return beside.removeprefix("|").removeprefix(";").strip()


def differs(words: Sequence[int], text: str) -> int | None:
    """The index of the first word whose character is another; a point, or a blank, may stand for what has none."""
    for index, (word, sign) in enumerate(zip(words, text, strict=False)):
        if chr(word & 0x7F) != sign and sign not in ". ":
            return index
    return None
