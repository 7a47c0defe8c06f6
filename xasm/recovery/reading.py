"""A file of any kind to the words of a program, and to what it says about them. The kind is found by the content."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from xasm.formats import READERS
from xasm.formats.finding import CONTROL, HEAD, suffix_of
from xasm.formats.reading import Reading
from xasm.linking.image import Image
from xasm.recovery.told import Told
from xasm.recovery.typed import read_typed
from xasm.source.diagnostics import Diagnostic, Fault, Report
from xasm.source.files import Source, read_bytes, whole
from xasm.target.model import Target

LISTING = "listing"
KINDS = {"listing": LISTING, "binary": ".bin", "intel-hex": ".hex", "s-records": ".srec", "memory-hex": ".mem", "c": ".c"}
TITLES = {LISTING: "a typed listing", ".bin": "a raw binary", ".c": "C arrays"}
RECORDS = ((".hex", re.compile(rb"\s*:[0-9A-FOIa-fol]{4}")), (".srec", re.compile(rb"\s*S[0-9][0-9A-FOIa-fol]{4}")))
ARRAY = re.compile(rb"[A-Za-z_]\w*\s*\[[^\]\r\n]{0,100}\][^;{}=]{0,200}=\s*\{")


@dataclass(frozen=True)
class Wanted:
    """How a file is to be read: `kind` is one of KINDS (None: as its content shows), `address` that of the first word where the
    file does not say it, `words` and `places` the bases of the numbers of a listing, `lenient` takes what a typist probably
    meant."""

    kind: str | None = None
    address: int | None = None
    words: str = "hex"
    places: str = "hex"
    lenient: bool = False


@dataclass
class Read:
    """The words of a file, its kind in words, what it says about them, slips that were put right, and what was put behind what
    stands in front of it, as (name, address)."""

    image: Image
    kind: str
    told: Told
    taken: list[Diagnostic]
    put: tuple[tuple[str, int], ...] = ()


def read_program(path: str, target: Target, wanted: Wanted, report: Report) -> Read:
    """Reads a file. Raises Fault or, for a listing, SourceErrors through the report."""
    data = read_bytes(Path(path), path)
    if not data:
        raise Fault("read_empty", place=whole(path))
    kind = KINDS[wanted.kind] if wanted.kind else kind_of(data)
    if kind == LISTING:
        source = Source(path, data.decode("utf-8-sig", "replace").rstrip("\x1a"))
        typed = read_typed(source, target, report, wanted.address, wanted.words, wanted.places, wanted.lenient)
        return Read(typed.image.image(target), TITLES[kind], typed.told, typed.taken)
    reading = Reading(wanted.address, target.word if kind != ".c" else None, target.order)
    try:
        found = READERS[kind].read(data, path, reading)
    except Fault as fault:
        if fault.code == "read_address":
            fault.hint = "--at 0x0200, for one, says where the first word belongs"
        raise
    return Read(found.image(target), TITLES.get(kind, READERS[kind].title), Told(), [], found.put)


def kind_of(data: bytes) -> str:
    """The kind of a content; what is text and nothing else is a listing."""
    found = suffix_of(data)
    if found in (".hex", ".srec", ".mem", ".c"):
        return found
    head = data[:HEAD]
    for kind, sign in RECORDS:  # a record that is mistyped is one still
        if sign.match(head):
            return kind
    text = data.strip(b"\0")[:HEAD]  # zeros fill a tape in front and behind
    lines = data.count(b"\n") + data.count(b"\r")
    if not text or CONTROL.search(text) or not text_like(text) or (b"\0" in data and not lines):
        return ".bin"
    return ".c" if ARRAY.search(data) else LISTING


def text_like(head: bytes) -> bool:
    """Whether bytes are text: at most a few that are neither ASCII nor UTF-8."""
    return sum(1 for byte in head if byte >= 0x80 or not byte) * 10 <= len(head)
