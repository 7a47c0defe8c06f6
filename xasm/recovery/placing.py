"""Where the rows of a typed listing belong: each behind the one before, or where its address says; and which of the two is
mistyped where they disagree."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from xasm.recovery.rows import Row, Token
from xasm.recovery.statements import Said

USUAL_GAP = 64  # words
USUAL_ROW = 8  # words of the longest row that statements usually have
NEAR = 3  # words that a row may have too many or too few


class Placed(NamedTuple):
    """A row with its address, as put right, its words, and what stands beside it; `clean` where nothing was wrong with it."""

    row: Row
    address: int
    words: tuple[int, ...]
    said: Said
    clean: bool


class Counted(NamedTuple):
    """A row with its words as put right (None: they could not be), how many it should have, and how many it can have (empty:
    open)."""

    row: Row
    said: Said
    words: tuple[int, ...] | None
    clean: bool
    sizes: frozenset[int]

    @property
    def size(self) -> int:
        return len(self.words) if self.words is not None else max(self.sizes, default=len(self.row.cells))


Slip = Callable[..., bool]


class Placer:
    """Places rows; `slip` tells of a mistake and says whether what was meant is to be taken, `doubt` of what may be one; `shown`
    writes an address, `usual` is how many words a row of a dump has, `places` are addresses at which the chip begins."""

    def __init__(
        self,
        rows: Sequence[Counted],
        slip: Slip,
        doubt: Callable[..., None],
        shown: Callable[[int], str],
        usual: int | None,
        places: frozenset[int],
    ) -> None:
        self.rows = rows
        self.slip = slip
        self.doubt = doubt
        self.shown = shown
        self.usual = usual
        self.places = places
        self.longest = max([USUAL_ROW, *(len(one.row.cells) for one in rows)])
        self.filled: set[int] = set()  # addresses that the rows in front have words for

    def typed(self, index: int) -> int | None:
        """The address of a row as typed, None where there is none."""
        cell = self.rows[index].row.address if 0 <= index < len(self.rows) else None
        return cell.best if cell is not None else None

    def place(self, start: int | None) -> list[Placed]:
        """All rows that could be placed; `start` is the address of the first where rows have none."""
        found: list[Placed] = []
        expected = start
        for index, one in enumerate(self.rows):
            address, right = self.address(index, expected)
            if one.words is not None and (one.words or one.said.label or one.said.remark):
                found.append(Placed(one.row, address, one.words, one.said, one.clean and right))
            expected = address + one.size
            self.filled.update(range(address, expected))
        return found

    def address(self, index: int, expected: int | None) -> tuple[int, bool]:
        """The address of a row, and whether it was typed so."""
        row = self.rows[index].row
        if row.address is None:
            assert expected is not None
            return expected, True
        meant = self.meant(index, expected)
        typed = row.address.best
        if row.address.value is None:
            best = meant if meant is not None else typed
            shown = None if best is None else self.shown(best)
            self.slip("typed_letter", row, row.address.token, shown, text=row.address.token.text, what="address", digits=0, bits=0)
            return (expected or 0) if best is None else best, False
        assert typed is not None
        if meant is not None:
            behind = f"the row before ends at {self.shown(expected - 1)}" if expected is not None else "the next row says otherwise"
            self.slip("typed_address", row, row.address.token, self.shown(meant), found=self.shown(typed), why=behind)
            return meant, False
        if expected is not None and typed != expected and index:
            counted = self.check_count(index - 1, typed - (expected - self.rows[index - 1].size))
            if not counted and self.breaks(index, typed, expected):
                return typed, False
            if self.stands_alone(index) and one_slip(typed, expected, self.shown) and not self.usual_gap(index, typed, expected):
                self.doubt("typed_doubt", row, row.address.token, found=self.shown(typed), meant=self.shown(expected))
        likely = self.by_next(index) if typed != expected else None
        if likely is not None and self.begins_oddly(index, likely):
            self.doubt("typed_doubt", row, row.address.token, found=self.shown(typed), meant=self.shown(likely))
        return typed, True

    def by_next(self, index: int) -> int | None:
        """The address of a row as the next one says it, unless the one after that says that the next one is wrong."""
        typed, following, second = self.typed(index), self.typed(index + 1), self.typed(index + 2)
        if following is None:
            return None
        both = self.rows[index].size + self.rows[index + 1].size
        return None if typed is not None and second == typed + both else following - self.rows[index].size

    def begins_oddly(self, index: int, likely: int) -> bool:
        """Whether a row that begins a part has an address that is nearly the one that the next row says."""
        typed, size = self.typed(index), self.rows[index].size
        full = size == self.usual if self.usual is not None else typed is not None and typed % 8 != 0
        return full and typed is not None and typed != likely and one_slip(typed, likely, self.shown)

    def stands_alone(self, index: int) -> bool:
        """Whether the row behind does not follow a row."""
        following = self.typed(index + 1)
        return index >= len(self.rows) or following is None or self.typed(index) != following - self.rows[index].size

    def meant(self, index: int, expected: int | None) -> int | None:
        """The address that a row must have had where the one typed is certainly a slip, or cannot be read; else None."""
        typed, size = self.typed(index), self.rows[index].size
        following = self.typed(index + 1)
        alone = typed != expected and self.stands_alone(index)
        if expected is not None and alone and (typed is None or following == expected + size):
            return expected
        # a row that begins a part: the next one says where it belongs
        likely = self.by_next(index)
        begins = index == 0 and not self.stands_alone(1)
        wrong = typed is None or begins or (following is not None and typed + size > following)
        if not (alone and wrong) or likely is None:
            return None
        return likely if typed is None or one_slip(typed, likely, self.shown) else None

    def usual_gap(self, index: int, typed: int, expected: int) -> bool:
        """Whether an address looks like one at which parts of programs begin, such as an interrupt's."""
        full = self.usual is not None and len(self.rows[index - 1].row.cells) == self.usual
        return not full and 0 < typed - expected <= USUAL_GAP and typed % 8 == 0

    def breaks(self, index: int, typed: int, expected: int) -> bool:
        """Tells of a row that leaves out no more than a row in front of it, or steps back. What is further on, where parts of
        programs begin, or behind a line of another kind or an empty one is another part of the program."""
        row, before = self.rows[index].row, self.rows[index - 1].row
        if row.address is None or row.number > before.number + 1 or not before.cells or not self.rows[index - 1].clean:
            return False
        end = self.shown(expected - 1)
        if typed < expected:
            if not self.filled.isdisjoint(range(typed, typed + self.rows[index].size)):
                return False  # told where the words contradict each other
            self.slip("typed_back", row, row.address.token, "another part of the program", found=self.shown(typed), end=end)
            return True
        if self.usual is not None:
            apart = typed - expected > self.usual or len(before.cells) < self.usual
        else:
            apart = typed - expected > self.longest or typed in self.places or self.usual_gap(index, typed, expected)
        if apart:
            return False
        missing = self.shown(expected) if typed == expected + 1 else f"{self.shown(expected)}..{self.shown(typed - 1)}"
        self.slip("typed_gap", row, row.address.token, "a gap", missing=missing, end=end)
        return True

    def check_count(self, index: int, room: int) -> bool:
        """Tells of a row whose number of words does not go with the address of the next, and whether it did."""
        one = self.rows[index]
        row, count = one.row, len(one.row.cells)
        if not one.clean or count in (0, room) or room < 1 or (one.words is not None and len(one.words) == room):
            return False
        if self.usual is None:
            wrong = room in one.sizes or (room < count) or (not one.sizes and room - count <= 1)
        else:
            wrong = room == self.usual or room < count
        told = wrong and abs(room - count) <= NEAR
        if told:
            token = Token("", row.cells[0].token.start, row.cells[-1].token.end)
            self.slip("typed_count", row, token, None, have=f"{count} {'word' if count == 1 else 'words'}", wanted=room)
        return told


def one_slip(typed: int, meant: int, shown: Callable[[int], str]) -> bool:
    """Whether two addresses differ in one digit, or in two neighbours that changed places."""
    one, two = shown(typed), shown(meant)
    one, two = one.zfill(len(two)), two.zfill(len(one))
    wrong = [index for index, (first, second) in enumerate(zip(one, two, strict=True)) if first != second]
    swapped = len(wrong) == 2 and wrong[1] == wrong[0] + 1 and one[wrong[0]] == two[wrong[1]] and one[wrong[1]] == two[wrong[0]]
    return len(wrong) == 1 or swapped
