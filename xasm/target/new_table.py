"""The table that a new chip starts with: small, commented, and right as it stands."""

from __future__ import annotations

import json

from xasm.target.check import WIDEST

NARROWEST = 4  # bits of a word: the rows have codes 0 to 11

HEAD = """\
# The table of a chip: what stands here is invented and passes `xasm target check {name}.yaml`. Replace it piece by piece by
# what your databook says, and check after each. targets/README.md explains every key.

name: "{name}"
title: {name}, a chip without a title yet
# also: ["a second name"]
book: # where the rows come from, and what of it you have really read
  - {{title: "title of the maker's book", edition: "its edition", read: "nothing: these rows are invented"}}
word: {word} # bits of a word of program memory
address: {address} # bits of a program address
order: {order} # of a number of several words in memory: little is low word first, big is high word first
start: {{at: 0x0}} # the first instruction; or {{vector: 0xFFFC}} where the chip reads that address from memory
clock: {{unit: cycle, periods: 1, typical: "1MHz"}} # unit of `cycles`, clock periods that one is, the usual clock
count: {{mnemonics: 8, opcodes: {opcodes}}} # as the book counts: different first words; codes without operands
{undefined}conventions: |
  A few lines for the card of the chip: how its maker writes registers, numbers, conditions.
"""

KINDS = """
# What operands take. The first key is one of: number unsigned signed address relative page choice list modes.
kinds:
  reg:  {{choice: {{X: 0, Y: 1}}}} # a word of the maker's, with its bits in the code
  imm:  {{number: {word}}} # an immediate of {word} bits, signed or not
{short}  addr: {{address: {address}}} # any address
  near: {{relative: {near}, from: next}} # a target; its distance from the next instruction is stored
"""

FORMS = """
# One row for each legal form. `asm` is written as the maker prints it; words in small letters are fields, and each field says
# its kind. `code` has a word after another: {digits}, or {word} bits in which a letter stands for a bit of that field, or
# <field> for a whole field in words of its own. `cycles` is the time when a condition is not met, `taken` when it is. `flow` is where
# control goes: next jump branch call call_if return return_if skip repeat trap halt.
forms:
"""


def new_table(name: str, word: int, address: int, order: str) -> str:
    """The text of a table for words of `word` bits (4 or more), addresses of `address` bits and numbers in that order."""
    digits = (word + 3) // 4
    short = address > word  # there is a part of memory whose addresses take one word
    codes = [f"{number:0{digits}X}" for number in range(12)]
    gaps = [*([] if short else [codes[3]]), codes[9], f"{12:0{digits}X}..{(1 << word) - 1:0{digits}X}"]
    values = {
        "name": name,
        "word": word,
        "address": address,
        "order": order,
        "opcodes": 11 if short else 10,
        "near": min(word, address),
        "digits": f"{digits} hexadecimal digit{'s' if digits > 1 else ''}",
        "short": f"  low:  {{address: {word}}} # an address in the first {1 << word} words\n" if short else "",
        "undefined": f"undefined: {json.dumps(gaps)} # first words that begin no instruction\n" if word <= WIDEST else "",
    }
    width = max(word, digits + 4) + 4

    def row(asm: str, code: str, field: str, rest: str) -> str:
        quoted = f'"{asm}",', f'"{code}",'
        return f"  - {{asm: {quoted[0]:<11} code: {quoted[1]:<{width}} {field:<9} {rest}}}"

    lines = [
        "  # nothing in it but the code",
        row("REST", codes[0], "", "cycles: 1, flow: next"),
        row("STAY", codes[1], "", "cycles: 1, flow: halt"),
        "  # a field of bits inside the code",
        row("GROW r", f"{'0' * (word - 4)}101r", "r: reg,", "cycles: 1, flow: next"),
        "  # numbers and addresses behind the code; of forms that fit, the shortest is taken",
        row("TAKE #n", f"{codes[2]} <n>", "n: imm,", "cycles: 2, flow: next"),
        *([row("TAKE a", f"{codes[3]} <a>", "a: low,", "cycles: 3, flow: next")] if short else []),
        row("TAKE a", f"{codes[4]} <a>", "a: addr,", "cycles: 4, flow: next"),
        "  # where control goes elsewhere",
        row("GO a", f"{codes[5]} <a>", "a: addr,", "cycles: 3, flow: jump"),
        row("GOZ t", f"{codes[6]} <t>", "t: near,", "cycles: 2, taken: 3, flow: branch"),
        row("VISIT a", f"{codes[7]} <a>", "a: addr,", "cycles: 5, flow: call"),
        row("BACK", codes[8], "", "cycles: 4, flow: return"),
    ]
    return "".join(part.format(**values) for part in (HEAD, KINDS, FORMS)) + "\n".join(lines) + "\n"
