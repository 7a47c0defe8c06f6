"""How much memory large images take: each is written, and some are read back, in a process of its own that says its peak."""

from __future__ import annotations

import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from xasm.formats import FORMATS

READ_BACK = (".hex", ".mem")
ROOT = Path(__file__).resolve().parent.parent
SIZE = 16 << 20  # bytes of the image
FEW = 64 << 20  # the interpreter and what it loads
# Bytes that no sum and no run of equal bytes makes easy; the peak is that of the process, not of those before it.
PROGRAM = """
import random, sys
from tests.formats import image
from xasm.formats import FORMATS, READERS
from xasm.formats.options import Options
from xasm.formats.reading import Reading

def peak():
    with open("/proc/self/status") as status:
        return int(next(line for line in status if line.startswith("VmHWM")).split()[1]) * 1024

suffix, size, back = sys.argv[1], int(sys.argv[2]), sys.argv[3] == "back"
words = random.Random(1).randbytes(size)
data = FORMATS[suffix].write(image({0x1000: words}, address=16 if suffix == ".s19" else 25), Options())
print(len(data), peak())
if back:
    ((start, read),) = READERS[suffix].read(data, "file", Reading(address=0x1000)).parts
    assert (start, read) == (0x1000, words)
print(peak())
"""


def peaks(suffix: str) -> tuple[int, int, int]:
    """Bytes of the file; the peak when it was written, and when it was read as well."""
    size = 0xF000 if suffix == ".s19" else SIZE - 0x1000
    command = [sys.executable, "-c", PROGRAM, suffix, str(size), "back" if suffix in READ_BACK else "no"]
    run = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    length, written, read = map(int, run.stdout.split())
    return length, written, read


def test_a_large_image_is_written_and_read_in_bounded_memory():
    with ThreadPoolExecutor(2) as both:
        found = dict(zip(FORMATS, both.map(peaks, FORMATS), strict=True))
    assert len(found) == 10
    for suffix, (length, written, read) in found.items():
        print(f"{suffix:6} file {length / 2**20:5.1f} MiB, peak {written / 2**20:5.1f} MiB written", end="")
        print(f", {read / 2**20:5.1f} MiB read back" if suffix in READ_BACK else "")
        assert written > SIZE, "the peak was not measured"
        assert written < FEW + 2 * SIZE + 2 * length
        assert read < FEW + 4 * SIZE + 2 * length
