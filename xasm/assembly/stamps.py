"""STAMP: words that are filled in when everything is linked: a checksum, a length, a text given with the build.

STAMP CHECKSUM, first, end [, total]     one word, which makes the words from `first` up to `end` add up to `total`
STAMP CRC16, first, end             and CRC16_XMODEM, CRC16_KERMIT, CRC32
STAMP LENGTH, first, end            how many words
STAMP TEXT, count                   the text of --build-text
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from xasm.assembly.module import Stamp
from xasm.assembly.parsing import counted, needed_target
from xasm.source.diagnostics import Fault
from xasm.syntax.expressions import Name, shown

if TYPE_CHECKING:
    from xasm.assembly.assembler import Assembler, Call

# Bits of each kind; CHECKSUM has one word, TEXT what is asked for.
BITS = {"CHECKSUM": 0, "CRC16": 16, "CRC16_XMODEM": 16, "CRC16_KERMIT": 16, "CRC32": 32, "LENGTH": 16, "TEXT": 0}
LONGEST_TEXT = 256  # words


def stamp(assembler: Assembler, call: Call) -> None:
    target = needed_target(assembler)
    nodes = counted(assembler, call, 2, 4, "a kind and what it takes")
    kind = nodes[0].text.upper() if isinstance(nodes[0], Name) else ""
    if kind not in BITS:
        raise nodes[0].fault("no_stamp", known=", ".join(BITS))
    most = 2 if kind == "TEXT" else 4 if kind == "CHECKSUM" else 3
    if not min(most, 3) <= len(nodes) <= most:
        wanted = (
            "a number of words" if kind == "TEXT" else "first address, address behind the last" + (", total" if kind == "CHECKSUM" else "")
        )
        raise Fault("operand_count", directive=f"STAMP {kind}", wanted=wanted, given=len(nodes) - 1 or "nothing")
    size = max(1, -(-BITS[kind] // target.word))
    if kind == "TEXT":
        size = assembler.known(nodes[1], "STAMP")
        if not 1 <= size <= LONGEST_TEXT:
            raise nodes[1].fault("out_of_range", value=shown(size), range=f"1..{LONGEST_TEXT}")
    assembler.add(Stamp(kind, nodes[1:], size), call)
