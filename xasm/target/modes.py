"""Rows whose operands can be written in several ways: each is expanded to forms when somebody asks for them."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from xasm.source.diagnostics import Fault
from xasm.target.codes import CodeReader, Part
from xasm.target.forms import Form, Mode, Modes, Row
from xasm.target.kinds import Kind

ADDRESSED = ("jump", "branch", "call", "call_if")  # flows that go to a target
MOST_FORMS = 10_000  # of one row; more is a mistake in the table


@dataclass(eq=False)
class Pattern(Row):
    """A row with modes. `ways` maps names in `asm` to the modes that may stand there, `to` is what the row says of its
    target ("none", a field, or None)."""

    ways: dict[str, Modes]
    to: str | None
    reader: CodeReader
    _forms: tuple[Form, ...] | None = None

    @property
    def modes(self) -> dict[str, Modes]:
        return self.ways

    def forms(self) -> tuple[Form, ...]:
        if self._forms is None:
            self._forms = tuple(self._form(chosen) for chosen in itertools.product(*(ways.modes for ways in self.ways.values())))
        return self._forms

    def _form(self, chosen: tuple[Mode, ...]) -> Form:
        """The form in which each name stands for one mode."""
        put = dict(zip(self.ways, chosen, strict=True))
        fields = dict(self.fields)
        for mode in chosen:
            fields |= mode.fields
        names = "|".join(self.ways)
        operation, operands = self.mnemonic, self.asm[len(self.mnemonic) :]
        operands = re.sub(rf"(?<![A-Za-z0-9_'])(?:{names})(?![A-Za-z0-9_'])", lambda match: put[match[0]].asm, operands)
        return Form(
            asm=self.asm[: len(operation)] + operands,
            code_text=" ".join(part.text for part in self._parts(put) if part.text),
            fields=fields,
            cycles=self.cycles + sum(mode.cycles for mode in chosen),
            taken=self._taken(chosen),
            cross=added([self.cross, *(mode.cross for mode in chosen)]),
            flow=self.flow,
            target=self._target(chosen, fields),
            behind=self.behind,
            alias=self.alias or any(mode.alias for mode in chosen),
            undocumented=self.undocumented or any(mode.undocumented for mode in chosen),
            note="; ".join(note for note in (self.note, *(mode.note for mode in chosen)) if note),
            over=self.over,
            always=self.always,
            flow_with=self.flow_with,
            places=self.places | {"asm": chosen[-1].places["asm"], "code": chosen[-1].places["code"]},
            code=self.reader.read(self._parts(put), fields),
            row=self,
            chosen=chosen,
        )

    def _parts(self, put: dict[str, Mode]) -> Iterator[Part]:
        """The code of the row with that of the modes in its place."""
        own: list[str] = []
        for word in self.code_text.split():
            mode = put.get(word[1:-1]) if word[0] == "<" else None
            if mode is None:
                own.append(word)
                continue
            if own:
                yield Part(" ".join(own), self.places["code"])
                own = []
            yield Part(mode.code_text, mode.places["code"], True)
        if own:
            yield Part(" ".join(own), self.places["code"])

    def _taken(self, chosen: tuple[Mode, ...]) -> int | None:
        """The time when the condition is met; where one part of it does not say, it takes its time either way."""
        parts = [(self.cycles, self.taken), *((mode.cycles, mode.taken) for mode in chosen)]
        if all(taken is None for _, taken in parts):
            return None
        return sum(cycles if taken is None else taken for cycles, taken in parts)

    def _target(self, chosen: tuple[Mode, ...], fields: dict[str, Kind]) -> str | None:
        said = next((mode.to for mode in chosen if mode.to is not None), self.to) if self.flow in ADDRESSED else self.to
        if said is not None:
            return None if said == "none" else said
        found = addresses(fields) if self.flow in ADDRESSED else []
        if len(found) > 1:
            raise Fault("table_flow_target", place=self.places["flow"], flow=self.flow)
        return found[0] if found else None


def added(parts: Iterable[int | None]) -> int | None:
    """The sum of what is there; None when nothing is."""
    there = [part for part in parts if part is not None]
    return sum(there) if there else None


def addresses(fields: dict[str, Kind]) -> list[str]:
    """The fields that control can go to."""
    return [name for name, kind in fields.items() if kind.address]
