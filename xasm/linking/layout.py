"""Addresses and sizes: where every entry of a program lies, and which variant of a statement is used.

Every statement with several variants starts with its shortest and only ever grows, until nothing changes. That ends, because
there are finitely many variants; and it is minimal, because a variant is given up only when it could not hold its value
with everything else as short as it has been found to be.

Chains, in which one statement's growth makes the next one grow, are the slow case. So statements are looked at in turn from
the last to the first and from the first to the last, and growth found on the way counts at once: a chain in either direction
is done in one such sweep.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence

from xasm.assembly.module import Alignment, Encoded, Entry, FitStart, Origin, SectionStart, Space
from xasm.linking.program import Program, Unit
from xasm.linking.values import Values
from xasm.linking.windows import Windows, blocks_of
from xasm.source.diagnostics import Fault
from xasm.syntax.expressions import Dotted, Here, Name, Node, Number
from xasm.target.encode import fits

MOST_ROUNDS = 200  # of rounds in which only the lengths of DS and ALIGN change


class Layout:
    """Addresses of all entries of a program; `addresses[len(entries)]` is the one behind the last. `chosen` maps an entry
    to the variant that is used, where that is not the first. An ORG has the address at which it was met."""

    def __init__(self, program: Program, windows: Windows | None = None) -> None:
        self.program = program
        self.entries = program.entries
        self.windows = windows
        self.addresses = [0] * (len(program.entries) + 1)
        self.chosen: dict[int, int] = {}
        self.values = Values(program, self.addresses)
        # named sections that begin with an ORG: no other follows them
        self._apart = [bool(joined.name) and starts_fixed(program, number) for number, joined in enumerate(program.sections)]
        self._open: list[int] = []
        self._moves: dict[int, tuple[int, bool, bool]] = {}  # of each FIT: its address, was it moved, was it moved back
        self._barriers: list[int] = []  # entries across which growth does not simply add up
        for index, entry in enumerate(self.entries):
            piece = entry.piece
            if piece.size < 0:
                self._barriers.append(index)
            elif type(piece) is Encoded and len(piece.variants) > 1:
                self._open.append(index)
        self._moving = windows is not None or any(type(self.entries[index].piece) not in (Origin, SectionStart) for index in self._barriers)

    def settle(self) -> None:
        """Chooses all sizes. Raises Fault (with a place) when lengths never settle."""
        self._place()
        self._settle_lengths()
        while True:
            grown = self._sweep_down()
            if grown:
                self._place()
                self._settle_lengths()
            if self._sweep_up():
                self._place()
                self._settle_lengths()
            elif not grown:
                return

    def _settle_lengths(self) -> None:
        """Places again until the lengths of DS and ALIGN agree with the addresses that they depend on."""
        for _ in range(MOST_ROUNDS if self._moving else 0):
            before = list(self.addresses)
            self._place()
            if before == self.addresses:
                return
        if self._moving:
            moved = next(index for index, (old, new) in enumerate(zip(before, self.addresses, strict=True)) if old != new)
            raise Fault("unstable", place=self.entries[max(0, moved - 1)].place)

    def _place(self) -> None:
        """One pass over all entries: their addresses, from the sizes chosen so far."""
        addresses = self.addresses
        chosen = self.chosen
        here = 0
        space = ""
        apart = False
        ends: dict[str, int] = {}
        starts = self.windows.starts(addresses) if self.windows is not None else None
        for index, entry in enumerate(self.entries):
            addresses[index] = here
            piece = entry.piece
            size = piece.size
            if size < 0:
                if type(piece) is Origin:
                    here = piece.address
                elif type(piece) is SectionStart:
                    if not apart:
                        ends[space] = here
                    space = piece.space
                    apart = self._apart[piece.number]
                    # labels at this entry stand at the end of the section before
                    here = ends.get(space, 0) if starts is None else starts[piece.number]
                else:
                    here += self._length(index, entry)
            elif index in chosen:
                here += len(piece.variants[chosen[index]].words)  # type: ignore[union-attr]
            else:
                here += size
        addresses[-1] = here
        self.values.refresh()

    def _length(self, index: int, entry: Entry) -> int:
        """Words that a DS or ALIGN takes with the addresses as they are."""
        piece = entry.piece
        if type(piece) is Alignment:
            step = self._count(piece.step, index, entry)
            return -self.addresses[index] % step if step > 0 else 0
        if type(piece) is FitStart:
            return self._pushed(index, piece)
        assert type(piece) is Space
        return self._count(piece.count, index, entry)

    def _pushed(self, index: int, piece: FitStart) -> int:
        """Words by which a block is moved so that it lies in one page; 0 when it does, or would not anyway."""
        if not piece.move:
            return 0
        here = self.addresses[index]
        length = self.addresses[index + 1 + piece.count] - self.addresses[index + 1]
        room = -here % piece.page or piece.page
        moves = room < length <= piece.page
        # A block whose length depends on where it lies may fit here with the length that it has when it is moved, and not
        # with the one that it has here. Then it is moved back once, and stays moved when it crosses the border again.
        seen, moved, returned = self._moves.get(index, (here, False, False))
        if seen != here:
            moved = returned = False
        stays = moved and returned
        returned = returned or (moved and not moves)
        self._moves[index] = (here, moves or stays, returned)
        return room if moves or stays else 0

    def _count(self, node: Node, index: int, entry: Entry) -> int:
        """A count while sizes are still moving: never negative, 0 when it has no value (reported later)."""
        try:
            return max(0, self.values.of(node, self.program.unit_of(index), entry.scope, index))
        except Fault:
            return 0

    def _segment(self, index: int) -> int:
        """Entries of one segment move together: there is no barrier between them."""
        return bisect_left(self._barriers, index)

    def _sweep_down(self) -> bool:
        """From the last open statement to the first. A target further on has moved, as against the statement, by what grew
        between them; true when anything grew."""
        opened = self._open
        behind = [0] * (len(opened) + 1)  # growth in this sweep of all open statements from a rank on
        grown = False
        for rank in range(len(opened) - 1, -1, -1):
            index = opened[rank]
            goal = self._goal(index)
            lift = 0
            if goal > index and self._segment(goal) == self._segment(index):
                lift = behind[rank + 1] - behind[bisect_left(opened, goal)]
            growth = self._grow(index, 0, lift)
            grown = grown or growth > 0
            behind[rank] = behind[rank + 1] + growth
        self._close()
        return grown

    def _sweep_up(self) -> bool:
        """From the first open statement to the last. What stands behind growth in its segment has moved by it; true when
        anything grew."""
        opened = self._open
        before = [0] * (len(opened) + 1)  # growth in this sweep of all open statements in front of a rank
        grown = False
        first = 0  # rank of the first open statement of the segment at hand
        for rank, index in enumerate(opened):
            if rank and self._segment(opened[rank - 1]) != self._segment(index):
                first = rank
            own = before[rank] - before[first]
            goal = self._goal(index)
            lift = 0
            if goal >= 0:
                segment = self._segment(goal)
                if goal > index:
                    lift = own if segment == self._segment(index) else 0
                else:
                    start = self._barriers[segment - 1] + 1 if segment else 0
                    lift = before[bisect_left(opened, goal)] - before[bisect_left(opened, start)]
            else:
                own = 0  # how far its labels have moved is not known, so it has not moved either
            growth = self._grow(index, own, lift)
            grown = grown or growth > 0
            before[rank + 1] = before[rank] + growth
        self._close()
        return grown

    def _goal(self, index: int) -> int:
        """The entry that a statement's one label stands at; -1 when its expressions are not that simple, and are computed
        with the addresses of the last pass."""
        piece = self.entries[index].piece
        assert type(piece) is Encoded
        return goal_of(piece.leaves, self.program.unit_of(index), self.entries[index].scope)

    def _grow(self, index: int, own: int, lift: int) -> int:
        """Gives up each variant of a statement that cannot hold its value; returns by how many words it grew. `own` and
        `lift` are by how much the statement and its label have moved since the last pass."""
        entry = self.entries[index]
        piece = entry.piece
        assert type(piece) is Encoded
        values = self.values
        values.unit, values.index, values.local = self.program.unit_of(index), index, entry.scope
        values.own, values.lift = own, lift
        address = self.addresses[index] + own
        variant = first = self.chosen.get(index, 0)
        last = len(piece.variants) - 1
        while variant < last and not fits(piece.variants[variant], piece.leaves, values, address):
            variant += 1
        values.own = values.lift = 0
        if variant == first:
            return 0
        self.chosen[index] = variant
        return len(piece.variants[variant].words) - len(piece.variants[first].words)

    def _close(self) -> None:
        """Forgets the statements that have come to their last variant."""
        entries = self.entries
        self._open = [index for index in self._open if self.chosen.get(index, 0) < len(entries[index].piece.variants) - 1]  # type: ignore[union-attr]


def goal_of(leaves: Sequence[Node], unit: Unit, scope: str) -> int:
    """The entry of the only label in expressions that add numbers to it, or -1."""
    goal = -1
    for leaf in leaves:
        for node in leaf.walk():
            if isinstance(node, Dotted):
                return -1
            if isinstance(node, Name):
                key = scope + node.text if node.text[0] == "." else node.text
                index = unit.labels.get(key, -1)
                if index < 0 and key not in unit.constants:
                    return -1
                if index >= 0 and goal >= 0:
                    return -1
                goal = max(goal, index)
            elif not isinstance(node, Number) and (isinstance(node, Here) or getattr(node, "sign", "+") not in "+-#"):
                return -1
    return goal


def starts_fixed(program: Program, number: int) -> bool:
    """Whether a section begins with an ORG."""
    return blocks_of(program, number)[0].origin is not None
