"""YAML text to plain values that remember their line and column.

A table is written by hand, so every value can be pointed at, and whatever YAML would silently read as
something else (`NO`, `00010000`, `1e3`) is refused. Built from parser events, without recursion.
"""

from __future__ import annotations

import re
from typing import Any

import yaml

from xasm.source.diagnostics import Fault, Report
from xasm.source.files import Place, Source
from xasm.target.document import Listing, Mapping, Scalar, Value

DEEPEST = 20  # levels of nesting
LONGEST = 1_000_000  # characters of a table; the largest chip takes a twentieth of it
MOST_DIGITS = 40  # of a number
INTEGER = re.compile(r"-?(?:0|[1-9][0-9_]*|0x[0-9A-Fa-f][0-9A-Fa-f_]*|0o[0-7][0-7_]*|0b[01][01_]*)\Z")
# What YAML 1.1 takes for a truth value, a null, a float, an octal or sexagesimal number, a date.
TRAP = re.compile(r"(?i:yes|no|on|off|true|false|null|~)\Z|[-+.]?[0-9][0-9A-Fa-fx_.:eE+-]*\Z|[-+]?\.(?:inf|nan)\Z")
FRACTION = re.compile(r"[0-9]+\.")  # halves of a cycle, or a range of them
WHOLE = "where a number is wanted, it is whole: count in a smaller unit (half cycles), and say in 'note' what varies"
BOOLEANS = {"true": True, "false": False}
NO_TEXT = re.compile("[^\t\n -~\xa0-\u2027\u202a-\ud7ff\ue000-\ufefe\uff00-\ufffd\U00010000-\U0010ffff]")
# What to look for when the parser of YAML says this.
ADVICE = (
    ("':' is not", "a text that holds ': ' needs quotes, and keys of one level are indented alike"),
    ("'\\t'", "indent with blanks, not with tabs"),
    ("block", "keys of one level, and rows of one list, are indented alike"),
)

# What the parser of YAML calls things, in the reader's words.
TOKEN = re.compile(r"'?<([a-z ]+)>'?")
PLAINER = (
    ("mapping values are", "a ':' is"),
    ("unexpected end of stream", "the end of the file"),
    ("the node content", "a value"),
)
TOKENS = {
    "scalar": "a text",
    "stream end": "the end of the file",
    "block end": "the end of this level",
    "block mapping start": "keys of another level",
    "block sequence start": "a list of another level",
}


def read_yaml(source: Source, written: str, report: Report) -> Value:
    """The one document of a YAML text. Values that need quotes, and keys given twice, go to the report, and reading goes
    on; any other mistake is raised as a Fault with a place."""
    start = (source, 1, 1)
    if len(written) > LONGEST:
        raise Fault("table_long", place=start, length=len(written), limit=LONGEST)
    strange = NO_TEXT.search(written)
    if strange:
        line = written.count("\n", 0, strange.start()) + 1
        column = strange.start() - written.rfind("\n", 0, strange.start())
        raise Fault("table_yaml", place=(source, line, column), why=f"it holds the character 0x{ord(strange[0]):02X}")
    # the second parser is the slow one; it is asked only for the words of the message, in which the two differ
    for loader in (getattr(yaml, "CSafeLoader", yaml.SafeLoader), yaml.SafeLoader):
        builder = _Builder(source)
        failed: yaml.YAMLError | None = None
        try:
            builder.read(written, loader)
            break
        except yaml.YAMLError as error:
            failed = error
    for diagnostic in builder.report.diagnostics:
        report.add(diagnostic)
    if report.full:
        report.stop()
    if failed is not None:
        raise _explained(failed, source)
    if builder.top is None:
        raise Fault("table_empty", place=start)
    return builder.top


class _Builder:
    """One document in the making: `open` holds what has begun and not ended, each with the values in it."""

    def __init__(self, source: Source) -> None:
        self.source = source
        self.report = Report()
        self.open: list[tuple[Place, list[Value]]] = []
        self.top: Value | None = None

    def read(self, written: str, loader: type) -> None:
        """Reads the document into `top`. Raises Fault, and what the parser of YAML raises."""
        for event in yaml.parse(written, Loader=loader):
            place = (self.source, event.start_mark.line + 1, event.start_mark.column + 1)  # type: ignore[union-attr]
            if isinstance(event, yaml.NodeEvent) and (event.anchor or getattr(event, "tag", None)):
                raise Fault("table_alias", place=place)
            if isinstance(event, yaml.ScalarEvent):
                self.add(self.scalar(event, place))
            elif isinstance(event, (yaml.MappingStartEvent, yaml.SequenceStartEvent)):
                self.open.append((place, []))
                if len(self.open) > DEEPEST:
                    raise Fault("table_deep", place=place, limit=DEEPEST)
            elif isinstance(event, yaml.MappingEndEvent):
                self.add(self.mapping(*self.open.pop()))
            elif isinstance(event, yaml.SequenceEndEvent):
                begin, values = self.open.pop()
                self.add(Listing(tuple(values), begin))
            elif isinstance(event, yaml.DocumentStartEvent) and self.top is not None:
                raise Fault("table_shape", place=place, what="a table", wanted="one document: '---' cannot stand in it")
            if self.report.full:
                return

    def add(self, value: Value) -> None:
        if self.open:
            self.open[-1][1].append(value)
        else:
            self.top = value

    def note(self, code: str, place: Place, **values: Any) -> None:
        self.report.fault(Fault(code, **values), place)

    def scalar(self, event: yaml.ScalarEvent, place: Place) -> Scalar:
        text = event.value
        if event.style:
            return Scalar(text, place, True)
        if INTEGER.match(text):
            if len(text) > MOST_DIGITS:
                raise Fault("table_digits", place=place, limit=MOST_DIGITS)
            return Scalar(int(text.replace("_", ""), 0), place, False)
        if text in BOOLEANS:
            return Scalar(BOOLEANS[text], place, False)
        if not text:
            self.note("table_no_value", place)
        elif TRAP.match(text):
            self.note("table_quote", place, text=f"'{text}'", hint=WHOLE if FRACTION.match(text) else None)
        return Scalar(text, place, False)

    def mapping(self, place: Place, values: list[Value]) -> Mapping:
        items: dict[str, Value] = {}
        keys: dict[str, Scalar] = {}
        for key, value in zip(values[::2], values[1::2], strict=True):
            if not isinstance(key, Scalar):
                raise Fault("table_shape", place=key.place, what="a key", wanted="a word")
            if isinstance(key.value, bool):
                self.note("table_quote", key.place, text=f"'{str(key.value).lower()}'")
            word = str(key.value)
            if word in items:
                self.note("table_repeated_key", key.place, key=word)
            items[word] = value
            keys[word] = key
        return Mapping(items, keys, place)


def _explained(error: yaml.YAMLError, source: Source) -> Fault:
    """What the parser of YAML said, where it said it; something left open is marked where it was opened."""
    if not isinstance(error, yaml.MarkedYAMLError):
        return Fault("table_yaml", place=(source, 1, 1), why=str(error).split("\n", 1)[0])
    why = TOKEN.sub(lambda match: TOKENS.get(match[1], match[1]), error.problem or error.context or "")
    for said, meant in PLAINER:
        why = why.replace(said, meant)
    mark, begin = error.problem_mark or error.context_mark, error.context_mark
    hint = next((advice for said, advice in ADVICE if said in f"{error.context} {why}"), None)
    if begin is not None and TOKENS["stream end"] in why:
        hint = "what begins here is never closed" if begin.line < len(source.lines) - 1 else "a bracket is never closed"
        mark = begin
    elif begin is not None and hint is None:
        hint = f"it belongs to what begins in line {begin.line + 1}, column {begin.column + 1}"
        if mark is not None and mark.line > begin.line:
            hint += "; is the bracket or quote missing that closes it?"
    line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
    return Fault("table_yaml", hint=hint, place=(source, line, column), why=why)
