"""The wheel, installed in an empty environment outside the checkout, assembles for every table."""

from __future__ import annotations

import subprocess
import sys
import venv
from pathlib import Path

from xasm.target.finding import table_paths

ROOT = Path(__file__).resolve().parent.parent
PROGRAM = """
import sys
from pathlib import Path
import xasm
from xasm.target.finding import load_target, table_paths

assert not Path(xasm.__file__).is_relative_to(sys.argv[1]), xasm.__file__
for name in table_paths():
    target = load_target(name)
    form = next(form for form in target.forms if not form.fields)
    image = xasm.assemble(f"        TARGET {name}\\n        {form.asm}\\n")
    assert list(image.parts[0].words) == list(form.code.match), (name, form.asm)
    print(name)
"""


def run(*command: str | Path, cwd: Path) -> str:
    done = subprocess.run([str(part) for part in command], cwd=cwd, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def test_wheel(tmp_path: Path) -> None:
    run(sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", tmp_path, ROOT, cwd=tmp_path)
    (wheel,) = tmp_path.glob("*.whl")
    environment = tmp_path / "environment"
    venv.create(environment, with_pip=True)
    python = environment / "bin" / "python"
    run(python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", wheel, cwd=tmp_path)
    names = run(python, "-c", PROGRAM, ROOT, cwd=tmp_path).split()
    assert names == list(table_paths())
    assert len(names) >= 3
    source = tmp_path / "first.asm"
    form = "        TARGET {}\n        DB 0x12\n"
    source.write_text(form.format(names[0]))
    for command in ([environment / "bin" / "xasm"], [python, "-m", "xasm"]):
        run(*command, "build", source, "-o", tmp_path / "first.bin", cwd=tmp_path)
        assert (tmp_path / "first.bin").read_bytes() == b"\x12"
        (tmp_path / "first.bin").unlink()
