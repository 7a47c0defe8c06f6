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

# The same with a bit that the chip ignores.
IGNORING = BRANCHES.replace('code: "00", ', 'code: "0000000-", ')

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

# Operands that can be written in many ways, a list of names, the chip's own names, bits, assumptions, bits that are ignored.
RICH = """\
name: "rich"
title: An invented chip with many ways to write an operand
book: [{title: "none", edition: "none", read: "invented"}]
word: 8
address: 16
order: big
start: {at: 0}
clock: {unit: cycle, periods: 1, typical: 1MHz}
count: {mnemonics: 8, opcodes: 89}
conventions: none
symbols: {data: {LAMP: 0x98, KEYS: 0x91}, bit: {BUSY: 0x87, LIT: 0x88, ODD: 0x04}}
bits: [{first: 0x20, last: 0x2F, step: 1, bit: 0x00}, {first: 0x90, last: 0xA0, step: 8, bit: 0x80}]
assume: {base: 0, bank: 2}
kinds:
  ring: {choice: {RX: 0, RY: 1}}
  none: {unsigned: 0}
  near: {signed: 5}
  byte: {number: 8}
  place: {address: 8, space: data}
  flag: {address: 8, space: bit}
  low: {page: 8, of: base}
  part: {page: 13, of: bank}
  far: {address: 16}
  hop: {relative: 8, from: next}
  few: {list: {KA: 0x01, KB: 0x02, KD: 0x03, KX: 0x04}, bits: 8, cycles: {KA: 1, KB: 1, KX: 2}}
  some: {list: {KA: 0x01, KB: 0x02}, or: {unsigned: 4}}
  spot:
    modes:
      - {asm: ",r", code: "1r000000", r: ring, cycles: 0}
      - {asm: "n,r", code: "1r000000", n: none, r: ring, cycles: 0, alias: true}
      - {asm: "n,r", code: "0r-nnnnn", n: near, r: ring, cycles: 1}
      - {asm: "n,r", code: "1r000001 <n>", n: byte, r: ring, cycles: 2, taken: 3}
      - {asm: "t,HERE", code: "10000010 <t>", t: hop, cycles: 2, cross: 1, note: "far from it"}
      - {asm: "[a]", code: "10000011 <a>", a: far, cycles: 5, to: none}
      - {asm: "r++", code: "1r000100", r: ring, cycles: 3, undocumented: true}
  table:
    modes:
      - {asm: "a,x", code: "<a>", a: far, x: ring, cycles: 1}
      - {asm: "*a,x,-", code: "<a>", a: far, x: ring, cycles: 4, alias: true}
forms:
  - {asm: "NAP", code: "0000000-", cycles: 1, flow: halt}
  - {asm: "FETCH #d", code: "10 <d>", d: byte, cycles: 2}
  - {asm: "FETCH s", code: "11 <s>", s: spot, cycles: 3}
  - {asm: "FETCH z", code: "12 <z>", z: low, cycles: 3}
  - {asm: "FETCH a", code: "13 <a>", a: far, cycles: 4}
  - {asm: "FETCH @p", code: "100ppppp pppppppp", p: part, cycles: 4, undocumented: true}
  - {asm: "KEEP p", code: "14 <p>", p: place, cycles: 2}
  - {asm: "SHINE f", code: "15 <f>", f: flag, cycles: 2}
  - {asm: "SHINE /f", code: "16 <f>", f: flag, cycles: 2}
  - {asm: "PACK l", code: "18 <l>", l: few, cycles: 5}
  - {asm: "PACK #d,l", code: "19 <d> 0000llll", d: byte, l: some, cycles: 6, taken: 8}
  - {asm: "TURN,r d", code: "0010000r <d>", r: ring, d: byte, cycles: 2}
  - {asm: "TURN,KX w", code: "001001-x <w>", w: table, cycles: 3}
  - {asm: "TURN,d", code: "28 <d>", d: byte, cycles: 3}
  - {asm: "TURN r", code: "0011000r", r: ring, cycles: 1}
  - {asm: "LEAP s", code: "40 <s>", s: spot, cycles: 4, taken: 6, flow: jump}
  - {asm: "LEAP t", code: "41 <t>", t: hop, cycles: 2, flow: branch}
  - {asm: "DIVE s,l", code: "42 <s> 0000llll", s: spot, l: some, cycles: 3, flow: call}
  - {asm: "HIDE", code: "60", cycles: 1, undocumented: true}
  - {asm: "NAP", code: "010100--", cycles: 1, note: "a second code"}
"""


def rich(*changes: tuple[str, str]) -> Target:
    """That chip with texts of its table replaced, each of which must stand in it once."""
    text = RICH
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return read_target(Source("rich.yaml", text), Report())
