"""Further small models, like those in `small_machines`: typed from memory of the makers' manuals, apart from the tables."""

from __future__ import annotations

from tests.pcode_machine import Bus, Stopped
from tests.small_machines import Small


class Model6800(Small):
    """6800; the output is at 8000."""

    def __init__(self, bus: Bus) -> None:
        super().__init__(bus)
        self.pc = bus.read(0xFFFE) << 8 | bus.read(0xFFFF)
        self.a = self.b = self.x = 0
        self.zero = False
        self.lamps: list[int] = []

    def load(self, value: int) -> int:
        self.zero = not value
        return value

    def branch(self, met: bool) -> None:
        distance = self.get()
        if met:
            self.pc = self.pc + (distance ^ 0x80) - 0x80 & self.top

    def step(self) -> None:
        op = self.get()
        if op == 0x01:
            return
        if op in (0x20, 0x26, 0x27):
            self.branch(op == 0x20 or self.zero == (op == 0x27))
        elif op in (0x4F, 0x4C, 0x17, 0x88):
            value = self.get() ^ self.a if op == 0x88 else {0x4F: 0, 0x4C: self.a + 1 & 255, 0x17: self.b}[op]
            self.a = self.load(value)
        elif op in (0x5F, 0x5C):
            self.b = self.load(0 if op == 0x5F else self.b + 1 & 255)
        elif op in (0xCE, 0x8C, 0x08):
            if op == 0x08:
                self.x = self.load(self.x + 1 & 0xFFFF)
                return
            word = self.get() << 8 | self.get()
            self.zero = not word if op == 0xCE else self.x == word
            self.x = word if op == 0xCE else self.x
        elif op in (0xA7, 0xA1):
            place = self.x + self.get() & 0xFFFF
            if op == 0xA7:
                self.bus.write(place, self.a)
            else:
                self.zero = self.a == self.bus.read(place)
        elif op in (0xB6, 0xB7, 0x7E):
            place = self.get() << 8 | self.get()
            if op == 0x7E:
                self.pc = place
            elif op == 0xB6:
                self.a = self.load(self.bus.read(place))
            else:
                self.bus.write(place, self.a)
                self.lamps.append(self.a)
        else:
            raise Stopped


class Model8048(Small):
    """8048 with a page of memory outside."""

    top = 0x7FF

    def __init__(self, bus: Bus) -> None:
        super().__init__(bus)
        self.a = 0
        self.r = [0] * 8
        self.lamps: list[int] = []

    def step(self) -> None:
        op = self.get()
        low = op & 7
        if op == 0x00:
            return
        if op & 0x1F == 0x04:
            self.pc = (op & 0xE0) << 3 | self.get()
        elif op in (0x96, 0xC6):
            page = self.pc & 0x700
            target = page | self.get()
            self.pc = target if (self.a == 0) == (op == 0xC6) else self.pc
        elif op in (0x27, 0x17, 0x37, 0x0A, 0xD3):
            given = self.get() if op == 0xD3 else 0
            self.a = {0x27: 0, 0x17: self.a + 1 & 255, 0x37: self.a ^ 255, 0x0A: 0x5A, 0xD3: self.a ^ given}[op]
        elif op == 0x39:
            self.lamps.append(self.a)
        elif op in (0x80, 0x90):
            if op == 0x80:
                self.a = self.bus.read(self.r[0])
            else:
                self.bus.write(self.r[0], self.a)
        elif op & 8 and op >> 4 in (0x1, 0xA, 0xB, 0xD, 0xF):
            self.register(op >> 4, low)
        else:
            raise Stopped

    def register(self, kind: int, low: int) -> None:
        if kind == 0xD:
            self.a ^= self.r[low]
        elif kind == 0xF:
            self.a = self.r[low]
        else:
            self.r[low] = self.r[low] + 1 & 255 if kind == 0x1 else self.a if kind == 0xA else self.get()


class Model8060(Small):
    """SC/MP: the program counter stands on the word fetched last; the output is at 0800. `pc` is where the next fetch comes from."""

    def __init__(self, bus: Bus) -> None:
        super().__init__(bus)
        self.pc = 1
        self.a = self.e = self.carry = 0
        self.p = [0] * 4
        self.lamps: list[int] = []

    def get(self) -> int:
        word = self.bus.read(self.pc)
        self.pc = self.pc & 0xF000 | self.pc + 1 & 0xFFF
        return word

    def place(self, op: int) -> int:
        """The address of a pointer with displacement, and what becomes of the pointer."""
        distance = (self.get() ^ 0x80) - 0x80
        number = op & 3
        moved = self.p[number] & 0xF000 | self.p[number] + distance & 0xFFF
        if not number or distance == -128:
            raise Stopped
        before = self.p[number]
        if op & 4:
            self.p[number] = moved
        return before if op & 4 and distance >= 0 else moved

    def step(self) -> None:
        op = self.get()
        if op == 0x08:
            return
        if op == 0x01:
            self.a, self.e = self.e, self.a
        elif op == 0x02:
            self.carry = 0
        elif op == 0x40:
            self.a = self.e
        elif op == 0x70:
            total = self.a + self.e + self.carry
            self.a, self.carry = total & 255, total >> 8
        elif op & 0xF8 == 0x30 and op & 3:
            shift = 8 if op & 4 else 0
            old = self.p[op & 3]
            self.p[op & 3] = old & ~(255 << shift) | self.a << shift
            self.a = old >> shift & 255
        elif op in (0x90, 0x9C):
            distance = (self.get() ^ 0x80) - 0x80
            if op == 0x90 or self.a:
                self.pc = self.pc & 0xF000 | self.pc + distance & 0xFFF
        elif op in (0xC4, 0xE4):
            self.a = self.get() ^ (self.a if op == 0xE4 else 0)
        elif op & 0xF8 in (0xC0, 0xC8, 0xE0):
            place = self.place(op)
            if op & 0xF8 == 0xC8:
                self.bus.write(place, self.a)
                self.lamps += [self.a] if place == 0x0800 else []
            else:
                self.a = self.bus.read(place) ^ (self.a if op >= 0xE0 else 0)
        else:
            raise Stopped


class Model6100(Small):
    """IM6100, in octal; the output is at 0170."""

    top = 0o7777

    def __init__(self, bus: Bus) -> None:
        super().__init__(bus)
        self.pc = 0o7777
        self.ac = 0
        self.lamps: list[int] = []

    def step(self) -> None:
        here = self.pc
        word = self.get()
        kind = word >> 9
        if kind == 7:
            self.operate(word)
            return
        place = word & 0o177 | (here & 0o7600 if word & 0o200 else 0)
        if word & 0o400:
            if 0o10 <= place <= 0o17:
                self.bus.write(place, self.bus.peek(place) + 1 & 0o7777)
            place = self.bus.read(place)
        if kind == 1:
            self.ac = self.ac + self.bus.read(place) & 0o7777
        elif kind == 2:
            counted = self.bus.read(place) + 1 & 0o7777
            self.bus.write(place, counted)
            self.pc += not counted
        elif kind == 3:
            self.bus.write(place, self.ac)
            self.lamps += [self.ac] if place == 0o170 else []
            self.ac = 0
        elif kind == 5:
            self.pc = place
        else:
            raise Stopped

    def operate(self, word: int) -> None:
        if word == 0o7440:  # SZA
            self.pc += not self.ac
        elif word in (0o7200, 0o7001, 0o7041):  # CLA, IAC, CIA
            self.ac = {0o7200: 0, 0o7001: self.ac + 1, 0o7041: -self.ac}[word] & 0o7777
        else:
            raise Stopped


FURTHER: dict[str, type[Small]] = {"6800": Model6800, "8048": Model8048, "ins8060": Model8060, "im6100": Model6100}
