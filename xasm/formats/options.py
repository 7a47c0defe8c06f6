"""What a person may choose about an output, and whether it can be."""

from __future__ import annotations

import re
from dataclasses import dataclass

from xasm.linking.image import Image
from xasm.source.diagnostics import Fault
from xasm.syntax.expressions import shown

DEFAULT_NAME = "program"
NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]*\Z")
HEADER = re.compile(r"[A-Za-z0-9_.+-]+(/[A-Za-z0-9_.+-]+)*\Z")
STORAGE = re.compile(
    r"[ ]*(?:(?P<word>[A-Za-z_][A-Za-z0-9_]*)|(?P<open>\()|(?P<close>\))"
    r'|(?P<argument>[0-9][A-Za-z0-9_]*|"[A-Za-z0-9_ .,$-]*"|,))'
)
# Names of <stdint.h>, and those that C and C++ keep for more of the kind.
STANDARD_NAME = re.compile(r"u?int\w*_t\Z|U?INT\w*_(C|MIN|MAX|WIDTH)\Z|(SIZE|PTRDIFF|SIG_ATOMIC|WCHAR|WINT)_(MIN|MAX|WIDTH)\Z")
# The words of C and C++ up to the editions of 2023, and the one function whose name no array may have.
KEYWORDS = frozenset(
    """alignas alignof and and_eq asm auto bitand bitor bool break case catch char char8_t char16_t char32_t class
    co_await co_return co_yield compl concept const const_cast consteval constexpr constinit continue decltype
    default delete do double dynamic_cast else enum explicit export extern false float for friend goto if inline int
    long main mutable namespace new noexcept not not_eq nullptr operator or or_eq private protected public register
    reinterpret_cast requires restrict return short signed sizeof static static_assert static_cast struct switch
    template this thread_local throw true try typedef typeid typename typeof typeof_unqual union unsigned using
    virtual void volatile wchar_t while xor xor_eq""".split()
)


@dataclass(frozen=True, slots=True)
class Options:
    """Choices about an output.

    name: of the C array. fill: the word that fills gaps, or None. storage: words of the C compiler that go behind the
    array's name (`PROGMEM`). headers: C headers to include, `avr/pgmspace.h` or, in double quotes, `"board.h"`.
    order: "little" or "big", how a word of several bytes lies in a raw binary; None: as the chip has it.
    """

    name: str = DEFAULT_NAME
    fill: int | None = None
    storage: str = ""
    headers: tuple[str, ...] = ()
    order: str | None = None


def check(options: Options, image: Image) -> None:
    """Raises Fault for the first choice that cannot be: bad_fill, bad_c_name, bad_storage, bad_header."""
    filler(options, image)
    check_c(options)


def filler(options: Options, image: Image) -> int | None:
    """The word that fills gaps, None where they stay gaps. As in data, a negative number means its two's complement."""
    bits = image.target.word
    if options.fill is None:
        return None
    if not -(1 << (bits - 1)) <= options.fill < 1 << bits:
        raise Fault("bad_fill", value=shown(options.fill), bits=bits)
    return options.fill & ((1 << bits) - 1)


def check_c(options: Options) -> None:
    """The choices that go into C text."""
    name = options.name
    if not NAME.match(name):
        raise Fault("bad_c_name", name=_printable(name))
    if _taken(name):
        raise Fault("bad_c_name", hint=f"C or C++ uses that name already; {name}_rom would do", name=name)
    if not _is_storage(options.storage):
        raise Fault("bad_storage", word=_printable(options.storage))
    for header in options.headers:
        if not HEADER.match(_unquoted(header)):
            raise Fault("bad_header", header=_printable(header))


def name_for(text: str) -> str:
    """A name for a C array out of any text, such as the name of a file without its suffix."""
    name = re.sub(r"[^A-Za-z0-9]+", "_", text).strip("_")
    if not name:
        return DEFAULT_NAME
    return name if name[0].isalpha() and not _taken(name) else f"{DEFAULT_NAME}_{name}"


def include_line(header: str) -> str:
    """The line of C that includes a header."""
    return f"#include {header}" if header.startswith('"') else f"#include <{header}>"


def order_of(options: Options, image: Image) -> str:
    """The byte order of words in a file: "little" or "big"."""
    return options.order or image.target.order


def _taken(name: str) -> bool:
    return name in KEYWORDS or STANDARD_NAME.match(name) is not None


def _unquoted(header: str) -> str:
    quoted = len(header) > 1 and header[0] == header[-1] == '"'
    return header[1:-1] if quoted else header


def _is_storage(text: str) -> bool:
    """Words, each perhaps with arguments in parentheses, which must pair; numbers, texts and commas in them only."""
    text = text.strip(" ")
    place = depth = 0
    before = ""
    while place < len(text):
        token = STORAGE.match(text, place)
        if token is None:
            return False
        kind = token.lastgroup or ""
        if kind == "open":
            if before not in ("word", "open"):
                return False
            depth += 1
        elif kind != "word" and not depth:
            return False
        elif kind == "close":
            depth -= 1
        before = kind
        place = token.end()
    return not depth


def _printable(text: str) -> str:
    return ascii(text)[1:-1]
