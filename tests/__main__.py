"""All checks, as the README's test command runs them: `python -m tests`.

Style (ruff), types (mypy, strict), then every test. With `--tools` the C compilers that the tests of C arrays need, and the
browser that the tests of charts and cards need, are installed first where they are missing (Debian; needs root or sudo).
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
TOOLS = ("gcc", "g++", "avr-gcc", "chromium")
PACKAGES = ["gcc", "g++", "gcc-avr", "avr-libc", "chromium"]
STEPS = (
    ("style", ["ruff", "check", "xasm", "tests"]),
    ("format", ["ruff", "format", "--check", "xasm", "tests"]),
    ("types", ["mypy"]),
    ("tests", ["pytest", "-n", "auto"]),
)


def missing() -> list[str]:
    return [program for program in TOOLS if shutil.which(program) is None]


def install() -> None:
    """Installs the tools; says what to type where it cannot."""
    if not missing():
        return
    by_hand = f"please install {', '.join(missing())}; on Debian: apt-get install {' '.join(PACKAGES)}"
    if shutil.which("apt-get") is None:
        sys.exit(by_hand)
    prefix = [] if os.geteuid() == 0 else ["sudo"]
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    for command in (["apt-get", "update", "-qq"], ["apt-get", "install", "-y", "-qq", *PACKAGES]):
        if subprocess.run([*prefix, *command], env=environment, stdout=subprocess.DEVNULL, check=False).returncode:
            sys.exit(by_hand)


def main() -> None:
    options = argparse.ArgumentParser(prog="python -m tests", description=__doc__)
    options.add_argument("--tools", action="store_true", help="install missing C compilers and the browser first")
    if options.parse_args().tools:
        install()
    if missing():
        sys.exit(f"the tests need {', '.join(missing())}; `python -m tests --tools` installs them")
    failed = []
    for title, command in STEPS:
        print(f"-- {title}: {' '.join(command)}", flush=True)
        if subprocess.run([sys.executable, "-m", *command], cwd=ROOT, check=False).returncode:
            failed.append(title)
    sys.exit(f"failed: {', '.join(failed)}" if failed else 0)


if __name__ == "__main__":
    main()
