"""Where a chip's mnemonics and the names of directives meet: what a table must say then."""

from __future__ import annotations

from collections.abc import Iterator

from xasm.assembly.directives import DIRECTIVES
from xasm.source.diagnostics import Diagnostic, at
from xasm.target.model import Target

# What opens, closes and parts blocks, and names the chip: read before any chip's instruction can be.
ALWAYS_OURS = ("IF", "ELSEIF", "ELSE", "ENDIF", "MACRO", "REPT", "ENDM", "LOCAL", "LEAVE", "TARGET", "INCLUDE", "FIT", "ENDFIT")


def taken_names(target: Target) -> Iterator[Diagnostic]:
    """The mnemonics whose names are those of directives, where no other name is left for the directive; names of the maker's
    that are mnemonics, or stand for no directive."""
    other_names = {maker.name for name, maker in target.directives.items() if name != maker.name}
    for name, rows in target.with_undocumented().mnemonics.items():
        place = rows[0].places["asm"]
        if name in ALWAYS_OURS:
            yield at(place, "table_mnemonic_ours", {"name": name})
        elif name in target.directives:
            yield at(place, "table_mnemonic_makers", {"name": name, "ours": target.directives[name].name})
        elif name in DIRECTIVES and name not in other_names:
            yield at(
                place,
                "table_mnemonic_directive",
                {"name": name},
                hint=f"give it one in the table, as in: directives: {{OUR{name}: {name}}}",
            )
    for name, maker in target.directives.items():
        if maker.name not in DIRECTIVES:
            yield at(
                target.places["directives"], "table_directive_unknown", {"name": name, "ours": maker.name, "known": ", ".join(DIRECTIVES)}
            )
