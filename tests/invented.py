"""Small invented chips for tests of the engine. They prove how the engine works, never what a real chip does."""

from __future__ import annotations

from xasm.source.diagnostics import Report
from xasm.source.files import Source
from xasm.target.loader import read_target
from xasm.target.model import Target

HEAD = """
name: "{name}"
title: An invented chip for tests
book:
  - {{title: "none", edition: "none", read: "invented"}}
word: {word}
address: {address}
order: {order}
start: {{at: 0}}
clock: {{unit: cycle, periods: 1, typical: 1MHz}}
count: {{mnemonics: {mnemonics}, opcodes: {opcodes}}}
conventions: none
"""


def table(body: str, name: str, word: int = 8, address: int = 16, order: str = "little", mnemonics: int = 0, opcodes: int = 0) -> str:
    """The text of a table with those kinds and forms."""
    return HEAD.format(name=name, word=word, address=address, order=order, mnemonics=mnemonics, opcodes=opcodes) + body


def chip(
    body: str, name: str = "test-chip", word: int = 8, address: int = 16, order: str = "little", mnemonics: int = 0, opcodes: int = 0
) -> Target:
    """A chip from the text of its kinds and forms."""
    return read_target(Source("invented.yaml", table(body, name, word, address, order, mnemonics, opcodes)), Report())


BRANCHES = """
kinds:
  near: {relative: 8, from: next}
  page_zero: {address: 8}
  far: {address: 16}
forms:
  - {asm: "BR t",   code: "01 <t>", t: near,      cycles: 2, flow: jump}
  - {asm: "BR t",   code: "02 <t>", t: far,       cycles: 3, flow: jump}
  - {asm: "LD a",   code: "03 <a>", a: page_zero, cycles: 2}
  - {asm: "LD a",   code: "04 <a>", a: far,       cycles: 3}
  - {asm: "STOP",   code: "00",                   cycles: 1, flow: halt}
"""

# Notations of many makers on one chip: a register with a prime, a comma in a mnemonic, brackets, signs before and behind.
NOTATIONS = """
kinds:
  byte: {number: 8}
  far: {address: 16}
  pair: {choice: {P: 0, "P'": 1, Q: 2}}
forms:
  - {asm: "TRADE P,P'", code: "10",          cycles: 1}
  - {asm: "WIPE r",     code: "001000rr",    r: pair, cycles: 1}
  - {asm: "PUT,P n",    code: "30 <n>",      n: byte, cycles: 2}
  - {asm: "PUT,Q n",    code: "31 <n>",      n: byte, cycles: 2}
  - {asm: "GET #n",     code: "40 <n>",      n: byte, cycles: 2}
  - {asm: "GET a",      code: "41 <a>",      a: far,  cycles: 3}
  - {asm: "GET [a]",    code: "42 <a>",      a: far,  cycles: 4}
  - {asm: "GET @Q",     code: "43",          cycles: 2}
  - {asm: "GET Q+",     code: "44",          cycles: 2}
  - {asm: "GET Q.3",    code: "45",          cycles: 2}
  - {asm: "GET ,Q",     code: "46",          cycles: 2}
  - {asm: "TO a",       code: "50 <a>",      a: far,  cycles: 3, flow: jump}
  - {asm: "REST",       code: "00",          cycles: 1, flow: halt}
"""

# Two further address spaces, one smaller and one larger than that of the program.
SPACES = "spaces: {data: {address: 8}, Huge: {address: 20}}\n" + BRANCHES
