"""What a person says about ways that data decides: `--take ADDRESS=yes`."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import NamedTuple

from xasm.source.diagnostics import Fault
from xasm.source.nearest import nearest
from xasm.syntax import literals
from xasm.target.model import Target

FORM = re.compile(r"\s*([^=\s]+)\s*=\s*(yes|no|(\d{1,7})(?: times?)?|to (\S+))\s*\Z", re.IGNORECASE)
MOST_TIMES = 1_000_000


class Take(NamedTuple):
    """How the condition of an instruction turns out: `times` in a row it is met and then once not, and so on (-1: always);
    `to` is where a computed way leads. `text` is as typed."""

    times: int
    to: int | None
    text: str


def read_takes(texts: Iterable[str], symbols: Mapping[str, int], target: Target) -> dict[int, Take]:
    """The answers by address of the instruction; an address is a number or a name of the program. Raises Fault."""
    found: dict[int, Take] = {}
    for text in texts:
        match = FORM.match(text)
        if match is None:
            raise Fault("take_form", text=text, hint="as in --take 0x0203=yes, 0x0203=no, 'loop=3 times' or '0x0203=to 0x0300'")
        address = _address(match[1], symbols, target)
        if address in found:
            raise Fault("take_twice", address=target.address_text(address))
        word = match[2].lower()
        if match[4] is not None:
            found[address] = Take(0, _address(match[4], symbols, target), text)
        elif match[3] is not None:
            if int(match[3]) > MOST_TIMES:
                raise Fault("take_times", times=int(match[3]), limit=MOST_TIMES)
            found[address] = Take(int(match[3]), None, text)
        else:
            found[address] = Take(-1 if word == "yes" else 0, None, text)
    return found


def _address(text: str, symbols: Mapping[str, int], target: Target) -> int:
    if text in symbols:
        value = symbols[text]
    elif re.match(r"[0-9$%]|H'", text, re.IGNORECASE):
        try:
            value = literals.number(text, 0)
        except (Fault, IndexError):
            raise Fault("take_address", text=text, hint="write it as in source: 0x0200, 0200H") from None
    else:
        near = nearest(text, symbols)
        raise Fault("undefined", name=text, hint=f"did you mean {' or '.join(near)}?" if near else None)
    if not 0 <= value <= target.top:
        raise Fault("take_outside", text=text, chip=target.name, top=target.address_text(target.top))
    return value
