"""The rules of the house, each shown a broken case."""

from __future__ import annotations

import ast
import re
from pathlib import Path

from xasm.syntax.expressions import WORDS
from xasm.target.finding import load_target, table_paths

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "xasm"
ROOMS = ("source", "syntax", "target", "assembly", "linking", "formats", "bus", "building", "recovery", "reports", "cli")
IMPORTERS = {"lark": "syntax", "yaml": "target", "intelhex": "formats", "click": "cli"}
LONGEST = 400
# Mnemonics that are plain words as well, and so may stand in messages and names.
PLAIN = frozenset(
    "ADD ADI AND BIT CALL CLEAR DB DW EQU HALT IN INC IM JUMP MARK LD NOP NOT OR OUT RES RET SET SUB XOR END REF TEST STOP".split()
)


def files() -> dict[Path, str]:
    found = {path.relative_to(PACKAGE): path.read_text("utf-8") for path in sorted(PACKAGE.rglob("*.py"))}
    assert len(found) > 20
    return found


def room(path: Path) -> str:
    return path.parts[0] if len(path.parts) > 1 else path.stem


def imports(text: str) -> list[str]:
    """The full names of all imported modules of a source text."""
    found = []
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            found.append(node.module or "")
    return found


def wrong_imports(path: Path, text: str) -> list[str]:
    """Imports of a lower room, and outside libraries imported in the wrong room."""
    here = room(path)
    wrong = []
    for name in imports(text):
        parts = name.split(".")
        if parts[0] == "xasm" and len(parts) > 1 and here in ROOMS and parts[1] in ROOMS:
            if ROOMS.index(parts[1]) > ROOMS.index(here):
                wrong.append(name)
        elif parts[0] in IMPORTERS and IMPORTERS[parts[0]] != here:
            wrong.append(name)
    return wrong


def test_imports_go_one_way_and_each_library_has_one_importer() -> None:
    assert {path: wrong_imports(path, text) for path, text in files().items() if wrong_imports(path, text)} == {}
    for library, owner in IMPORTERS.items():
        assert any(library in [name.split(".")[0] for name in imports(text)] for path, text in files().items() if room(path) == owner)


def test_a_wrong_import_is_noticed() -> None:
    assert wrong_imports(Path("syntax/parser.py"), "from xasm.linking.image import Image\n") == ["xasm.linking.image"]
    assert wrong_imports(Path("assembly/module.py"), "def f():\n    import yaml\n") == ["yaml"]
    assert wrong_imports(Path("target/loader.py"), "import yaml\nfrom xasm.syntax import lines\n") == []


def chip_words() -> frozenset[str]:
    """Names, mnemonics and register-like words of all tables that no plain text would hold."""
    words: set[str] = set()
    for name in table_paths():
        target = load_target(name)
        words.update(word.upper() for word in (target.name, *target.also))
        words.update(word for word in target.mnemonics if len(word) > 2)
        words.update(word for word in target.reserved if len(word) > 1)
    assert len(words) > 200
    return frozenset(words - PLAIN - WORDS.keys())


def chip_words_in(text: str, words: frozenset[str]) -> set[str]:
    """Words of a chip in a Python text: as strings or names, in capitals as tables have them; comments and docstrings may
    give an example."""
    tree = ast.parse(text)
    documented = set()
    for node in ast.walk(tree):
        if isinstance(node, (ast.Module, ast.ClassDef, ast.FunctionDef)) and node.body:
            first = node.body[0]
            if isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant):
                documented.add(first.value)
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and node not in documented:
            found.update(re.findall(r"(?<![\\A-Za-z])[A-Z0-9]+\b", node.value))
        elif isinstance(node, ast.Name):
            found.add(node.id)
    return found & words


def test_no_chip_in_the_code() -> None:
    words = chip_words()
    assert {path: chip_words_in(text, words) for path, text in files().items() if chip_words_in(text, words)} == {}


def test_a_chip_in_the_code_is_noticed() -> None:
    assert chip_words_in('if target.name == "6502":\n    pass\n', chip_words()) == {"6502"}
    assert chip_words_in('def f():\n    return mnemonic in ("LDA", "x")\n', chip_words()) == {"LDA"}
    assert chip_words_in('"""As LDA of the 6502."""\n', chip_words()) == set()


def long_files(texts: dict[Path, str]) -> list[Path]:
    return [path for path, text in texts.items() if text.count("\n") > LONGEST]


def test_no_file_has_two_jobs() -> None:
    assert long_files(files()) == []
    assert long_files({Path("a.py"): "x\n" * 401}) == [Path("a.py")]
    assert not [path for path in files() if "util" in path.stem]


def test_every_chip_has_all_that_a_chip_needs() -> None:
    for name in table_paths():
        for needed in (f"tests/book/{name}.txt", f"samples/{name}/halt.asm", f"samples/{name}/beacon.asm"):
            assert (ROOT / needed).is_file(), needed
