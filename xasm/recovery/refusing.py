"""Files that are given for a listing and are none: a source, told at once and not row by row."""

from __future__ import annotations

import re
from collections.abc import Sequence

from xasm.assembly.directives import DIRECTIVES
from xasm.recovery.statements import Speech
from xasm.source.diagnostics import Fault
from xasm.source.files import Source

STATEMENT = re.compile(r"(?:[A-Za-z_.][\w.]*:?)?\s+([A-Za-z][A-Za-z0-9]*)(?![\w:])|([A-Za-z][A-Za-z0-9]*)(?![\w:])")
ADDRESS = re.compile(r"\s*(?:\d+\s+)?[$>:]?(?:0[xX])?[0-9A-Fa-f]{2,8}(?=[\s:\-]|\Z)")
OURS = ("ORG", "EQU", "TARGET")
FEW = 3  # lines with statements; fewer are no source yet


def refuse_source(lines: Sequence[str], speech: Speech, source: Source) -> None:
    """Raises Fault where nearly all lines are statements and none has words in front of it."""
    spoken = other = 0
    first = (source, 1, 1)
    for number, line in enumerate(lines, 1):
        text = line.partition(";")[0].rstrip()
        if not text:
            continue
        match = STATEMENT.match(text)
        word = (match[1] or match[2]).upper() if match else ""
        if word and (speech.is_operation(word) or word in DIRECTIVES) and (word in OURS or not ADDRESS.match(text)):
            spoken += 1
            if spoken == 1:
                assert match is not None
                first = (source, number, match.start(1 if match[1] else 2) + 1)
        elif not text.endswith(":"):
            other += 1
    if spoken >= FEW and spoken > 4 * other:
        raise Fault("typed_source", hint="xasm build assembles it", place=first)
