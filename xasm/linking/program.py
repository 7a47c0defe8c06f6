"""Modules to one program: sections of the same name strung together, and each module's names made ready for the linker.

A name belongs to its module. What one module declares PUBLIC, the others get by EXTERN.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from xasm.assembly.module import Entry, Equate, Module, Section, SectionStart
from xasm.source.diagnostics import Fault, Report, elsewhere
from xasm.source.files import Place, Source
from xasm.target.model import Target


class Unit:
    """A module in a program, with every name that it can use: `labels` maps it to the entry it stands before (or to the
    number of entries), `constants` to a value, `equates` to a number in the program's list. `bases` maps the number of a
    section to the index of its first entry; a section that is left out is not in it."""

    __slots__ = ("bases", "constants", "equates", "labels", "module")

    def __init__(self, module: Module) -> None:
        self.module = module
        self.labels: dict[str, int] = {}
        self.constants = module.constants
        self.equates: dict[str, int] = {}
        self.bases: dict[int, int] = {}

    def is_left_out(self, name: str) -> bool:
        """Whether a name of the module went with a section that is left out."""
        known = name in self.labels or name in self.constants or name in self.equates or name in self.module.variables
        return not known


class Chunk(NamedTuple):
    """What one module adds to one section: its entries begin at index `first`."""

    unit: Unit
    section: Section
    first: int


class Joined(NamedTuple):
    """A section of the program: all sections of that name, module by module. `place` is where it was first named."""

    name: str
    space: str
    place: Place
    chunks: list[Chunk]

    @property
    def shown(self) -> str:
        """The name that messages and reports give it."""
        return self.name or MAIN


MAIN = "main"  # what the section that a source begins with is called


class Program:
    """One program for a chip, placed nowhere yet. `entries` is everything in order; `sections` its sections, which `entries`
    announces by a SectionStart each where there are several or `starts` is true; `equates` are those of all modules,
    with the unit that each belongs to. `public` maps a PUBLIC name to the unit that defines it.

    `unused` are (module, section) pairs to leave out, by identity of the module and number of the section.
    """

    def __init__(
        self,
        modules: Sequence[Module],
        target: Target,
        report: Report,
        starts: bool = False,
        unused: frozenset[tuple[int, int]] = frozenset(),
    ) -> None:
        self.modules = modules
        self.target = target
        self.units = [Unit(module) for module in modules]
        homes = {id(unit.module): unit for unit in self.units}
        self.public = {name: homes[id(module)] for name, module in exported(modules, report).items()}
        self.entries: list[Entry] = []
        self.chunks: list[Chunk] = []
        self.sections = self._join(report, unused)
        self._string(starts or len(self.sections) > 1)
        self._firsts = [chunk.first for chunk in self.chunks]
        self.equates: list[tuple[Unit, Equate]] = []
        for unit in self.units:
            self._name(unit)
        for unit in self.units:
            self._import(unit)

    def unit_of(self, index: int) -> Unit:
        """The module that an entry is of."""
        return self.chunks[bisect_right(self._firsts, index) - 1 if index else 0].unit

    def sources(self) -> Iterator[Source]:
        """The sources of all modules, in order."""
        for module in self.modules:
            yield from module.sources

    def _join(self, report: Report, unused: frozenset[tuple[int, int]]) -> list[Joined]:
        """The sections by name, in the order in which they are first met."""
        found: dict[str, Joined] = {}
        for unit in self.units:
            for section in unit.module.sections:
                if (id(unit.module), section.number) in unused:
                    continue
                place = section.place or (unit.module.sources[0] if unit.module.sources else Source("", ""), 0, 1)
                joined = found.setdefault(section.name, Joined(section.name, section.space, place, []))
                if joined.space != section.space:
                    report.fault(Fault("section_space", name=section.name, space=joined.space or "program"), place, 0, len("SECTION"))
                    continue
                joined.chunks.append(Chunk(unit, section, 0))
        return list(found.values())

    def _string(self, starts: bool) -> None:
        """Strings the sections together."""
        entries = self.entries
        for number, joined in enumerate(self.sections):
            if starts:
                entries.append(Entry(SectionStart(number, joined.space), joined.place, 0, ""))
            for position, (unit, section, _) in enumerate(joined.chunks):
                first = len(entries)
                unit.bases[section.number] = first
                joined.chunks[position] = Chunk(unit, section, first)
                entries += section.entries
            self.chunks += joined.chunks
        if len(self.chunks) == 1 and not starts:
            self.entries = self.chunks[0].section.entries

    def _name(self, unit: Unit) -> None:
        """Gives a unit the names that its module defines."""
        module = unit.module
        for section in module.sections:
            base = unit.bases.get(section.number)
            if base == 0 and not unit.labels:
                unit.labels = section.labels if len(module.sections) == 1 else dict(section.labels)
            elif base is not None:
                unit.labels.update((name, base + index) for name, index in section.labels.items())
        for name, equate in module.equates.items():
            if equate.section in unit.bases:
                unit.equates[name] = len(self.equates)
                self.equates.append((unit, equate._replace(position=unit.bases[equate.section] + equate.position)))

    def _import(self, unit: Unit) -> None:
        """Gives a unit what it names EXTERN and others define."""
        foreign = [name for name in unit.module.external if name not in unit.module.defined and name in self.public]
        if foreign:
            unit.labels, unit.constants = dict(unit.labels), dict(unit.constants)
        for name in foreign:
            home = self.public[name]
            for mine, theirs in ((unit.labels, home.labels), (unit.constants, home.constants), (unit.equates, home.equates)):
                if name in theirs:
                    mine[name] = theirs[name]


def exported(modules: Iterable[Module], report: Report) -> dict[str, Module]:
    """The PUBLIC names and the module that defines each. Reports a name that several define, with both places, and one that
    is PUBLIC and not defined."""
    public: dict[str, Module] = {}
    for module in modules:
        for name, place in module.public.items():
            if name not in module.defined:
                if name not in module.external:
                    report.fault(Fault("undefined", 0, len(name), name=name), place)
                continue
            first = public.setdefault(name, module)
            if first is not module:
                here = module.defined[name]
                report.fault(Fault("public_twice", 0, len(name), name=name, first=elsewhere(first.defined[name], here)), here)
    return public
