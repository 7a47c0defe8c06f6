"""The samples: they assemble to the images that are kept beside them, and they begin where their chip begins.

Every table has a folder samples/NAME with `halt.asm` and `beacon.asm` and an image of each as `.hexdump`. What the
images are worth is said in samples/README.md.

    python -m tests.test_samples samples/NAME/beacon.asm    prints the image of a sample as its .hexdump has it
"""

from __future__ import annotations

import re
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from xasm.building import build
from xasm.linking.image import Image, Span
from xasm.target.decode import Decoder, Instruction
from xasm.target.finding import find_table, load_target, table_paths

SAMPLES = Path(__file__).parent.parent / "samples"
FOLDERS = sorted(path.parent for path in SAMPLES.glob("*/halt.asm"))
PROGRAMS = sorted(path for path in SAMPLES.glob("*/*.asm") if path.parent.name != "typed")  # that is recovered source
SHARED = SAMPLES / "shared" / "kestrel.inc"
WANTED = ("halt.asm", "beacon.asm")
DUMP_LINE = re.compile(r"([0-9A-F]{4}): ((?:[0-9A-F]{2,4} ?)+)")
A_LINE = 16  # words in a line of a dump
FEWEST_LINES = 50  # of a beacon
FEWEST_REACHED = 10  # instructions of a beacon before control goes where only the running chip knows
MOST_STEPS = 20  # from the start to the loop of a halt


def name(path: Path) -> str:
    return str(path.relative_to(SAMPLES)).replace("\\", "/")


def assembled(path: Path) -> Image:
    return build([str(path)]).image


# dumps


def dump(image: Image) -> str:
    """An image as text: `ADDR: WORDS`, 16 in a line, a new line at each gap."""
    lines = []
    for part in image.parts:
        for first in range(0, len(part.words), A_LINE):
            words = " ".join(image.target.hex_word(word) for word in part.words[first : first + A_LINE])
            lines.append(f"{part.start + first:04X}: {words}\n")
    return "".join(lines)


def read_dump(text: str) -> dict[int, int]:
    """The words of a dump by address."""
    found: dict[int, int] = {}
    for line in text.splitlines():
        match = DUMP_LINE.fullmatch(line)
        assert match, f"not a line of a dump: {line!r}"
        for address, word in enumerate(match[2].split(), int(match[1], 16)):
            assert address not in found, f"{address:04X} is there twice"
            found[address] = int(word, 16)
    return found


def differences(wanted: dict[int, int], image: Image) -> list[tuple[int, int | None, int | None]]:
    """(address, wanted, made) wherever they differ; None where one has no word."""
    made = dict(image.cells())
    return [
        (address, wanted.get(address), made.get(address))
        for address in sorted(wanted.keys() | made.keys())
        if wanted.get(address) != made.get(address)
    ]


# following control


def begin(image: Image) -> int:
    """The address of the first instruction; read from the vector where the chip has one."""
    target = image.target
    if not target.start_vector:
        return target.start
    words = [image[target.start + index] for index in range(-(-target.address // target.word))]
    assert None not in words, "the vector is not in the image"
    if target.order == "little":
        words.reverse()
    address = 0
    for word in words:
        address = address << target.word | (word or 0)
    return address


class Walk:
    """Instructions of an image by address."""

    def __init__(self, image: Image) -> None:
        self.words = dict(image.cells())
        self.decoder = Decoder(image.target)
        self.longest = max(form.size for form in image.target.forms)

    def at(self, address: int) -> Instruction:
        words = []
        while address + len(words) in self.words and len(words) < self.longest:
            words.append(self.words[address + len(words)])
        found = self.decoder.decode(words, address)
        assert found is not None, f"no instruction at 0x{address:04X}, words {words}"
        return found

    def loop(self, address: int) -> tuple[list[int], int]:
        """Goes on from an address until an instruction jumps to itself: the addresses of all words read on the way, and
        that of the loop."""
        read: list[int] = []
        for _ in range(MOST_STEPS):
            found = self.at(address)
            read += range(address, address + found.form.size)
            assert found.form.flow in ("next", "jump"), f"{found.text} at 0x{address:04X} may go two ways"
            after = address + found.form.size if found.form.flow == "next" else found.target
            assert after is not None, f"{found.text} at 0x{address:04X} jumps nobody knows where"
            if after == address:
                return read, address
            address = after
        raise AssertionError(f"no loop of one instruction within {MOST_STEPS} steps")

    def reach(self, address: int) -> dict[int, Instruction]:
        """Every instruction that control can reach from an address, as far as the words tell."""
        reached: dict[int, Instruction] = {}
        pending = [address]
        while pending:
            address = pending.pop()
            if address in reached:
                continue
            found = reached[address] = self.at(address)
            flow = found.form.flow
            after = address + found.form.size
            target = found.target
            if flow in ("jump", "branch", "call", "call_if") and target is not None:
                pending.append(target)
            if flow not in ("jump", "return", "halt", "trap"):
                pending.append(after)
            if flow == "skip":
                pending.append(after + self.at(after).form.size)
        return reached


# every sample


def test_every_table_has_its_samples() -> None:
    tables = table_paths()
    assert len(tables) > 2
    lacking = [f"{table}/{wanted}" for table in tables for wanted in WANTED if not (SAMPLES / table / wanted).is_file()]
    assert lacking == []
    assert [folder.name for folder in FOLDERS] == sorted(tables), "a folder without a table"
    assert {name(path) for path in PROGRAMS} == {f"{folder.name}/{wanted}" for folder in FOLDERS for wanted in WANTED}


@pytest.mark.parametrize("path", PROGRAMS, ids=name)
def test_image_is_the_one_that_is_kept(path: Path) -> None:
    image = assembled(path)
    assert image.target is load_target(find_table(path.parent.name).stem.lower())
    kept = path.with_suffix(".hexdump").read_text("ascii")
    wanted = read_dump(kept)
    assert len(wanted) > 3
    assert differences(wanted, image) == []
    assert dump(image) == kept


@pytest.mark.parametrize("path", PROGRAMS, ids=name)
def test_one_changed_word_is_noticed(path: Path) -> None:
    image = assembled(path)
    wanted = dict(image.cells())
    assert wanted
    for address, word in wanted.items():
        assert differences({**wanted, address: word ^ 1}, image) == [(address, word ^ 1, word)]
    address, word = next(iter(wanted.items()))
    assert differences({key: wanted[key] for key in wanted if key != address}, image) == [(address, None, word)]
    free = max(wanted) + 1
    assert differences({**wanted, free: 0}, image) == [(free, 0, None)]


def test_a_dump_that_is_none_is_refused() -> None:
    for text in ("0000 00 01\n", "0000: 0\n", "0000: 00 01\n0001: 01\n", "; 0000: 00\n"):
        with pytest.raises(AssertionError):
            read_dump(text)


def without(image: Image, address: int) -> Image:
    """The image with a hole."""
    parts: list[Span] = []
    for part in image.parts:
        if not part.start <= address < part.end:
            parts.append(part)
            continue
        cut = address - part.start
        pieces = (Span(part.start, part.words[:cut]), Span(address + 1, part.words[cut + 1 :]))
        parts += [piece for piece in pieces if len(piece.words)]
    return replace(image, parts=tuple(parts))


@pytest.mark.parametrize("folder", FOLDERS, ids=name)
def test_halt_ends_in_a_jump_to_itself(folder: Path) -> None:
    path = folder / "halt.asm"
    image = assembled(path)
    read, loop = Walk(image).loop(begin(image))
    assert loop == image.symbols["hang"]
    assert read[0] == image.symbols["start"]
    digits = len(image.target.hex_address(0)) - 2
    comment = "".join(line for line in path.read_text("ascii").splitlines() if line.startswith(";"))
    for address in read:
        assert f"{address:0{digits}X}" in comment, f"the comment does not tell that the bus shows {address:0{digits}X}"
    for address in read:
        with pytest.raises(AssertionError, match="no instruction"):
            Walk(without(image, address)).loop(read[0])


@pytest.mark.parametrize("folder", FOLDERS, ids=name)
def test_beacon_runs_on_from_the_start(folder: Path) -> None:
    path = folder / "beacon.asm"
    lines = [line for line in path.read_text("ascii").splitlines() if line.strip()]
    assert len(lines) >= FEWEST_LINES
    image = assembled(path)
    start = begin(image)
    assert start == image.symbols["start"]
    reached = Walk(image).reach(start)
    assert len(reached) >= FEWEST_REACHED
    taken = [(address, range(address, address + found.form.size)) for address, found in reached.items()]
    owners = [address for _, words in taken for address in words]
    assert len(owners) == len(set(owners)), "control goes into the middle of an instruction"
    assert not set(owners) & set(range(image.symbols["table"], image.symbols["last"] + 1)), "control runs into the table"
    for address in reached:
        with pytest.raises(AssertionError, match="no instruction"):
            Walk(without(image, address)).reach(start)


def test_all_beacons_share_one_character() -> None:
    constants = re.findall(r"^([A-Z_]+) +EQU ", SHARED.read_text("ascii"), re.MULTILINE)
    assert len(constants) > 5
    worth = set()
    for folder in FOLDERS:
        symbols = assembled(folder / "beacon.asm").symbols
        worth.add(tuple(symbols[constant] for constant in constants))
    assert len(worth) == 1


def test_twins_have_the_same_bytes() -> None:
    lines = [line.split() for line in (SAMPLES / "twins.txt").read_text("ascii").splitlines() if line[:1] not in ("", "#")]
    assert lines
    for first, *others in lines:
        assert others
        for other in others:
            for wanted in WANTED:
                one, two = assembled(SAMPLES / first / wanted), assembled(SAMPLES / other / wanted)
                assert one.target is not two.target
                assert differences(dict(one.cells()), two) == []


if __name__ == "__main__":
    for argument in sys.argv[1:]:
        print(dump(assembled(Path(argument))), end="")
