"""Processors that run: the descriptions of the library pypcode, played on a bus that can be faulty.

Nothing here knows our tables. A machine reads its program through `Bus`, executes what the library says of each instruction,
and notes every access.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache

from pypcode import Context, OpCode

LANGUAGES = {
    "6502": "6502:LE:16:default",
    "65c02": "65C02:LE:16:default",
    "6809": "6809:BE:16:default",
    "8051": "8051:BE:16:default",
    "8080": "8085:LE:16:default",
    "8085": "8085:LE:16:default",
    "z80": "z80:LE:16:default",
}
VECTORS = {"6502": (0xFFFC, "little"), "65c02": (0xFFFC, "little"), "6809": (0xFFFE, "big")}
STOPS = {"6809": (0x13, 0x3C), "8080": (0x76,), "8085": (0x76,), "z80": (0x76,)}  # the chip waits there, the library goes on
LONGEST = 6
TOP = 0xFFFF
MEMORY = ("ram", "code")  # spaces of program memory
OUTSIDE = ("ram", "extmem")  # spaces of data on the bus


def same(value: int) -> int:
    return value


class Bus:
    """Memory behind lines that may be at fault. `address` and `data` say what becomes of an address on its way to the memory and
    of a word on its way to the chip. `log` holds (address as it arrives, word as the memory gives it, write)."""

    def __init__(
        self, image: Mapping[int, int], address: Callable[[int], int] = same, data: Callable[[int], int] = same, free: int = 0xFF
    ) -> None:
        self.image = image
        self.cells: dict[int, int] = {}
        self.address = address
        self.data = data
        self.free = free
        self.log: list[tuple[int, int, bool]] = []
        self.asked = 0  # the address that the memory was asked for last
        self.broken: dict[int, Callable[[int], int]] = {}  # what becomes of a word that is kept at an address

    def peek(self, address: int) -> int:
        self.asked = place = self.address(address)
        return self.cells.get(place, self.image.get(place, self.free))

    def read(self, address: int) -> int:
        given = self.peek(address)
        self.log.append((self.address(address), given, False))
        return self.data(given)

    def write(self, address: int, word: int) -> None:
        place = self.address(address)
        self.log.append((place, word, True))
        if place not in self.image:
            self.cells[place] = self.broken.get(place, same)(word)


class Stopped(Exception):
    """The machine met what the library does not know."""


@cache
def context(chip: str) -> Context:
    return Context(LANGUAGES[chip])


@cache
def translated(chip: str, code: bytes, address: int):
    """(length, operations) of the instruction that bytes begin with; None where there is none."""
    try:
        ops = context(chip).translate(code, base_address=address, max_instructions=1).ops
    except Exception:
        return None
    if not ops or ops[0].opcode != OpCode.IMARK:
        return None
    return sum(one.size for one in ops[0].inputs), ops


class Machine:
    """A processor after a reset."""

    def __init__(self, chip: str, bus: Bus) -> None:
        self.chip = chip
        self.bus = bus
        self.order = "big" if ":BE:" in LANGUAGES[chip] else "little"
        self.spaces: dict[str, dict[int, int]] = {}
        self.pc = 0
        if chip in VECTORS:
            place, order = VECTORS[chip]
            self.pc = int.from_bytes(bytes([bus.read(place), bus.read(place + 1)]), order)
        if chip == "8051":
            self.spaces.setdefault("sfr", {})[0x81] = 7

    def step(self) -> None:
        """One instruction. Raises Stopped."""
        start = self.pc
        code = bytes(self.bus.data(self.bus.peek(start + offset & TOP)) for offset in range(LONGEST))
        found = translated(self.chip, code, start)
        if found is None:
            raise Stopped
        length, ops = found
        for offset in range(length):
            self.bus.read(start + offset & TOP)
        if code[0] in STOPS.get(self.chip, ()):
            raise Stopped
        self.pc = start + length & TOP
        mark = len(self.bus.log)
        self.run(ops)
        # the descriptions read an operand once for each flag that they work out; a chip reads it once
        self.bus.log[mark:] = dict.fromkeys(self.bus.log[mark:])

    def run(self, ops) -> None:
        index = 0
        while index < len(ops):
            op = ops[index]
            index += 1
            code = op.opcode
            if code == OpCode.IMARK:
                continue
            if code in (OpCode.BRANCH, OpCode.CBRANCH, OpCode.CALL):
                if code == OpCode.CBRANCH and not self.get(op.inputs[1]) & 1:
                    continue
                target = op.inputs[0]
                if target.space.name == "const":
                    index += self.signed(target.offset, target.size) - 1
                    continue
                self.pc = target.offset & TOP
                return
            if code in (OpCode.BRANCHIND, OpCode.CALLIND, OpCode.RETURN):
                self.pc = self.get(op.inputs[0]) & TOP
                return
            if code == OpCode.STORE:
                self.put_at(op.inputs[0].getSpaceFromConst().name, self.get(op.inputs[1]), op.inputs[2].size, self.get(op.inputs[2]))
            elif code == OpCode.CALLOTHER:
                if op.output is not None:
                    self.put(op.output, 0)
            else:
                self.put(op.output, self.value(op))

    def value(self, op) -> int:
        code, size = op.opcode, op.inputs[0].size
        if code == OpCode.LOAD:
            return self.get_at(op.inputs[0].getSpaceFromConst().name, self.get(op.inputs[1]), op.output.size)
        given = [self.get(one) for one in op.inputs]
        signed = [self.signed(value, one.size) for value, one in zip(given, op.inputs, strict=True)]
        a, b = given[0], given[1] if len(given) > 1 else 0
        full = (1 << size * 8) - 1
        if code in (OpCode.INT_SLESS, OpCode.INT_SLESSEQUAL, OpCode.INT_SRIGHT, OpCode.INT_SEXT, OpCode.INT_SDIV, OpCode.INT_SREM):
            x, y = signed[0], signed[1] if len(signed) > 1 else 0
            return {
                OpCode.INT_SLESS: lambda: int(x < y),
                OpCode.INT_SLESSEQUAL: lambda: int(x <= y),
                OpCode.INT_SRIGHT: lambda: x >> b,
                OpCode.INT_SEXT: lambda: x,
                OpCode.INT_SDIV: lambda: int(x / y) if y else 0,
                OpCode.INT_SREM: lambda: x - int(x / y) * y if y else 0,
            }[code]()
        half = full >> 1
        simple = {
            OpCode.COPY: lambda: a,
            OpCode.INT_ZEXT: lambda: a,
            OpCode.INT_ADD: lambda: a + b,
            OpCode.INT_SUB: lambda: a - b,
            OpCode.INT_MULT: lambda: a * b,
            OpCode.INT_DIV: lambda: a // b if b else 0,
            OpCode.INT_REM: lambda: a % b if b else 0,
            OpCode.INT_AND: lambda: a & b,
            OpCode.INT_OR: lambda: a | b,
            OpCode.INT_XOR: lambda: a ^ b,
            OpCode.INT_NEGATE: lambda: ~a,
            OpCode.INT_2COMP: lambda: -a,
            OpCode.INT_LEFT: lambda: a << b,
            OpCode.INT_RIGHT: lambda: a >> b,
            OpCode.INT_EQUAL: lambda: int(a == b),
            OpCode.INT_NOTEQUAL: lambda: int(a != b),
            OpCode.INT_LESS: lambda: int(a < b),
            OpCode.INT_LESSEQUAL: lambda: int(a <= b),
            OpCode.INT_CARRY: lambda: int(a + b > full),
            OpCode.INT_SCARRY: lambda: int(not -half - 1 <= signed[0] + signed[1] <= half),
            OpCode.INT_SBORROW: lambda: int(not -half - 1 <= signed[0] - signed[1] <= half),
            OpCode.BOOL_NEGATE: lambda: int(not a),
            OpCode.BOOL_AND: lambda: a & b & 1,
            OpCode.BOOL_OR: lambda: (a | b) & 1,
            OpCode.BOOL_XOR: lambda: (a ^ b) & 1,
            OpCode.PIECE: lambda: a << op.inputs[1].size * 8 | b,
            OpCode.SUBPIECE: lambda: a >> b * 8,
            OpCode.POPCOUNT: lambda: a.bit_count(),
        }
        if code not in simple:
            raise Stopped
        return simple[code]()

    @staticmethod
    def signed(value: int, size: int) -> int:
        top = 1 << size * 8 - 1
        return (value & (top * 2 - 1) ^ top) - top

    def get(self, place) -> int:
        if place.space.name == "const":
            return place.offset
        return self.get_at(place.space.name, place.offset, place.size)

    def put(self, place, value: int) -> None:
        self.put_at(place.space.name, place.offset, place.size, value)

    def get_at(self, space: str, offset: int, size: int) -> int:
        if space.lower() in (*MEMORY, *OUTSIDE):
            cells = bytes(self.bus.read(offset + index & TOP) for index in range(size))
        else:
            own = self.spaces.setdefault(space.lower(), {})
            cells = bytes(own.get(offset + index, 0) for index in range(size))
        return int.from_bytes(cells, self.order)

    def put_at(self, space: str, offset: int, size: int, value: int) -> None:
        cells = (value & (1 << size * 8) - 1).to_bytes(size, self.order)
        for index, cell in enumerate(cells):
            if space.lower() in OUTSIDE:
                self.bus.write(offset + index & TOP, cell)
            else:
                self.spaces.setdefault(space.lower(), {})[offset + index] = cell
