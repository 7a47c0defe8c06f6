"""Things that are slow to compute and may be remembered from run to run.

Kept as JSON, so that reading can never execute anything, in the user's cache folder; a cache that cannot be read or
written is no error, the thing is computed again. A key names everything that the value depends on.
"""

from __future__ import annotations

import json
import os
import tempfile
from hashlib import sha256
from pathlib import Path
from typing import Any

MOST_KEPT = 64  # values of one kind


def folder() -> Path:
    """Where remembered values lie: `xasm` in the user's cache folder, as the XDG base directory specification has it."""
    base = os.environ.get("XDG_CACHE_HOME", "")
    return (Path(base) if base.startswith("/") else Path.home() / ".cache") / "xasm"


def path_of(kind: str, key: str) -> Path:
    return folder() / f"{kind}-{sha256(key.encode()).hexdigest()[:32]}.json"


def forget_oldest(folder: Path, kind: str) -> None:
    """Keeps the newest values of a kind only: a table that is being written leaves one for every change."""
    found = sorted(folder.glob(f"{kind}-*.json"), key=lambda path: path.stat().st_mtime)
    for path in found[:-MOST_KEPT]:
        path.unlink(missing_ok=True)


def recall(kind: str, key: str) -> Any:
    """What was remembered under a key, or None."""
    try:
        with path_of(kind, key).open("rb") as file:
            return json.load(file)
    except (OSError, ValueError, RuntimeError, RecursionError):
        return None


def remember(kind: str, key: str, value: Any) -> None:
    """Remembers a value of plain lists, dictionaries, texts and numbers; quietly does nothing where it cannot. Written to
    a file of its own and moved into place, so that runs side by side cannot hurt each other."""
    try:
        path = path_of(kind, key)
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=".new-")
        try:
            with open(handle, "w", encoding="ascii") as file:
                json.dump(value, file)
            os.replace(name, path)
            forget_oldest(path.parent, kind)
        except BaseException:
            os.unlink(name)
            raise
    except (OSError, RuntimeError):
        return
