"""What people say about a program: in a typed listing, in a names file, on the command line."""

from __future__ import annotations

from dataclasses import dataclass, field

from xasm.recovery.regions import Region

Key = tuple[str, int]  # a space ("" is that of the program) and a value in it


@dataclass
class Remarks:
    """Lines above the statement at an address, what stands beside it, and lines at the end of all."""

    above: dict[int, list[str]] = field(default_factory=dict)
    beside: dict[int, str] = field(default_factory=dict)
    last: list[str] = field(default_factory=list)


@dataclass
class Told:
    """`starts` are addresses where the program may begin, `code` those of other instructions, `names` those of places, `spare`
    names for values in case that one turns out to be a place, `regions` are data, at `cuts` a new line begins, at `closed` is no code."""

    starts: list[int] = field(default_factory=list)
    code: list[int] = field(default_factory=list)
    names: dict[Key, str] = field(default_factory=dict)
    spare: dict[Key, str] = field(default_factory=dict)
    remarks: Remarks = field(default_factory=Remarks)
    regions: list[Region] = field(default_factory=list)
    cuts: set[int] = field(default_factory=set)
    closed: set[int] = field(default_factory=set)
