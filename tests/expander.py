"""Macros, repeats and conditions done by hand, and random programs made of them.

`Expander` turns such a program into plain lines. It is written from the page of the language and shares nothing with xasm; it
reads the regular text that `Author` writes (labels with a colon, one blank between words), not all that the language allows.
"""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Iterator
from typing import NamedTuple

OPEN_BLOCK = re.compile(r"(?:[^ ]+ )?(MACRO|REPT)\b")
TESTS: dict[str, Callable[[int, int], bool]] = {"==": int.__eq__, "!=": int.__ne__, "<": int.__lt__, ">": int.__gt__}


class Parameter(NamedTuple):
    """`rest` takes all arguments that are left."""

    name: str
    default: str
    rest: bool


class Macro(NamedTuple):
    parameters: list[Parameter]
    lines: list[str]


def pieces(text: str) -> list[str]:
    """Arguments: cut at the commas outside of braces, brackets and quotes."""
    if not text:
        return []
    found, depth, quote = [""], 0, ""
    for character in text:
        if quote:
            quote = "" if character == quote else quote
        elif character in "\"'":
            quote = character
        elif character in "{[(":
            depth += 1
        elif character in "}])":
            depth -= 1
        if character == "," and not depth and not quote:
            found.append("")
        else:
            found[-1] += character
    return [piece.strip() for piece in found]


def bare(text: str) -> str:
    """An argument without its braces."""
    return text[1:-1] if text.startswith("{") else text


class Expander:
    """`lines` are what became of a program; names that were LOCAL end in `__` and a number."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.macros: dict[str, Macro] = {}
        self.values: dict[str, int] = {}
        self.defined: set[str] = set()
        self.serial = 0

    def expand(self, text: str) -> str:
        self.read(text.split("\n"))
        return "\n".join(self.lines)

    def read(self, lines: list[str]) -> bool:
        """Reads lines; true when a LEAVE ended them."""
        position = 0
        open_ifs: list[str] = []  # of each IF: "on" while a part of it is read, "wait" before it, "done" behind it
        while position < len(lines):
            line = lines[position]
            position += 1
            words = line.split()
            word = words[0] if words else ""
            if word == "IF":
                here = all(state == "on" for state in open_ifs)
                open_ifs.append("on" if here and self.holds(line.split("IF", 1)[1].strip()) else "wait" if here else "done")
            elif word == "ELSEIF":
                if open_ifs[-1] == "wait" and self.holds(line.split("ELSEIF", 1)[1].strip()):
                    open_ifs[-1] = "on"
                elif open_ifs[-1] == "on":
                    open_ifs[-1] = "done"
            elif word == "ELSE":
                open_ifs[-1] = "on" if open_ifs[-1] == "wait" else "done"
            elif word == "ENDIF":
                open_ifs.pop()
            elif any(state != "on" for state in open_ifs):
                continue
            elif OPEN_BLOCK.match(line.strip()):
                end = self.end_of_block(lines, position)
                self.block(line, lines[position:end])
                position = end + 1
            elif word == "LEAVE":
                return True
            else:
                self.plain(line)
        return False

    @staticmethod
    def end_of_block(lines: list[str], position: int) -> int:
        depth = 1
        while True:
            text = lines[position].strip()
            depth += 1 if OPEN_BLOCK.match(text) else -1 if text == "ENDM" else 0
            if not depth:
                return position
            position += 1

    def block(self, line: str, lines: list[str]) -> None:
        if " MACRO" in line:
            name, _, rest = line.partition(" MACRO")
            self.macros[name] = Macro([self.parameter(piece) for piece in pieces(rest.strip())], lines)
            return
        label, _, rest = line.rpartition("REPT ")
        count, index = [*pieces(rest), ""][:2]
        if label.strip():
            self.plain(label.strip())
        for turn in range(self.worth(count)):
            if self.read([filled(one, {index: str(turn)}) for one in lines]):
                break

    @staticmethod
    def parameter(text: str) -> Parameter:
        name, _, default = text.partition("=")
        return Parameter(name.removesuffix("..."), bare(default), name.endswith("..."))

    def plain(self, line: str) -> None:
        """A line that is no directive of reading: a call, or one that stays."""
        label, found, rest = line.partition(":")
        if found and not rest.startswith("=") and label.strip() and " " not in label.strip():
            self.defined.add(label.strip())
        else:
            label, rest = "", line
        word, _, operands = rest.strip().partition(" ")
        if word in self.macros:
            if label:
                self.lines.append(f"{label}:")
            self.call(self.macros[word], operands.strip())
            return
        self.lines.append(line)
        parts = line.split(None, 2)
        if len(parts) == 3 and parts[1] in ("EQU", ":="):
            self.defined.add(parts[0])
            self.values[parts[0]] = self.worth(parts[2])

    def call(self, macro: Macro, text: str) -> None:
        values = self.bound(macro, pieces(text))
        self.serial += 1
        lines = macro.lines
        for line in macro.lines:
            for name in pieces(line.strip().removeprefix("LOCAL ")) if line.strip().startswith("LOCAL ") else []:
                lines = [re.sub(rf"\b{name}\b", f"{name}__{self.serial}", one) for one in lines]
        self.read([filled(one, values) for one in lines if not one.strip().startswith("LOCAL ")])

    @staticmethod
    def bound(macro: Macro, arguments: list[str]) -> dict[str, str]:
        values = {parameter.name: parameter.default for parameter in macro.parameters} | {"#": str(len(arguments))}
        left = []
        for argument in arguments:
            name, equals, text = argument.partition("=")
            if equals and name in values:
                values[name] = bare(text)
            else:
                left.append(argument)
        for parameter in macro.parameters:
            if parameter.rest and left:
                values[parameter.name], left = ", ".join(left), []
            elif left:
                argument = left.pop(0)
                values[parameter.name] = bare(argument) if argument else values[parameter.name]
        return values

    def holds(self, text: str) -> bool:
        word, _, rest = text.partition(" ")
        rest = rest.strip()
        if word == "NOT":
            return not self.holds(rest)
        if word == "DEFINED":
            return rest in self.defined
        if word == "EMPTY":
            return not rest
        if word == "SAME":
            first, second = pieces(rest)
            return first.lower() == second.lower()
        for sign, test in TESTS.items():
            left, found, right = text.partition(f" {sign} ")
            if found:
                return test(self.worth(left), self.worth(right))
        return self.worth(text) != 0

    def worth(self, text: str) -> int:
        """The value of a sum of numbers and names."""
        return sum(self.values[part] if part in self.values else int(part) for part in map(str.strip, text.split("+")))


def filled(line: str, values: dict[str, str]) -> str:
    """A line with values in place of `{name}`."""
    parts = re.split(r"\{([A-Za-z_#][A-Za-z0-9_]*)\}", line)
    parts[1::2] = [values.get(name, "{" + name + "}") for name in parts[1::2]]
    return "".join(parts)


class Author:
    """Writes random programs. Every macro has a first parameter `tag`, which every call gives another value: what it names
    begins with that."""

    def __init__(self, choice: random.Random) -> None:
        self.choice = choice
        self.count = 0
        self.signatures: list[list[str]] = []  # of each macro: its parameters behind `tag`

    def new(self) -> int:
        self.count += 1
        return self.count

    def program(self) -> str:
        lines = ["fast EQU 1", "v := 0"]
        for index in range(self.choice.randrange(1, 5)):
            lines += self.macro(index)
        for _ in range(self.choice.randrange(1, 5)):
            lines += self.part(f"t{self.new()}", [], 2, None)
        return "\n".join([*lines, " DB v & 255, fast", ""])

    def macro(self, index: int) -> Iterator[str]:
        names = [name for name in ("size", "text", "more") if self.choice.random() < 0.6]
        texts = {"size": self.choice.choice(("size", "size=2", "size=0")), "text": self.choice.choice(("text", "text=ab", "text={a,b}"))}
        yield f"m{index} MACRO {', '.join(['tag', *(texts.get(name, name + '...') for name in names)])}"
        local = f"spot{index}" if self.choice.random() < 0.5 else None
        if local:
            yield f" LOCAL {local}, unused{index}"
        values = ["size"] if texts["size"] != "size" and "size" in names else []
        for _ in range(self.choice.randrange(1, 5)):
            yield from self.part("{tag}", [*names, *values], 2, local)
        if local:
            yield f"{local}: STOP"
            yield f" LD {local}"
        self.signatures.append(names)
        yield " ENDM"

    def number(self, names: list[str]) -> str:
        """A number, or a parameter that certainly is one."""
        return "{size}" if names.count("size") == 2 and self.choice.random() < 0.5 else str(self.choice.randrange(5))

    def part(self, tag: str, names: list[str], depth: int, local: str | None) -> Iterator[str]:
        """Lines that belong together."""
        kinds = ["data", "text", "label", "local", "change", "call", "call"]
        if tag != "{tag}" and local is None and depth == 2:
            kinds.append("again")
        if "{tag}" in tag:
            kinds += ["count", "inner"]
        if "more" in names:
            kinds.append("rest")
        if depth:
            kinds += ["rept", "rept", "if", "if", "if"]
        if local:
            kinds += ["spot", "spot"]
        kind = self.choice.choice(kinds)
        number = self.new()
        if kind == "data":
            yield f" DB {self.number(names)}, {self.number(names)}+1"
        elif kind == "text":
            yield f' DB "{tag}{"{text}" if "text" in names else ";"}"'
        elif kind == "label":
            yield f"{tag}_{number}: DB {number % 256}"
            yield f" LD {tag}_{number}"
        elif kind == "local":
            yield f"{tag}_{number}: BR .wait"
            yield ".wait: BR .wait"
        elif kind == "change":
            yield f"v := v+{self.number(names)}"
        elif kind == "count":
            yield " DB {#}"
        elif kind == "rest":
            yield from (" IF NOT EMPTY {more}", " DB {more}", " ENDIF")
        elif kind == "spot":
            yield f" BR {local}"
        elif kind == "inner":
            yield f"{tag}_{number} MACRO extra, size{number}=7"
            yield f' DB "{{extra}}", {{size{number}}}, {self.number(names)}'
            yield " ENDM"
            yield f" {tag}_{number} {tag}"
        elif kind == "again":
            yield f"r{number} MACRO tag, left"
            yield from (" DB {left}", " IF {left} == 0", " LEAVE", " ENDIF")
            yield f" r{number} {{tag}}, {{left}}+-1"
            yield from (" STOP", " ENDM")
            yield f" r{number} {tag}, {self.choice.randrange(4)}"
        elif kind == "call":
            yield from self.call(tag, names)
        elif kind == "rept":
            yield from self.repeat(tag, names, depth, local)
        else:
            yield from self.condition(tag, names, depth, local)

    def call(self, tag: str, names: list[str]) -> Iterator[str]:
        if not self.signatures:
            return
        index = self.choice.randrange(len(self.signatures))
        signature = self.signatures[index]
        unique = f"{tag}c{self.new()}"
        texts = {"size": self.number(names), "text": self.choice.choice(("xy", "{p,q}", "{}", "Ab", "','"))}
        arguments = []
        named = False
        for name in signature:
            if name == "more":
                if not named:
                    arguments += [str(self.choice.randrange(9)) for _ in range(self.choice.randrange(3))]
                    arguments += ["{more}"] * ("more" in names and self.choice.random() < 0.5)
            elif self.choice.random() < 0.3 or named:
                named = True
                arguments += [f"{name}={texts[name]}"] * (self.choice.random() < 0.7)
            else:
                arguments.append(texts[name] if self.choice.random() < 0.8 else "")
        if named and self.choice.random() < 0.5:
            self.choice.shuffle(arguments)
            arguments = [argument for argument in arguments if "=" in argument]
        label = f"{tag}_{self.new()}:" if self.choice.random() < 0.3 else ""
        yield f"{label} m{index} {', '.join([unique, *arguments])}"

    def repeat(self, tag: str, names: list[str], depth: int, local: str | None) -> Iterator[str]:
        index = f"i{self.new()}"
        label = f"{tag}_{self.new()}:" if self.choice.random() < 0.3 else ""
        yield f"{label} REPT {self.number(names)}, {index}"
        for _ in range(self.choice.randrange(1, 3)):
            yield from self.part(f"{tag}_{{{index}}}", names, depth - 1, local)
        if self.choice.random() < 0.3:
            yield from (f" IF {{{index}}} == {self.choice.randrange(4)}", " LEAVE", " ENDIF")
        yield f" DB {{{index}}}"
        yield " ENDM"

    def condition(self, tag: str, names: list[str], depth: int, local: str | None) -> Iterator[str]:
        yield f" IF {self.test(names)}"
        yield from self.part(tag, names, depth - 1, local)
        while self.choice.random() < 0.4:
            yield f" ELSEIF {self.test(names)}"
            yield from self.part(tag, names, depth - 1, local)
        if self.choice.random() < 0.6:
            yield " ELSE"
            yield from self.part(tag, names, depth - 1, local)
        if "{tag}" in tag and self.choice.random() < 0.2:
            yield " LEAVE"
        yield " ENDIF"

    def test(self, names: list[str]) -> str:
        tests = [
            f"{self.number(names)} {self.choice.choice(tuple(TESTS))} {self.number(names)}+{self.choice.randrange(2)}",
            self.choice.choice(("fast", "v > 3", "v < 9", "0")),
            f"DEFINED {self.choice.choice(('fast', 'slow', 't1_2', 't2_3'))}",
        ]
        tests += [f"EMPTY {{{name}}}" for name in set(names)]
        if "text" in names:
            tests.append(f"SAME {{{{text}}}}, {self.choice.choice(('{AB}', '{a,b}', '{p,Q}'))}")
        test = self.choice.choice(tests)
        word = test.split()[0]
        return f"NOT {test}" if word in ("DEFINED", "EMPTY", "SAME") and self.choice.random() < 0.4 else test
