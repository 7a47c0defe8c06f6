"""The rows of a table, and the modes that their operands may have."""

from __future__ import annotations

import re
from functools import partial
from typing import Any, NamedTuple

from xasm.source.diagnostics import Fault
from xasm.syntax.lines import cut_statement
from xasm.syntax.parser import parse_operands
from xasm.target.bus_parts import read_flows
from xasm.target.codes import CodeReader, Part
from xasm.target.document import Listing, Mapping, Scalar, Value
from xasm.target.forms import FLOWS, Form, Mode, Modes, Row
from xasm.target.kind_loader import KEYS, LONGEST_TIME, is_modes
from xasm.target.kinds import Choice, Kind, NameList
from xasm.target.modes import ADDRESSED, MOST_FORMS, Pattern, addresses
from xasm.target.reading import KEYED, Reader, expect, integer, missing_key, text, truth, unknown_key, word

ROW = ("asm", "code", "cycles", "taken", "cross", "flow", "flow_with", "over", "always", "to", "alias", "undocumented", "note")
MODE = tuple(key for key in ROW if key not in ("flow", "flow_with", "over", "always"))
MOST_OVER = 16  # words that a skip passes over
FIELD = re.compile(r"[a-z][a-z0-9]*\Z")
BEHIND = re.compile(r"([a-z][a-z0-9]*)\+([1-9])\Z")  # `to` of a row
ASM = re.compile(r"[^\s;]+(?: [^\s;][^;\t]*)?\Z")
OPERAND_WORD = re.compile(r"(?<![A-Za-z0-9_'])[A-Za-z][A-Za-z0-9_]*")


class Named(NamedTuple):
    """What the keys of a row say of the words in its `asm`: the kinds of fields, and modes."""

    fields: dict[str, Kind]
    modes: dict[str, Modes]


class RowReader:
    """Reads rows and modes with the kinds of the table; a kind that is None has a mistake of its own."""

    def __init__(self, reader: Reader, kinds: dict[str, Kind | None], code: CodeReader) -> None:
        self.reader = reader
        self.kinds = kinds
        self.code = code
        self.modes: dict[str, Modes | None] = {}

    def read_modes(self, value: Value) -> None:
        """The kinds that are modes, which are read when all others are known."""
        for name, item in value.items.items() if isinstance(value, Mapping) else ():
            if is_modes(item):
                self.modes[name] = None
                self.modes[name] = self.reader.attempt(partial(self._modes, name, item), None)

    def rows(self, value: Value) -> tuple[Row, ...]:
        found = []
        for item in expect(value, Listing, "'forms'", "a list of rows").items:
            row = self.reader.attempt(partial(self._row, item), None)
            if row is not None:
                found.append(row)
            if self.reader.report.full:
                break
        return tuple(found)

    # rows

    def _row(self, value: Value) -> Row | None:
        """One row; None where a kind that it uses has a mistake of its own."""
        row = expect(value, Mapping, "a row", KEYED)
        items = row.items
        for key in ("asm", "code", "cycles"):
            if key not in items:
                raise missing_key(row, "the row", key)
        asm = text(items["asm"], "asm", quoted=True)
        if not ASM.match(asm):
            wanted = "a mnemonic, and where there are operands one blank and the operands"
            raise Fault("table_shape", place=items["asm"].place, what="'asm'", wanted=wanted)
        try:
            operands = asm if self._is_list(items.get(asm)) else cut_statement(asm).operands
        except Fault as fault:
            raise Fault("table_asm", place=items["asm"].place, why=fault.text) from None
        named = self._named(row, operands, ROW)
        if named is None:
            return None
        flow = word(items["flow"], "flow", FLOWS) if "flow" in items else "next"
        common = self._common(row) | self._skipping(items, flow) | {"asm": asm, "flow": flow, "fields": named.fields}
        common["behind"] = self._behind(row)
        common["flow_with"] = read_flows(items["flow_with"]) if "flow_with" in items else {}
        if named.modes:
            return self._pattern(row, named, common)
        code = self.code.read([Part(common["code_text"], items["code"].place)], named.fields)
        return Form(**common, target=self._target(row, flow, named.fields), code=code)

    @staticmethod
    def _skipping(items: dict[str, Value], flow: str) -> dict[str, Any]:
        """What a row says of the words that it passes over."""
        for key in ("over", "always"):
            if key in items and flow != "skip":
                raise Fault("table_flow_key", place=items[key].place, key=key, flow="skip")
        over = integer(items["over"], "over", 1, MOST_OVER) if "over" in items else None
        return {"over": over, "always": truth(items["always"], "always") if "always" in items else False}

    def _common(self, row: Mapping) -> dict[str, Any]:
        """What rows and modes have alike."""
        items = row.items
        time = {key: integer(items[key], key, 0, LONGEST_TIME) if key in items else None for key in ("cycles", "taken", "cross")}
        return {
            "code_text": text(items["code"], "code", quoted=True),
            **time,
            "alias": truth(items["alias"], "alias") if "alias" in items else False,
            "undocumented": truth(items["undocumented"], "undocumented") if "undocumented" in items else False,
            "note": text(items["note"], "note") if "note" in items else "",
            "places": {key: item.place for key, item in items.items()} | {"": row.place},
        }

    def _named(self, row: Mapping, operands: str, keys: tuple[str, ...]) -> Named | None:
        """The fields and modes of a row (whose own keys are `keys`) with these operands."""
        words = OPERAND_WORD.findall(operands)
        known: dict[str, Kind | Modes | None] = {**self.kinds, **self.modes} if keys is ROW and self.modes else {**self.kinds}
        found = Named({}, {})
        whole = True
        for key, item in row.items.items():
            if key in keys:
                continue
            if not FIELD.match(key) or (key not in words and not self._names_kind(item)):
                raise unknown_key(row.keys[key], keys, ", and the fields of 'asm'")
            name = expect(item, Scalar, f"'{key}'", "the name of a kind").value
            if name not in known:
                raise Fault("table_kind", place=item.place, kind=name, hint=f"the table has: {', '.join(known)}")
            kind = known[name]
            if kind is None:
                whole = False
                continue
            if key not in words:
                raise Fault("table_hole_missing", place=row.keys[key].place, field=key, where="asm")
            if words.count(key) > 1 and not (isinstance(kind, Choice) and kind.other is None):
                raise Fault("table_hole_twice", place=row.items["asm"].place, field=key)
            if isinstance(kind, NameList) and not re.search(rf"(?:\A|,){key}\Z", operands):
                raise Fault("table_list_last", place=row.items["asm"].place, field=key)
            if isinstance(kind, Modes):
                found.modes[key] = kind
            else:
                found.fields[key] = kind
        if not whole:
            return None
        for name in words:
            if FIELD.match(name) and name not in found.fields and name not in found.modes:
                hint = f"give its kind ({name}: kind), or write it in capitals if it is a word of the chip"
                part = "row" if keys is ROW else "mode"
                raise Fault("table_no_field", place=row.items["asm"].place, field=name, part=part, hint=hint)
        return found

    def _is_list(self, value: Value | None) -> bool:
        """Whether a value is the name of a list of words, which can be a whole statement."""
        kind = self.kinds.get(str(value.value)) if isinstance(value, Scalar) else None
        return isinstance(kind, NameList) and kind.apart == " "

    def _names_kind(self, value: Value) -> bool:
        """Whether a value is the name of a kind, so that its key is meant as a field."""
        return isinstance(value, Scalar) and (value.value in self.kinds or value.value in self.modes)

    def _target(self, row: Mapping, flow: str, fields: dict[str, Kind]) -> str | None:
        """The field that holds where control goes."""
        said = self._to(row, [*fields])
        if said is not None:
            return None if said == "none" else said
        if flow not in ADDRESSED:
            return None
        targets = addresses(fields)
        if len(targets) == 1:
            return targets[0]
        if flow == "jump" and not targets:
            return None
        raise Fault("table_flow_target", place=row.items["flow"].place, flow=flow)

    def _behind(self, row: Mapping) -> int:
        """How many words behind its target control goes: `to: a+1`."""
        match = BEHIND.fullmatch(text(row.items["to"], "to")) if "to" in row.items else None
        return int(match[2]) if match else 0

    def _to(self, row: Mapping, fields: list[str]) -> str | None:
        """The field that the key `to` names, or "none"; None where the key is not there."""
        if "to" not in row.items:
            return None
        name = BEHIND.sub(r"\1", text(row.items["to"], "to"))
        if name != "none" and name not in fields:
            raise Fault("table_value", place=row.items["to"].place, value=name, key="to", wanted=", ".join(["none", *fields]))
        return name

    # rows with modes

    def _pattern(self, row: Mapping, named: Named, common: dict[str, Any]) -> Pattern:
        """A row with modes, looked at without making its forms: they may be many."""
        taken = [*named.fields, *named.modes]
        count = 1
        for key, modes in named.modes.items():
            same = next((name for name in taken if name in modes.every), None)
            if same is not None:
                mode = next(mode for mode in modes.modes if same in mode.fields)
                raise Fault("table_mode_field", place=row.keys[key].place, field=same, mode=mode.asm, kind=modes.name)
            taken += modes.every
            count *= len(modes.modes)
        if count > MOST_FORMS:
            raise Fault("table_asm", place=row.items["asm"].place, why=f"it stands for more than {MOST_FORMS:,} forms")
        self._holes(common["code_text"], row, named)
        shared = [*named.fields, *sorted({field for modes in named.modes.values() for field in modes.common})]
        to = self._to(row, shared)
        target = None if to == "none" else to
        return Pattern(**common, target=target, ways=named.modes, to=to, reader=self.code)

    def _holes(self, code: str, row: Mapping, named: Named) -> None:
        """Whether all that a row with modes has stands in its code: its own fields, its modes, the fields that modes leave
        to it."""
        place = row.items["code"].place
        words = list(self.code.words(code, place))
        letters = {letter for what, bits in words if what == "bits" for letter in re.findall("[a-z]", bits)}
        whole = [name for what, name in words if what == "field"]
        allowed = {*named.fields}.union(*(modes.common for modes in named.modes.values()))
        for name in [*whole, *sorted(letters)]:
            if name not in allowed and not (name in named.modes and name in whole):
                raise Fault("table_hole_unknown", place=place, field=name, part="row")
        for name in named.modes:
            if whole.count(name) != 1:
                raise Fault("table_hole_missing", place=place, field=name, where="code")
        wanted = [name for name, kind in named.fields.items() if kind.bits]
        for name in [*wanted, *sorted({field for modes in named.modes.values() for field in modes.open})]:
            if name not in letters and name not in whole:
                raise Fault("table_hole_missing", place=place, field=name, where="code")

    # modes

    def _modes(self, name: str, value: Value) -> Modes | None:
        mapping = expect(value, Mapping, f"kind '{name}'", KEYED)
        self.reader.known(mapping, f"kind '{name}'", KEYS["modes"])
        listing = expect(mapping.items["modes"], Listing, "'modes'", "a list of modes")
        if not listing.items:
            raise Fault("table_shape", place=listing.place, what="'modes'", wanted="at least one mode")
        modes = [self.reader.attempt(partial(self._mode, item), None) for item in listing.items]
        if None in modes:
            return None
        left = {field for mode in modes for field in self._left(mode)}
        return Modes(name, tuple(modes), frozenset(left))

    def _mode(self, value: Value) -> Mode | None:
        mode = expect(value, Mapping, "a mode", KEYED)
        items = mode.items
        for key in ("asm", "code", "cycles"):
            if key not in items:
                raise missing_key(mode, "the mode", key)
        asm = text(items["asm"], "asm", quoted=True)
        if not asm or asm != asm.strip() or ";" in asm or "\t" in asm:
            raise Fault("table_shape", place=items["asm"].place, what="'asm'", wanted="operands, without blanks at the ends")
        try:
            parse_operands(asm)
        except Fault as fault:
            start = 1 + (fault.start or 0)  # behind the quote
            raise Fault("table_asm", start, 1 + (fault.end or start), place=items["asm"].place, why=fault.text) from None
        named = self._named(mode, asm, MODE)
        if named is None:
            return None
        common = self._common(mode)
        place = items["code"].place
        own = set(self.code.names(common["code_text"], place, 0))
        unknown = sorted(own - named.fields.keys())
        if unknown:
            raise Fault("table_hole_unknown", place=place, field=unknown[0], part="mode")
        if own:
            self.code.read([Part(common["code_text"], place, True)], {name: named.fields[name] for name in own})
        return Mode(**common, asm=asm, fields=named.fields, to=self._to(mode, [*named.fields]))

    def _left(self, mode: Mode) -> set[str]:
        """The fields of a mode whose bits do not stand in its own code."""
        own = self.code.names(mode.code_text, mode.places["code"], 0)
        return {name for name, kind in mode.fields.items() if kind.bits and name not in own}
