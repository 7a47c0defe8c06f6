"""What Intel HEX and S-records share: a record is a mark, then bytes as two digits each, checked by their sum."""

from __future__ import annotations

from binascii import Error, unhexlify
from collections.abc import Callable

from xasm.formats.reading import Text

RECORD = 16  # data bytes of a record that is written


def record_bytes(text: Text, start: int, row: bytes, mark: int) -> bytes:
    """The bytes behind the first `mark` characters of a record. Raises Fault: read_digit, read_half."""
    try:
        return unhexlify(row[mark:])
    except Error:
        pass
    digits = row[mark:].strip(b"0123456789ABCDEFabcdef")
    if digits:
        raise text.digit_fault(start + mark, start + len(row))
    raise text.fault("read_half", start + len(row) - 1)


def check(text: Text, start: int, row: bytes, data: bytes, mark: int, extra: int, sum_to: Callable[[int], int]) -> None:
    """Holds a record against its length, which counts all but `extra` bytes, and against its checksum, which `sum_to` makes
    out of the sum of the other bytes. Raises Fault: read_short, read_length, read_checksum."""
    end = start + len(row)
    if len(data) < extra + (extra == 1):
        raise text.fault("read_short", end)
    if data[0] != len(data) - extra:
        raise text.fault("read_length", start + mark, start + mark + 2, told=data[0], found=len(data) - extra)
    wanted = sum_to(sum(data[:-1]))
    if data[-1] != wanted:
        raise text.fault("read_checksum", end - 2, end, found=f"{data[-1]:02X}", wanted=f"{wanted:02X}")
