"""Source out of what was found: code with labels, data by what it is, remarks about who leads where."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping

from xasm.recovery.exact import Found
from xasm.recovery.memory import Memory
from xasm.recovery.naming import SPACE_BITS, Names
from xasm.recovery.regions import FILL, TEXT, WORDS, Region
from xasm.recovery.told import Key, Remarks
from xasm.recovery.tracing import Trace
from xasm.target.decode import text_of

ROW = 8  # words of a row of data
TEXT_ROW = 48  # characters of a row of text
STATEMENT, REMARK = 12, 40  # columns before them
MOST_PLACES = 6  # that a remark names
LAST = ("jump", "return")  # behind these a new part begins
PLAIN = re.compile(r"[ !#-\[\]-~]")
BLANK = re.compile(r"\s+")


Forced = Mapping[int, tuple[int, ...]]


class Writer:
    """Writes one program. `arrivals` are remarks about places where no instruction is; `forced` maps instructions for which the
    assembler could choose other codes to the words that their code begins with, none where they are written as data."""

    def __init__(self, memory: Memory, trace: Trace, names: Names, remarks: Remarks, arrivals: dict[int, str], forced: Forced) -> None:
        self.memory = memory
        self.target = memory.target
        self.trace = trace
        self.names = names
        self.remarks = remarks
        self.arrivals = arrivals
        self.forced = forced
        self.lines: list[str] = []

    def source(self, head: Iterable[str], regions: Iterable[Region]) -> str:
        """The whole text; `head` are remarks about the whole."""
        data = {region.start: region for region in regions}
        self.middles = self.inside_names()
        for start, words in self.memory.parts:
            self.blank()
            self.put("", f"{self.ours('ORG')} {self.target.address_text(start)}")
            if start in self.trace.code:
                self.blank()
            at = start
            while at < start + len(words):
                found = self.trace.code.get(at)
                at = self.code(found) if found is not None else self.data(data[at])
        self.lines += [f"; {plain(line)}".rstrip() for line in self.remarks.last]
        body, self.lines = self.lines, []
        self.lines += [f"; {line}".rstrip() for line in head]
        self.blank()
        self.put("", f"TARGET {self.target.name}")
        self.equates()
        self.blank()
        return "\n".join([*self.lines, *body]) + "\n"

    # lines

    def blank(self) -> None:
        if self.lines and self.lines[-1]:
            self.lines.append("")

    def put(self, label: str, statement: str, remark: str = "") -> None:
        """A line with its parts in columns; a long label stands alone."""
        if len(label) > STATEMENT:
            self.lines.append(label)
            label = ""
        line = f"{label:<{STATEMENT}}{statement}"
        if remark:
            # a space at least between a statement and its remark
            line = f"{line:<{REMARK - 1}} ; {plain(remark)}"
        self.lines.append(line.rstrip())

    def ours(self, directive: str) -> str:
        """The name of a directive of ours in source for this chip."""
        return self.target.directive(directive)

    def above(self, address: int) -> None:
        """Remarks that people put above a line."""
        self.lines += [f"; {plain(line)}".rstrip() for line in self.remarks.above.get(address, ())]

    def places(self, what: str, addresses: Iterable[int], shown: Callable[[int], str] | None = None) -> str:
        """A remark that names places; "" for none."""
        found = sorted(set(addresses))
        more = f" and {len(found) - MOST_PLACES} more" if len(found) > MOST_PLACES else ""
        return f"{what} {', '.join(map(shown or self.names.where, found[:MOST_PLACES]))}{more}" if found else ""

    # the parts

    def equates(self) -> None:
        """Names of what lies outside of the program."""
        names = self.names
        keys = sorted({*names.equates, *(key for key in names.told if self.outside(key))})
        if keys:
            self.blank()
        for space, value in keys:
            digits = self.target.address_text(value) if space == "" else self.target.number_text(value, SPACE_BITS)
            users = names.equates.get((space, value), [])
            remark = self.remarks.beside.get(value, "") if space == "" else ""
            self.put(names.name(space, value), f"{self.ours('EQU')} {digits}", remark or self.places("at", users, self.target.address_text))

    def outside(self, key: Key) -> bool:
        return key[0] != "" or key[1] not in self.memory

    def code(self, found: Found) -> int:
        """Writes an instruction; returns the address behind it."""
        trace, at = self.trace, found.address
        label = self.names.label(at)
        notes = []
        if at in trace.calls or at in self.names.starts:
            self.blank()
            self.above(at)
            if at in trace.calls:
                self.lines.append(f"; {self.places('called at', trace.calls[at])}")
        else:
            self.above(at)
            if at in trace.jumps:
                notes.append(self.places("from", trace.jumps[at], self.target.address_text))
        told = self.remarks.beside.get(at)
        notes = [told, *notes] if told else notes
        if at in trace.computed:
            notes.append("where this goes is known only when it runs")
        if at in trace.reached:
            notes.append(f"to {', '.join(map(self.place_text, sorted(trace.reached[at])[:MOST_PLACES]))}")
        text = self.text(found)
        begins = self.forced.get(at)
        if begins is None:
            statement = text
        elif begins:
            statement = f"{self.ours('CODED')} {self.words_text(begins)}: {text}"
        else:
            statement = self.as_data(found.words)
            notes.insert(0, f"{text}, in another code than the assembler's")
        self.put(f"{label}:" if label else "", statement, "; ".join(notes))
        for address in range(at + 1, found.end):
            self.middle(address, found)
        if found.instruction.flow in LAST:
            self.blank()
        return found.end

    def text(self, found: Found) -> str:
        """An instruction with names in place of numbers."""
        fields = dict(found.instruction.fields)
        for name in fields:
            named = self.names.of_field(found, name)
            if named is not None:
                fields[name] = named
        return text_of(found.form, fields, self.target)

    def as_data(self, words: Iterable[int]) -> str:
        return f"{self.ours('DB')} {self.words_text(words)}"

    def words_text(self, words: Iterable[int]) -> str:
        return ", ".join(map(self.word_text, words))

    def word_text(self, word: int) -> str:
        return self.target.number_text(word, self.target.word)

    def inside_names(self) -> dict[int, str]:
        """The names of places in the middle of instructions."""
        trace = self.trace
        middles = (at for at, owner in trace.owner.items() if at != owner)
        return {at: name for at in middles if (name := self.names.label(at)) is not None}

    def middle(self, address: int, found: Found) -> None:
        """The name of a place in the middle of an instruction, behind that."""
        name = self.middles.get(address)
        if name is None:
            return
        inner = self.trace.inside.get(address)
        reads = f"the middle of it; from here it reads {inner.instruction.text}" if inner else "the middle of it"
        self.put(name, f"{self.ours('EQU')} $ - {found.end - address}", reads)

    def data(self, region: Region) -> int:
        """Writes a region; returns the address behind it."""
        at = region.start
        label = self.names.label(at)
        trace = self.trace
        users = [one for notes in (trace.uses, self.names.pointers, trace.jumps, trace.calls) for one in notes.get(at, ())]
        if label:
            self.blank()
        self.above(at)
        if users:
            self.lines.append(f"; {self.places('used at', users)}")
        told = self.remarks.beside.get(at, "") or self.arrivals.get(at, "")
        tag = f"{label}:" if label else ""
        for statement in self.statements(region):
            self.put(tag, statement, told)
            tag = told = ""
        return region.end

    def statements(self, region: Region) -> Iterator[str]:
        words = [self.memory.words[at] for at in range(region.start, region.end)]
        cells = self.memory.cells
        if region.kind == FILL and len(set(words)) == 1:
            yield f"{self.ours('DS')} {len(words)}, {self.word_text(words[0])}"
        elif region.kind == TEXT:
            yield from (f"{self.ours('DB')} {row}" for row in texts(words, self.word_text))
        elif region.kind == WORDS and cells == 2 and len(words) >= cells:
            whole = len(words) // cells * cells
            for at in range(region.start, region.start + whole, cells):
                yield f"{self.ours('DW')} {self.address_text(at)}"
            if whole < len(words):
                yield self.as_data(words[whole:])
        else:
            for first in range(0, len(words), ROW):
                yield self.as_data(words[first : first + ROW])

    def place_text(self, address: int) -> str:
        """A place as remarks name it: by its name if it has one."""
        named = self.names.label(address) if address in self.memory else None
        return named or self.target.address_text(address)

    def address_text(self, at: int) -> str:
        """What stands for the address that lies at a place."""
        value = self.memory.number(at)
        if value is None:
            low, high = self.memory.from_(at, 2)
            if self.target.order == "big":
                low, high = high, low
            return self.target.number_text(high << self.target.word | low, 0)
        return (value in self.memory and self.names.label(value)) or self.target.address_text(value)


def texts(codes: list[int], number: Callable[[int], str]) -> Iterator[str]:
    """Rows of text with what has no character as numbers; a row ends behind a line end."""
    parts: list[str] = []
    run = ""
    for index, code in enumerate(codes):
        if 0x20 <= code <= 0x7E:
            run += chr(code) if PLAIN.match(chr(code)) else f"\\{chr(code)}"
        else:
            parts += [f'"{run}"'] if run else []
            parts.append(number(code))
            run = ""
        follows = codes[index + 1] if index + 1 < len(codes) else 0
        ends = code < 0x20 <= follows
        if ends or len(run) + sum(map(len, parts)) >= TEXT_ROW:
            parts += [f'"{run}"'] if run else []
            yield ", ".join(parts)
            parts, run = [], ""
    parts += [f'"{run}"'] if run else []
    if parts:
        yield ", ".join(parts)


def plain(text: str) -> str:
    """A remark in one line of characters that any file can hold."""
    return BLANK.sub(" ", text).strip().encode("ascii", "replace").decode()
