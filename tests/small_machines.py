"""Small models of processors that no library at hand describes: the instructions of our first programs and no more.

Written from memory of the makers' manuals, apart from the tables: codes are typed here again. A model reads and writes through a
`Bus` as the machines of `pcode_machine` do, and raises Stopped at a code that it does not know.
"""

from __future__ import annotations

from abc import ABC, abstractmethod

from tests.pcode_machine import Bus, Stopped


class Small(ABC):
    """A processor with its program counter and `get`, which fetches the next word."""

    top = 0xFFFF

    def __init__(self, bus: Bus) -> None:
        self.bus = bus
        self.pc = 0

    def get(self) -> int:
        word = self.bus.read(self.pc)
        self.pc = self.pc + 1 & self.top
        return word

    @abstractmethod
    def step(self) -> None:
        """Does one instruction. Raises Stopped."""


class Model4004(Small):
    """4004: RAM characters are cells 0x10000 + chip, register, character, and its ports are not on the bus."""

    top = 0xFFF

    def __init__(self, bus: Bus) -> None:
        super().__init__(bus)
        self.r = [0] * 16
        self.acc = self.cy = self.src = 0
        self.characters: dict[int, int] = {}
        self.broken: dict[int, int] = {}  # bits that stay 0 in a character
        self.lamps: list[int] = []

    def step(self) -> None:
        op = self.get()
        high, low = op >> 4, op & 15
        if op == 0x00:
            return
        if high == 1:
            target = self.get()
            met = bool((low & 4 and self.acc == 0) or (low & 2 and self.cy))
            if met != bool(low & 8):
                self.pc = self.pc & 0xF00 | target
        elif high == 2 and not low & 1:
            value = self.get()
            self.r[low], self.r[low + 1] = value >> 4, value & 15
        elif high == 2:
            self.src = self.r[low - 1] << 4 | self.r[low]
        elif high == 4:
            self.pc = low << 8 | self.get()
        elif high == 6:
            self.r[low] = self.r[low] + 1 & 15
        elif high == 7:
            target = self.get()
            self.r[low] = self.r[low] + 1 & 15
            if self.r[low]:
                self.pc = self.pc & 0xF00 | target
        elif high == 9:
            total = self.acc + (~self.r[low] & 15) + (1 - self.cy)
            self.acc, self.cy = total & 15, total >> 4
        elif high == 10:
            self.acc = self.r[low]
        elif high == 11:
            self.acc, self.r[low] = self.r[low], self.acc
        elif high == 13:
            self.acc = low
        else:
            self.other(op)

    def other(self, op: int) -> None:
        if op == 0xE0:
            self.characters[self.src] = self.acc & ~self.broken.get(self.src, 0)
        elif op == 0xE1:
            self.lamps.append(self.acc)
        elif op == 0xE9:
            self.acc = self.characters.get(self.src, 0)
        elif op == 0xEA:
            self.acc = self.src >> 4
        elif op == 0xF0:
            self.acc = self.cy = 0
        elif op == 0xF1:
            self.cy = 0
        elif op == 0xF2:
            self.acc, self.cy = self.acc + 1 & 15, int(self.acc == 15)
        elif op == 0xF4:
            self.acc = ~self.acc & 15
        elif op not in (0xE2,):
            raise Stopped


class Model8008(Small):
    """8008: registers A B C D E H L are 0..6, memory is 7."""

    top = 0x3FFF

    def __init__(self, bus: Bus) -> None:
        super().__init__(bus)
        self.r = [0] * 7
        self.zero = False
        self.lamps: list[int] = []

    def reg(self, number: int) -> int:
        return self.r[number] if number < 7 else self.bus.read((self.r[5] << 8 | self.r[6]) & self.top)

    def put(self, number: int, value: int) -> None:
        if number < 7:
            self.r[number] = value
        else:
            self.bus.write((self.r[5] << 8 | self.r[6]) & self.top, value)

    def work(self, kind: int, value: int) -> None:
        if kind not in (5, 7):  # exclusive or, compare
            raise Stopped
        self.zero = self.r[0] == value
        if kind == 5:
            self.r[0] ^= value

    def step(self) -> None:
        op = self.get()
        high, middle, low = op >> 6, op >> 3 & 7, op & 7
        if high == 3 and op != 0xFF:
            self.put(middle, self.reg(low))
        elif high == 2:
            self.work(middle, self.reg(low))
        elif high == 0 and low == 4:
            self.work(middle, self.get())
        elif high == 0 and low == 6:
            self.put(middle, self.get())
        elif high == 0 and low == 0 and 0 < middle < 7:
            self.r[middle] = self.r[middle] + 1 & 255
            self.zero = not self.r[middle]
        elif high == 1 and low in (0, 4):
            target = self.get() | self.get() << 8
            if low == 0 and middle & 3 != 1:
                raise Stopped
            if low == 4 or self.zero == bool(middle & 4):
                self.pc = target & self.top
        elif high == 1 and low & 1:
            if op >> 1 & 31 < 8:
                self.r[0] = 0x5A
            else:
                self.lamps.append(self.r[0])
        else:
            raise Stopped


class Model1802(Small):
    """1802 with R0 as the program counter."""

    def __init__(self, bus: Bus) -> None:
        super().__init__(bus)
        self.r = [0] * 16
        self.d = self.x = 0
        self.lamps: list[int] = []

    def step(self) -> None:
        op = self.get()
        high, low = op >> 4, op & 15
        if high in (1, 2):
            self.r[low] = self.r[low] + (1 if high == 1 else -1) & self.top
        elif op == 0x30:
            self.pc = self.pc & 0xFF00 | self.get()
        elif op == 0xCA:
            target = self.get() << 8 | self.get()
            if self.d:
                self.pc = target
        elif high == 5:
            self.bus.write(self.r[low], self.d)
        elif op == 0x61:
            self.lamps.append(self.bus.read(self.r[self.x]))
            self.r[self.x] = self.r[self.x] + 1 & self.top
        elif op == 0x6A:
            self.d = 0x5A
            self.bus.write(self.r[self.x], self.d)
        elif high == 8:
            self.d = self.r[low] & 255
        elif high == 9:
            self.d = self.r[low] >> 8
        elif high == 10:
            self.r[low] = self.r[low] & 0xFF00 | self.d
        elif high == 11:
            self.r[low] = self.d << 8 | self.r[low] & 255
        elif high == 14:
            self.x = low
        elif op == 0xF3:
            self.d ^= self.bus.read(self.r[self.x])
        elif op in (0xF8, 0xFB):
            self.d = self.get() ^ (self.d if op == 0xFB else 0)
        elif op not in (0x7B,):
            raise Stopped


class Model2650(Small):
    """2650, one bank of registers."""

    top = 0x7FFF

    def __init__(self, bus: Bus) -> None:
        super().__init__(bus)
        self.r = [0] * 4
        self.equal = False
        self.lamps: list[int] = []

    def load(self, number: int, value: int) -> None:
        self.r[number] = value & 255
        self.equal = not self.r[number]

    def near(self) -> int:
        distance = self.get() & 0x7F
        return self.pc + (distance ^ 0x40) - 0x40 & self.top

    def step(self) -> None:
        op = self.get()
        kind, low = op & 0xFC, op & 3
        if op == 0xC0:
            return
        if kind == 0x00 and low:
            self.load(0, self.r[low])
        elif kind in (0x04, 0x24, 0x84):
            value = self.get()
            self.load(low, value if kind == 0x04 else self.r[low] ^ value if kind == 0x24 else self.r[low] + value)
        elif kind in (0xCC, 0xEC):
            address = self.get() << 8 | self.get()
            if address & 0xE000 != 0x6000:
                raise Stopped
            address = (address & 0x1FFF) + self.r[low]
            if kind == 0xCC:
                self.bus.write(address, self.r[0])
            else:
                self.equal = self.r[0] == self.bus.read(address)
        elif op == 0x1B:
            self.pc = self.near()
        elif op == 0x9C:
            target = self.get() << 8 | self.get()
            if not self.equal:
                self.pc = target
        elif kind == 0xD8:
            target = self.near()
            self.r[low] = self.r[low] + 1 & 255
            if self.r[low]:
                self.pc = target
        elif kind == 0x54:
            self.get()
            self.load(low, 0x5A)
        elif kind == 0xD4:
            self.get()
            self.lamps.append(self.r[low])
        elif op == 0x75:
            self.get()
        else:
            raise Stopped


MODELS: dict[str, type[Small]] = {
    "1802": Model1802, "2650": Model2650, "4004": Model4004, "4040": Model4004, "8008": Model8008, "8008-new": Model8008,
}  # fmt: skip
