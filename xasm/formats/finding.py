"""Which format a file has, by its content."""

from __future__ import annotations

import re

from xasm.formats.reading import MARK

COMMENTS = re.compile(rb"(?:\s++|//[^\r\n]*+|/\*(?s:.*?)\*/)*+")
CONTROL = re.compile(rb"[\x01-\x08\x0e-\x19\x1b-\x1f\x7f]|\0(?=[^\0])")
SIGNS = (
    (".hex", re.compile(rb":[0-9A-Fa-f]{10}")),
    (".srec", re.compile(rb"S[0-9][0-9A-Fa-f]{6}")),
    (".txt", re.compile(rb"[0-9A-Fa-f]{1,8}:[ \t]+[0-9A-Fa-f]+(?:\s|\Z)")),
)
SIGNS_BEHIND_COMMENTS = (
    (".mem", re.compile(rb"@[0-9A-Fa-f]")),
    (".c", re.compile(rb"#[ \t]*[a-z]|(?:static|const|extern|signed|unsigned|char|short|int|long|u?int[0-9]+_t)\b")),
)
HEAD = 1 << 16  # bytes that are looked at


def suffix_of(data: bytes) -> str | None:
    """The suffix of the format that a content shows by its beginning, or None."""
    head = data[:HEAD].removeprefix(MARK).lstrip(b"\0 \t\r\n\f\v")
    if CONTROL.search(head):
        return None
    for suffix, sign in SIGNS:
        if sign.match(head):
            return suffix
    comments = COMMENTS.match(head)
    for suffix, sign in SIGNS_BEHIND_COMMENTS:
        if comments and sign.match(head, comments.end()):
            return suffix
    return None
