"""Constants in C text: values, names and comments that every compiler takes."""

from __future__ import annotations

import re

from xasm.target.model import Target

LEAST = -(1 << 63)  # the constants that C has
MOST = (1 << 64) - 1


def symbol_name(prefix: str, symbol: str) -> str:
    """The name of a symbol's constant. The symbol keeps its spelling: two may differ in nothing but small and capital letters."""
    return f"{prefix}_SYMBOL_{symbol.replace('.', '_')}"


def symbol_line(prefix: str, symbol: str, value: int, target: Target, remark: str = "") -> str:
    """The line that defines a symbol's constant, with a remark behind it; a comment where C has no such number."""
    name = symbol_name(prefix, symbol)
    if not LEAST <= value <= MOST:
        return f"/* {name} has more than 64 bits */\n"
    return f"#define {name} {constant(target, value)}{f' /* {comment(remark)} */' if remark else ''}\n"


def address_constant(target: Target, address: int) -> str:
    return f"{target.hex_address(address)}U"


def constant(target: Target, value: int) -> str:
    """A number of `LEAST`..`MOST`."""
    if value >= 0:
        return address_constant(target, value)
    # C reads -N as minus applied to N, and the N of the lowest number is one too many.
    return f"({value + 1} - 1)" if value == LEAST else f"({value})"


def comment(text: str) -> str:
    """A text that can stand in a comment: in one line of ASCII, without what begins or ends a comment or a trigraph."""
    plain = " ".join(text.split()).encode("ascii", "replace").decode()
    return re.sub(r"(?<=\*)(?=/)|(?<=/)(?=\*)|(?<=\?)(?=\?)", " ", plain)
