"""Macros as text: parameters, arguments, and the lines that a call brings in.

In the lines of a macro `{name}` is the text of a parameter, wherever it stands, inside a name or a text too; `{#}` is the
number of arguments given. A name declared LOCAL gets a mark and a number in every expansion, so that no other name can
meet it. Marks are control characters, which no source can hold.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

from xasm.source.diagnostics import MARK, Fault
from xasm.source.files import Place, Source

PARAMETER = re.compile(r"\s*([A-Za-z_][A-Za-z0-9_]*)\s*(\.\.\.)?\s*(?:=(.*))?\Z", re.DOTALL)
NAMED = re.compile(r"\s*([A-Za-z_][A-Za-z0-9_]*)\s*=(?!=)(.*)\Z", re.DOTALL)
HOLE = re.compile(r"\{(#|[A-Za-z_][A-Za-z0-9_]*)\}")
# Lines that open or close a block of lines, with or without a label in front; a label in column 1 may lack its colon.
LABEL = r"""[A-Za-z_.{][^\s;:"']*"""
BLOCK = re.compile(rf"(?:{LABEL}\s+|\s*{LABEL}\s*:\s*|\s*)(MACRO|REPT|ENDM)(?![A-Za-z0-9_.]|\s*:)", re.IGNORECASE)
LOCAL = re.compile(r"\s*LOCAL(?![A-Za-z0-9_.]|\s*:)([^;]*)", re.IGNORECASE)
NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]*\Z")
WORD = re.compile(r"""(?<![A-Za-z0-9_.$'])(?:[Hh]'[0-9A-Za-z_]*'|[A-Za-z_][A-Za-z0-9_]*)|"(?:\\.|[^"\\])*"|'[^']*'|;.*""")
MARKED_HOLE = re.compile(rf"\{{(\w+){MARK}\d+\}}")  # a parameter of the same name as one that is LOCAL
LONGEST = 65_536  # characters of a line that was put together
OPENING, CLOSING = "([{", ")]}"


class Parameter(NamedTuple):
    """A parameter: its name, the text it has when no argument is given, whether it takes all arguments that are left."""

    name: str
    default: str
    rest: bool


class Macro(NamedTuple):
    """A macro: name as written, parameters, the lines between MACRO and ENDM, names that are new in every expansion, where
    the first of the lines stands, whether it stands in for an instruction of the same name."""

    name: str
    parameters: tuple[Parameter, ...]
    lines: tuple[str, ...]
    local: tuple[str, ...]
    source: Source
    first: int
    instead: bool
    place: Place


def split_arguments(text: str) -> list[tuple[str, int]]:
    """Cuts at commas that stand in no brackets, braces or quotes: (argument without outer blanks, its offset).

    Raises Fault where a bracket or quote is left open.
    """
    found: list[tuple[str, int]] = []
    depth = 0
    begin = index = 0
    opened: list[int] = []
    while index < len(text):
        character = text[index]
        if character in "\"'" and not (character == "'" and index and text[index - 1].isalnum()):
            end = closing_quote(text, index)
            if end < 0:
                raise Fault("open_text", index, len(text), quote='double quote (")' if character == '"' else "quote (')")
            index = end
        elif character in OPENING:
            depth += 1
            opened.append(index)
        elif character in CLOSING and depth:
            depth -= 1
            opened.pop()
        elif character == "," and not depth:
            found.append(trimmed(text, begin, index))
            begin = index + 1
        index += 1
    if opened and text[opened[-1]] == "{":
        raise Fault("open_brace", opened[-1], opened[-1] + 1)
    if text.strip():
        found.append(trimmed(text, begin, len(text)))
    return found


def closing_quote(text: str, start: int) -> int:
    """The index of the quote that closes the one at `start`, or -1."""
    quote = text[start]
    index = start + 1
    while index < len(text):
        if text[index] == "\\" and quote == '"':
            index += 1
        elif text[index] == quote:
            return index
        index += 1
    return -1


def trimmed(text: str, begin: int, end: int) -> tuple[str, int]:
    piece = text[begin:end]
    return piece.strip(), begin + len(piece) - len(piece.lstrip())


def read_parameters(text: str) -> tuple[tuple[Parameter, ...], bool]:
    """The parameters of a MACRO statement, and whether it says INSTEAD. Raises Fault."""
    instead = re.match(r"\s*INSTEAD(?=\s|\Z)", text, re.IGNORECASE)
    offset = instead.end() if instead else 0
    parameters: list[Parameter] = []
    for piece, start in split_arguments(text[offset:]):
        match = PARAMETER.match(piece)
        if match is None:
            raise Fault("bad_parameter", offset + start, offset + start + max(1, len(piece)), text=piece)
        if match[1] in [parameter.name for parameter in parameters]:
            raise Fault("parameter_twice", offset + start, offset + start + len(piece), name=match[1])
        if parameters and parameters[-1].rest:
            raise Fault("rest_not_last", offset + start, offset + start + len(piece), name=parameters[-1].name)
        parameters.append(Parameter(match[1], unbraced((match[3] or "").strip()), bool(match[2])))
    return tuple(parameters), instead is not None


def unbraced(text: str) -> str:
    """An argument without the braces that kept it together."""
    if text[:1] != "{" or text[-1] != "}":
        return text
    depth = 0
    for index, character in enumerate(text):
        depth += (character == "{") - (character == "}")
        if not depth and index < len(text) - 1:
            return text  # the first brace closes before the end, as in {a}{b}
    return text[1:-1]


def bind(macro: Macro, text: str) -> dict[str, str]:
    """What each parameter stands for in a call; "#" is the number of arguments. An empty argument leaves the default.
    Raises Fault for an argument too many, or one given twice."""
    arguments = split_arguments(text)
    names = [parameter.name for parameter in macro.parameters]
    values = {parameter.name: parameter.default for parameter in macro.parameters}
    named: dict[str, tuple[int, int]] = {}
    positional: list[tuple[str, int]] = []
    for piece, start in arguments:
        match = NAMED.match(piece)
        if match is None or match[1] not in names:
            positional.append((piece, start))
            continue
        if match[1] in named:
            raise Fault("argument_twice", start, start + len(piece), name=match[1])
        named[match[1]] = (start, start + len(piece))
        values[match[1]] = unbraced(match[2].strip())
    for index, (piece, start) in enumerate(positional):
        if index >= len(names):
            wanted = f"{len(names)} argument{'s' if len(names) != 1 else ''}" if names else "no argument"
            raise Fault("too_many_arguments", start, start + max(1, len(piece)), name=macro.name, wanted=wanted)
        rest = macro.parameters[index].rest
        piece = ", ".join(piece for piece, _ in positional[index:]) if rest else piece
        if piece and names[index] in named:
            raise Fault("argument_twice", *max(named[names[index]], (start, start + len(positional[index][0]))), name=names[index])
        if piece:
            values[names[index]] = piece if rest else unbraced(piece)
        if rest:
            break
    values["#"] = str(len(arguments))
    return values


def expanded(macro: Macro, values: dict[str, str], serial: int) -> Iterator[str]:
    """The lines of a call. Raises Fault for a line that grows too long."""
    renames = {name: f"{name}{MARK}{serial}" for name in macro.local}
    for line in macro.lines:
        yield substituted(line, values, renames)


def substituted(line: str, values: dict[str, str], renames: dict[str, str]) -> str:
    """A line with local names marked and parameters filled in."""
    if any(name in line for name in renames):
        line = WORD.sub(lambda match: renames.get(match[0], match[0]), line)
        line = MARKED_HOLE.sub(r"{\1}", line)
    if "{" in line:
        length = len(line) + sum(len(values.get(name, "")) for name in HOLE.findall(line))
        if length > LONGEST:
            raise Fault("line_too_long", length=length, limit=LONGEST)
        line = HOLE.sub(lambda match: values.get(match[1], match[0]), line)
    return line


def local_names(lines: Sequence[str], usable: Callable[[str], bool]) -> tuple[tuple[str, ...], list[str]]:
    """The names that LOCAL statements of a macro declare, and the lines without these statements. `usable` says of a text
    whether it can be such a name."""
    names: list[str] = []
    kept: list[str] = []
    depth = 0
    for line in lines:
        block = BLOCK.match(line)
        if block is not None:
            depth += -1 if block[1].upper() == "ENDM" else 1
        match = LOCAL.match(line) if not depth else None
        declared = [name.strip() for name in match[1].split(",")] if match is not None else []
        if not declared or not all(map(usable, declared)):
            kept.append(line)  # the directive says what is wrong with it, in every use
            continue
        names += declared
        kept.append("")
    return tuple(names), kept
