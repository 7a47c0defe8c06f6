"""The arrays of numbers in a C text. Only what they need of the language is known; directives are passed over, not obeyed."""

from __future__ import annotations

import re
import zlib
from array import array
from collections.abc import Iterator
from typing import NamedTuple

from xasm.formats.blocks import LARGEST, packed
from xasm.formats.reading import MOST_PIECES, WIDEST, Store, Text, array_code, hexadecimal
from xasm.source.diagnostics import Fault

TOKEN = re.compile(
    rb"(?P<blank>(?:\s++|\\(?=\r?\n))++)"
    rb"|(?P<comment>//(?:[^\\\r\n]++|\\(?:\r?\n)?)*+|/\*(?s:.*?)\*/)"
    rb"|(?P<directive>#(?:[^\\\r\n/]++|\\(?:\r?\n)?|/(?!\*)|/\*(?s:.*?)\*/)*+)"
    rb"|(?P<quoted>\"(?:[^\"\\\r\n]++|\\(?s:.))*+\"|'(?:[^'\\\r\n]++|\\(?s:.))++')"
    rb"|(?P<open>/\*|[\"'])"
    rb"|(?P<name>[A-Za-z_]\w*+)"
    rb"|(?P<number>[0-9](?:'?[0-9A-Za-z_.])*+)"
    rb"|(?P<other>(?s:.))"
)
NUMBER = re.compile(
    r"(?:0[xX](?P<hexadecimal>[0-9A-Fa-f']+)|0[bB](?P<binary>[01']+)|(?P<octal>0[0-7']*)|(?P<decimal>[1-9][0-9']*))"
    r"(?:[uU](?:ll?|LL?)?|(?:ll?|LL?)[uU]?)?"
)
BASES = {"hexadecimal": 16, "binary": 2, "octal": 8, "decimal": 10}
LONGEST_NUMBER = 100  # characters
CHARACTER = re.compile(
    r"'(?:(?P<plain>[ -&(-\[\]-~])|\\(?P<letter>[abfnrtv'\"?\\])|\\(?P<octal>[0-7]{1,3})|\\x(?P<hexadecimal>[0-9A-Fa-f]{1,16}))'"
)
LETTERS = dict(zip("abfnrtv", (7, 8, 12, 10, 13, 9, 11), strict=True))
DEFINE = re.compile(rb"#\s*define\s+([A-Za-z_]\w*_(?:ADDRESS|ENTRY|CRC32))\s+(\w+)(.*)", re.DOTALL)
CONDITION = re.compile(rb"#\s*(end)?if(?:n?def)?\b")
ROW_ADDRESS = re.compile(rb"/\*\s*0[xX]([0-9A-Fa-f]{1,8})\s*\*/")

TYPES = {b"char": 8, b"byte": 8, b"short": 16}
SIZED = re.compile(rb"u?int(8|16|32|64)_t")
ELEMENT = re.compile(rb"[^\s,]+")
RUN = re.compile(rb"(?:\s*+(?:0[xX][0-9A-Fa-f]{1,16}+|[1-9][0-9]{0,18}+|0)\s*+,){1,4096}+")  # many plain elements at once
SUMMED = re.compile(rb".*of the elements(?: as ([1-8]) bytes each, (low|high) byte first)?", re.DOTALL)


class Token(NamedTuple):
    """`kind` is name, number, quoted, other or end; `text` is all of it, the offsets are bytes of the file."""

    kind: str
    text: bytes
    start: int
    end: int


class Scanner:
    """The tokens of a C text, one after the other.

    `defines` are the constants met so far that could say something about arrays: name to value, the rest of the line, and
    where it stands. `conditions` counts the #if that are open, `at` is the offset behind the last token.
    `row` is the address that was the last comment of the kind `/* 0x0200 */`; whoever wants to know resets it.
    """

    def __init__(self, text: Text) -> None:
        self.text = text
        self.at = text.begin
        self.defines: dict[str, tuple[int, bytes, int]] = {}
        self.conditions = 0
        self.row: int | None = None

    def token(self) -> Token:
        """The next token; what lies between, comments and directives too, is passed over. Raises Fault: read_open."""
        data = self.text.data
        while True:
            match = TOKEN.match(data, self.at)
            if match is None:
                return Token("end", b"", len(data), len(data))
            start, self.at = match.span()
            kind = match.lastgroup or ""
            if kind == "comment":
                row = ROW_ADDRESS.fullmatch(data, start, self.at)
                if row:
                    self.row = int(row[1], 16)
            elif kind == "directive":
                self._directive(match[0], start)
            elif kind == "open":
                comment = match[0] == b"/*"
                what, closing = ("comment", "*/") if comment else ("text", match[0].decode())
                raise self.text.fault("read_open", start, self.at, what=what, closing=closing)
            elif kind != "blank":
                return Token(kind, match[0], start, self.at)

    def constant(self, name: str) -> int | None:
        """The value of a constant, None where there is none."""
        return self.defines[name][0] if name in self.defines else None

    def _directive(self, directive: bytes, start: int) -> None:
        condition = CONDITION.match(directive)
        if condition:
            self.conditions += -1 if condition[1] == b"end" else 1
        match = DEFINE.match(directive)
        if match:
            found = NUMBER.fullmatch(match[2].decode()[:LONGEST_NUMBER])
            if found:
                self.defines[match[1].decode()] = (_value(found), match[3], start)
            if len(self.defines) > MOST_PIECES:
                raise self.text.fault("read_pieces", start, limit=MOST_PIECES)

    def element(self, token: Token) -> int:
        """The value of a number or of a single character. Raises Fault: read_element."""
        text = token.text[: LONGEST_NUMBER + 1].decode("utf-8", "replace")
        if token.kind == "number":
            match = NUMBER.fullmatch(text) if len(text) <= LONGEST_NUMBER else None
            if match:
                return _value(match)
            octal = re.fullmatch(r"0[0-9]+", text)
            raise self.fault(token, "a 0 in front makes it octal, with digits 0 to 7" if octal else "it is no whole number of C")
        if token.text.startswith(b"'"):
            match = CHARACTER.fullmatch(text)
            if match:
                return _code(match)
            raise self.fault(token, "it is not one ASCII character")
        raise self.fault(token, "it is neither a number nor a character")

    def fault(self, token: Token, why: str) -> Fault:
        found = self.text.shown(token.start, token.end)
        return self.text.fault("read_element", token.start, token.end, found=found, why=why)


def _value(match: re.Match[str]) -> int:
    base = match.lastgroup or ""
    return int(match[base].replace("'", ""), BASES[base])


def _code(match: re.Match[str]) -> int:
    kind = match.lastgroup or ""
    if kind == "plain":
        return ord(match[kind])
    if kind == "letter":
        return LETTERS.get(match[kind], ord(match[kind]))
    return int(match[kind], BASES[kind])


class Array(NamedTuple):
    """An array of numbers in a C text: its name, where it belongs (None: the text does not say), its elements in order, the
    start address that the text names for its program, and where its name stands (offsets)."""

    name: str
    address: int | None
    words: Store
    entry: int | None
    start: int
    end: int


def arrays(text: Text, word: int | None = None) -> Iterator[Array]:
    """All arrays of numbers in a C text; `word` is the width of the elements where their type does not show it.

    Raises Fault with a place: read_open, read_cut, read_element, read_many, read_word, read_large, read_sum, read_lost, read_pieces.
    """
    return _Reader(text, word).arrays()


class _Reader:
    def __init__(self, text: Text, word: int | None) -> None:
        self.text = text
        self.word = word
        self.scanner = Scanner(text)
        self.current = self.scanner.token()
        # of the declaration at hand: the last name, the width that its type shows, how many sizes in brackets, the last of them
        self.name = self.current
        self.bits: int | None = None
        self.dimensions = 0
        self.size: int | None = None

    def next(self) -> Token:
        """The token behind the current one, which it becomes."""
        self.current = self.scanner.token()
        return self.current

    def inner(self) -> Token:
        """The same inside an array or its declaration, where the text cannot end. Raises Fault: read_cut."""
        if self.next().kind == "end":
            raise self.text.ends(f"inside the array '{self.name.text.decode()}'")
        return self.current

    def arrays(self) -> Iterator[Array]:
        before = ""  # the kind of the token in front
        while self.current.kind != "end":
            token = self.current
            if token.text == b"[" and before == "name":
                if self.opens():
                    yield self.array()
            else:
                if token.kind == "name":
                    sized = SIZED.fullmatch(token.text)
                    self.name = token
                    self.bits = self.bits or TYPES.get(token.text) or (int(sized[1]) if sized else None)
                elif token.text in (b";", b"{", b"}", b"(", b")"):
                    self.bits = None
                self.next()
            before = token.kind
        for name, (_, comment, start) in self.scanner.defines.items():
            if SUMMED.match(comment):
                raise self.text.fault("read_lost", start, name=name)
        if self.scanner.conditions > 0:
            raise self.text.ends("inside an #if that no #endif closes")

    def opens(self) -> bool:
        """Reads from the bracket behind a name up to the elements; False where what stands there has none."""
        self.dimensions, self.size = 0, None
        while self.current.text == b"[":
            if not self.brackets():
                return False
        depth = 0
        while self.current.text != b"=" or depth:
            token = self.current
            depth += (token.text == b"(") - (token.text == b")")
            storage = token.kind in ("name", "number", "quoted") or token.text in (b"(", b")") or (depth and token.text == b",")
            if not storage or depth < 0:
                return False
            self.inner()
        return self.inner().text == b"{"

    def brackets(self) -> bool:
        """Reads a pair of brackets: a size, or an attribute in two pairs; False where they do not close."""
        first = self.inner()
        count, depth = 0, 1
        while depth:
            token = self.current
            if token.text in (b";", b"{", b"}"):
                return False
            depth += (token.text == b"[") - (token.text == b"]")
            count += 1
            self.inner()
        if first.text != b"[":
            self.dimensions += 1
            self.size = self.scanner.element(first) if count == 2 and first.kind == "number" else None
        return True

    def array(self) -> Array:
        """Reads the elements, from the opening brace to the closing one."""
        text, name = self.text, self.name
        if self.dimensions > 1:
            raise self.scanner.fault(self.current, "arrays of arrays are not read")
        bits = self.bits or self.word
        if self.size is not None and self.size * (((bits or WIDEST) + 7) // 8) > LARGEST:
            raise text.fault("read_large", name.start, name.end, limit=LARGEST)
        self.scanner.row = None
        words: Store = bytearray() if bits and bits <= 8 else array(array_code(bits or WIDEST))
        row = self.elements(words, bits)
        if self.size is not None:
            words.extend(array(array_code(bits or WIDEST), (0,)) * (self.size - len(words)))  # as C has it
        self.check_sum(words, name)
        spelled = name.text.decode()
        capitals = spelled.upper()
        constant = self.scanner.constant
        address, entry = constant(f"{capitals}_ADDRESS"), constant(f"{capitals}_ENTRY")
        if entry is None:  # of a program of several arrays
            entry = constant(f"{capitals.rpartition('_')[0]}_ENTRY")
        return Array(spelled, row if address is None else address, words, entry, name.start, name.end)

    def elements(self, words: Store, bits: int | None) -> int | None:
        """Puts the elements into `words`; returns the address that a comment in front of the first says."""
        scanner = self.scanner
        row = None
        closed = self.current.text == b"}"
        while not closed:
            run = RUN.match(self.text.data, scanner.at)
            if run:
                self.append(words, [int(word, 0) for word in run[0].split(b",")[:-1]], bits, run.start(), run.end())
                scanner.at = run.end()
            token = self.inner()
            if not words:
                row = scanner.row
            if token.text == b"}":
                break
            number = self.inner() if token.text in (b"-", b"+") else token
            value = scanner.element(number)
            if token.text == b"-":
                value = self.complement(value, bits, token, number)
            self.append(words, [value], bits, token.start, number.end)
            closed = self.inner().text == b"}"
            if not closed and self.current.text != b",":
                raise scanner.fault(self.current, "a comma is missing in front of it")
        self.next()
        return row

    def complement(self, value: int, bits: int | None, sign: Token, number: Token) -> int:
        """A negative element as the word that holds it."""
        if bits is None:
            raise self.scanner.fault(sign, "the type does not show the width of a negative element")
        if value > 1 << bits - 1:
            raise self.text.fault("read_word", sign.start, number.end, word=f"-{hexadecimal(value)}", bits=bits)
        return -value & ((1 << bits) - 1)

    def append(self, words: Store, values: list[int], bits: int | None, start: int, end: int) -> None:
        """Takes the elements that stand between two offsets."""
        limit = bits or WIDEST
        many = self.size is not None and len(words) + len(values) > self.size
        if not many and not max(values) >> limit:
            words.extend(values)
            return
        wide = next((index for index, value in enumerate(values) if value >> limit), 0)
        index = self.size - len(words) if many and self.size is not None else wide
        if len(values) > 1:
            start, end = list(ELEMENT.finditer(self.text.data, start, end))[index].span()
        if many:
            raise self.text.fault("read_many", start, end, size=self.size)
        raise self.text.fault("read_word", start, end, word=hexadecimal(values[wide]), bits=limit)

    def check_sum(self, words: Store, name: Token) -> None:
        """Holds an array against the CRC-32 that our own headers give."""
        constant = f"{name.text.decode().upper()}_CRC32"
        wanted, comment, _ = self.scanner.defines.pop(constant, (0, b"", 0))
        summed = SUMMED.match(comment)
        if summed:
            cell, order = int(summed[1] or 1), "big" if summed[2] == b"high" else "little"
            widest = max(words, default=0)
            if widest >> 8 * cell:
                raise self.text.fault("read_word", name.start, name.end, word=hexadecimal(widest), bits=8 * cell)
            found = zlib.crc32(packed(words if cell > 1 or isinstance(words, bytearray) else list(words), cell, order))
            if found != wanted:
                shown = {"found": f"0x{found:08X}", "wanted": f"0x{wanted:08X}"}
                raise self.text.fault("read_sum", name.start, name.end, name=name.text.decode(), constant=constant, **shown)
