"""C text in tokens: what a reader of arrays has to know of it, and no more. Directives are passed over, not obeyed."""

from __future__ import annotations

import re
from typing import NamedTuple

from xasm.formats.reading import Text

TOKEN = re.compile(
    rb"(?P<blank>(?:\s|\\(?=\r?\n))++)"
    rb"|(?P<comment>//(?:[^\\\r\n]++|\\(?:\r?\n|))*+|/\*(?s:.*?)\*/)"
    rb"|(?P<directive>#(?:[^\\\r\n/]++|\\(?:\r?\n|)|/(?!\*)|/\*(?s:.*?)\*/)*+)"
    rb"|(?P<open>/\*|[\"'](?!\S*+'))"
    rb"|(?P<name>[A-Za-z_]\w*+)"
    rb"|(?P<number>[0-9](?:'?[0-9A-Za-z_.])*+)"
    rb"|(?P<other>(?s:.))"
)
QUOTED = re.compile(rb"\"(?:[^\"\\\r\n]++|\\.)*+\"|'(?:[^'\\\r\n]++|\\.)++'")
NUMBER = re.compile(
    r"(?:0[xX](?P<hexadecimal>[0-9A-Fa-f']+)|0[bB](?P<binary>[01']+)|(?P<octal>0[0-7']*)|(?P<decimal>[1-9][0-9']*))"
    r"(?:[uU](?:ll?|LL?)?|(?:ll?|LL?)[uU]?)?"
)
BASES = {"hexadecimal": 16, "binary": 2, "octal": 8, "decimal": 10}
LONGEST_NUMBER = 100  # characters
CHARACTER = re.compile(r"'(?:(?P<plain>[ -&(-\[\]-~])|\\(?:(?P<letter>[abfnrtv'\"?\\])|(?P<octal>[0-7]{1,3})|x(?P<hexadecimal>[0-9A-Fa-f]{1,16})))'")
LETTERS = dict(zip("abfnrtv", (7, 8, 12, 10, 13, 9, 11), strict=True))
DEFINE = re.compile(rb"#\s*define\s+([A-Za-z_]\w*_(?:ADDRESS|ENTRY|CRC32))\s+(\w+)(.*)", re.DOTALL)
ROW_ADDRESS = re.compile(rb"/\*\s*0[xX]([0-9A-Fa-f]{1,8})\s*\*/")


class Token(NamedTuple):
    """`kind` is name, number, quoted, other or end; `text` is all of it, the offsets are bytes of the file."""

    kind: str
    text: bytes
    start: int
    end: int


class Scanner:
    """The tokens of a C text, one after the other. `defines` are the constants met so far that say where arrays belong:
    name to value and the rest of the line; `row` is the address that the last comment was, None where it was none."""

    def __init__(self, text: Text) -> None:
        self.text = text
        self.at = text.begin
        self.defines: dict[str, tuple[int, bytes]] = {}
        self.row: int | None = None
