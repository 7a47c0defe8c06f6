"""The file in which a person names what a program is made of, and by which the next run knows it.

    names:
      - {at: 0x0213, name: "wait", comment: "until the key is let go"}
      - {at: 0x0300, name: "greeting", kind: text, length: 12}
      - {at: 0x10, space: port, name: "lamps"}

What a person wrote is kept to the letter. What is as we wrote it is found anew each time.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import NamedTuple

from xasm.recovery.memory import Memory
from xasm.recovery.naming import OWN, PORT, SPACE_BITS, Names, own_name, taken
from xasm.recovery.regions import BYTES, FILL, TEXT, WORDS, Region, text_end
from xasm.recovery.told import Key, Told
from xasm.source.diagnostics import Fault, Report
from xasm.source.files import Place, Source
from xasm.target.document import Listing, Mapping, Value, read_document
from xasm.target.model import Target
from xasm.target.reading import KEYED, Reader, expect, integer, text, word

CODE = "code"
KINDS = (CODE, BYTES, TEXT, WORDS, FILL)
KEYS = {"at": True, "space": False, "name": False, "kind": False, "length": False, "comment": False}
HEAD = """\
# Names for the program in {path} ({chip}). What you write here is kept; what is as xasm wrote it is found anew each time.
#   at: an address      name: how it is called      comment: stands beside its line
#   kind: code, bytes, text, words (a table of addresses) or fill      length: in words
#   space: {spaces} (left out: the program's memory)
names:
"""


class Entry(NamedTuple):
    """One entry: `name`, `kind` and `comment` are "" where they are left out, `length` is None then. `own` tells that it is as
    we wrote it."""

    at: int
    space: str
    name: str
    kind: str
    length: int | None
    comment: str
    place: Place
    own: bool


@dataclass(frozen=True)
class NamesFile:
    """A names file as read: its text and entries, in its order."""

    source: Source
    entries: tuple[Entry, ...]

    @property
    def kept(self) -> tuple[Entry, ...]:
        """The entries that a person wrote or changed."""
        return tuple(entry for entry in self.entries if not entry.own)


def read_names(source: Source, target: Target, report: Report) -> NamesFile:
    """Reads a names file; all its mistakes go to the report, which raises SourceErrors."""
    reader = Reader(report)
    entries: list[Entry] = []
    try:
        document = expect(read_document(source, report), Mapping, "a names file", KEYED)
        reader.known(document, "a names file", {"names": False})
        listed = document.items.get("names")
        items = expect(listed, Listing, "'names'", "a list of entries").items if listed is not None else ()
        for item in items:
            entry = reader.attempt(partial(_entry, reader, item, target), None)
            if entry is not None:
                entries.append(entry)
        _check_twice(entries, reader)
        _check_lines(entries, source)
    except Fault as fault:
        report.fault(fault, (source, 1, 1))
    report.stop()
    return NamesFile(source, tuple(entries))


def _entry(reader: Reader, value: Value, target: Target) -> Entry:
    mapping = expect(value, Mapping, "an entry", KEYED)
    reader.known(mapping, "an entry", KEYS)
    items = mapping.items
    if "at" not in items:
        raise Fault("table_missing_key", place=mapping.place, what="an entry", key="at")
    space = word(items["space"], "space", spaces_of(target)) if "space" in items else ""
    top = (1 << 32) - 1 if space else target.top
    at = integer(items["at"], "at", 0, top)
    name = text(items["name"], "name") if "name" in items else ""
    kind = word(items["kind"], "kind", KINDS) if "kind" in items else ""
    length = integer(items["length"], "length", 1, target.top + 1 - at) if "length" in items else None
    comment = text(items["comment"], "comment") if "comment" in items else ""
    match = OWN.match(name)
    ours = match is not None and own_name(match[1], space, at, target) == name
    own = ours and length is None and not comment and kind in ("", match[1] if match else "")
    why = taken(name, target) if name and not ours else None
    if why is not None:
        raise Fault("names_name", place=items["name"].place, name=name, why=why)
    if space and (kind or length):
        key = "kind" if kind else "length"
        raise Fault("names_space", place=mapping.keys[key].place, key=key)
    return Entry(at, space, "" if ours else name, kind, length, comment, mapping.place, own)


def spaces_of(target: Target) -> tuple[str, ...]:
    """The spaces in which values can have names, beside that of the program."""
    groups = {*target.names.groups, *target.spaces, *(kind.space for kind in target.kinds.values() if kind.space), PORT}
    return tuple(sorted(groups))


def _check_twice(entries: list[Entry], reader: Reader) -> None:
    """An address, or a name, that is given twice."""
    places: dict[Key, Place] = {}
    names: dict[str, Place] = {}
    for entry in entries:
        key = (entry.space, entry.at)
        if key in places:
            reader.note(Fault("names_twice", place=entry.place, what=f"0x{entry.at:X}", line=places[key][1]))
        elif entry.name in names:
            reader.note(Fault("names_twice", place=entry.place, what=f"'{entry.name}'", line=names[entry.name][1]))
        places.setdefault(key, entry.place)
        if entry.name:
            names.setdefault(entry.name, entry.place)


def _check_lines(entries: list[Entry], source: Source) -> None:
    """Every entry begins in a line of its own, so that it can be kept as it is."""
    before = 0
    for entry in entries:
        line = entry.place[1]
        if line == before or not source.line(line).lstrip().startswith("-"):
            raise Fault("names_line", place=entry.place, hint='write it as   - {at: 0x0200, name: "start"}')
        before = line


def tell(names: NamesFile, memory: Memory, told: Told, report: Report) -> None:
    """Adds to what is told what the person says, which goes before it. Regions that share a word go to the report."""
    owner: dict[int, Entry] = {}
    for entry in names.kept:
        key = (entry.space, entry.at)
        if entry.name:
            told.names = {other: name for other, name in told.names.items() if name != entry.name}
            told.names[key] = entry.name
        if entry.comment and not entry.space:
            told.remarks.beside[entry.at] = entry.comment
            told.cuts.add(entry.at)
        if entry.kind == CODE:
            told.code.append(entry.at)
        elif entry.kind == BYTES and entry.length is None:  # up to what comes next, which is not known yet
            told.closed.add(entry.at)
            told.cuts.add(entry.at)
        elif entry.kind and entry.at in memory:
            region = Region(entry.at, _end(entry, memory), entry.kind, True)
            for at in range(region.start, region.end):
                other = owner.setdefault(at, entry)
                if other is not entry:
                    report.fault(Fault("names_overlap", line=other.place[1]), entry.place)
                    break
            _replace(told, region)
    report.stop()


def _end(entry: Entry, memory: Memory) -> int:
    """Where a region ends: as told, or as far as its kind goes by itself."""
    stop = entry.at + (entry.length or 1)
    if entry.length is None:
        end = entry.at + len(memory.run(entry.at))
        if entry.kind == TEXT:
            stop = max(stop, text_end(memory, entry.at, end))
        elif entry.kind == WORDS:
            stop = min(end, entry.at + memory.cells)
        elif entry.kind == FILL:
            while stop < end and memory.words[stop] == memory.words[entry.at]:
                stop += 1
    return stop


def _replace(told: Told, region: Region) -> None:
    """Puts a region in the place of what was told of its words before."""
    told.regions = [other for other in told.regions if other.end <= region.start or other.start >= region.end]
    told.regions.append(region)
    told.code = [at for at in told.code if not region.start <= at < region.end]


def written(names: Names, file: NamesFile | None, path: str, memory: Memory) -> str:
    """The text of a names file: that of the last time with what a person wrote, and what was found now. `path` is that of the
    program."""
    target = memory.target
    spaces = ", ".join(spaces_of(target))
    head = HEAD.format(path=path.encode("ascii", "replace").decode(), chip=target.name, spaces=spaces)
    blocks: list[tuple[Key, list[str]]] = []
    if file is not None:
        head, blocks = _kept(file)
    have = {key for key, _ in blocks}
    for (space, value), name in names.given().items():
        if (space, value) not in have:
            blocks.append(((space, value), [_line(names, space, value, name)]))
    blocks.sort(key=lambda block: block[0])
    return head + "".join(f"{line}\n" for _, lines in blocks for line in lines)


def _kept(file: NamesFile) -> tuple[str, list[tuple[Key, list[str]]]]:
    """The head of a file, and the lines of each entry that a person wrote, remarks in front of it with it."""
    lines = list(file.source.lines)
    while lines and not lines[-1].strip():
        lines.pop()
    if not file.entries:
        rest = [line for line in lines if not line.strip().startswith("names:")]
        return "".join(f"{line}\n" for line in [*rest, "names:"]), []
    starts = [_first_line(lines, entry.place[1] - 1) for entry in file.entries]
    blocks = []
    for index, entry in enumerate(file.entries):
        end = starts[index + 1] if index + 1 < len(starts) else len(lines)
        block = lines[starts[index] : end]
        if entry.own:
            block = [line for line in block if line.lstrip().startswith("#")]  # remarks are the person's
        if block:
            blocks.append(((entry.space, entry.at), block))
    return "".join(f"{line}\n" for line in lines[: starts[0]]), blocks


def _first_line(lines: list[str], index: int) -> int:
    """The index of the first remark right in front of a line."""
    while index and lines[index - 1].lstrip().startswith("#") and lines[index - 1][:1] in " \t":
        index -= 1
    return index


def _line(names: Names, space: str, value: int, name: str) -> str:
    digits = names.target.number_text(value, names.target.address if space == "" else SPACE_BITS)
    parts = [f"at: {digits}"]
    parts += [f"space: {space}"] if space else []
    parts.append(f'name: "{name}"')
    kind = names.kinds.get(value)
    parts += [f"kind: {kind}"] if space == "" and kind is not None else []
    return f"  - {{{', '.join(parts)}}}"
