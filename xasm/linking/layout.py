"""Addresses and sizes: where every entry of a module lies, and which variant of a statement is used.

Every statement with several variants starts with its shortest and only ever grows, until nothing changes. That ends, because
there are finitely many variants; and it is minimal, because a variant is given up only when it could not hold its value
with everything else as short as is possible.
"""

from __future__ import annotations

from xasm.assembly.module import Alignment, Encoded, Entry, Module, Origin, Space
from xasm.linking.values import Values
from xasm.source.diagnostics import Fault
from xasm.syntax.expressions import Node, shown
from xasm.target.encode import fits

MOST_ROUNDS = 200  # of rounds in which only the lengths of DS and ALIGN change


class Layout:
    """Addresses of all entries of a module; `addresses[len(entries)]` is the one behind the last."""

    def __init__(self, module: Module) -> None:
        assert module.target is not None or not module.entries
        self.module = module
        self.addresses = [0] * (len(module.entries) + 1)
        self.chosen: dict[int, int] = {}
        self.values = Values(module, self.addresses)
        self._open = [
            index for index, entry in enumerate(module.entries) if type(entry.piece) is Encoded and len(entry.piece.variants) > 1
        ]
        self._moving = any(type(entry.piece) in (Space, Alignment) for entry in module.entries)

    def settle(self) -> None:
        """Chooses all sizes. Raises Fault (with a place) when lengths never settle."""
        rounds = 0
        self._place()
        while True:
            self._place() if self._moving else None
            before = list(self.addresses) if self._moving else []
            if self._grow():
                self._place()
                continue
            if not self._moving:
                return
            self._place()
            if before == self.addresses:
                return
            rounds += 1
            if rounds > MOST_ROUNDS:
                index = next(index for index, (old, new) in enumerate(zip(before, self.addresses, strict=True)) if old != new)
                raise Fault("unstable", place=self.module.entries[max(0, index - 1)].place)

    def size(self, index: int, entry: Entry) -> int:
        """Words that an entry takes."""
        piece = entry.piece
        if type(piece) is Encoded:
            return len(piece.variants[self.chosen.get(index, 0)].words)
        if type(piece) is Space:
            return self.words_of(piece.count, index, entry)
        if type(piece) is Alignment:
            step = self.words_of(piece.step, index, entry)
            return -self.addresses[index] % step if step > 0 else 0
        return max(0, piece.size)

    def words_of(self, node: Node, index: int, entry: Entry) -> int:
        """A count while sizes are still moving: never negative, 0 when it has no value (reported later)."""
        try:
            return max(0, self.values.of(node, entry, index))
        except Fault:
            return 0

    def _place(self) -> None:
        """One pass over all entries: their addresses, from the sizes chosen so far."""
        addresses = self.addresses
        chosen = self.chosen
        here = 0
        for index, entry in enumerate(self.module.entries):
            addresses[index] = here
            piece = entry.piece
            size = piece.size
            if size < 0:
                if type(piece) is Origin:
                    here = piece.address
                    addresses[index] = here
                else:
                    here += self.size(index, entry)
            elif index in chosen:
                here += len(piece.variants[chosen[index]].words)  # type: ignore[union-attr]
            else:
                here += size
        addresses[-1] = here
        self.values.refresh()

    def _grow(self) -> bool:
        """Gives up each variant that cannot hold its value now; true when any was."""
        grown = False
        entries = self.module.entries
        values = self.values
        still_open = []
        for index in self._open:
            entry = entries[index]
            piece = entry.piece
            assert type(piece) is Encoded
            variant = self.chosen.get(index, 0)
            last = len(piece.variants) - 1
            values.index = index
            values.local = entry.scope
            address = self.addresses[index]
            while variant < last and not fits(piece.variants[variant], piece.leaves, values, address):
                variant += 1
            if variant != self.chosen.get(index, 0):
                grown = True
                self.chosen[index] = variant
            if variant < last:
                still_open.append(index)
        self._open = still_open
        return grown


def count_fault(node: Node, value: int, directive: str) -> Fault | None:
    """What is wrong with a settled count, or None."""
    if directive == "ALIGN":
        return None if value > 0 else node.fault("bad_alignment", value=shown(value))
    return None if value >= 0 else node.fault("not_negative", directive=directive, value=shown(value))
