"""What is known of a program that was linked, as JSON for other tools.

xasm/README.md documents the keys. Symbols are sorted by name, then as the modules were given. The same program gives the same
bytes anywhere.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from xasm.linking.linker import Linked, Symbol
from xasm.linking.program import MAIN
from xasm.reports.usage import Size, Usage

VERSION = 1


def facts(linked: Linked) -> str:
    """The JSON text: a line for each key, and one for each item of a list."""
    return "{\n" + ",\n".join(f'"{key}": {written(value)}' for key, value in collected(Usage(linked))) + "\n}\n"


def written(value: Any) -> str:
    if not isinstance(value, list):
        return json.dumps(value)
    return "[" + ",".join(f"\n  {json.dumps(item)}" for item in value) + ("\n]" if value else "]")


def collected(usage: Usage) -> Iterator[tuple[str, Any]]:
    linked, target, image = usage.linked, usage.target, usage.linked.image
    yield "xasm", "program"
    yield "version", VERSION
    yield "chip", {"name": target.name, "word": target.word, "address": target.address, "order": target.order}
    yield "board", usage.board.name if usage.board is not None else None
    yield "start", {"at": target.start, "vector": target.start_vector, "entry": image.entry}
    yield "spans", [{"start": part.start, "words": len(part.words)} for part in image.parts]
    yield "areas", list(areas(usage))
    yield "host", [{"name": one.name, "budget": one.budget, "used": one.used} for one in usage.resources]
    yield "sections", [{"name": name, **sizes(size)} for name, size in usage.sections.items()]
    yield "files", [{"file": name, **sizes(size)} for name, size in usage.files.items()]
    yield "pieces", [{"area": area.name, **piece._asdict()} for area in usage.areas for piece in area.pieces]
    yield (
        "symbols",
        [
            {
                "name": symbol.name,
                "value": symbol.value,
                "kind": symbol.kind,
                "section": section_of(symbol),
                "module": usage.named(symbol.unit.module.path),
                "public": symbol.public,
                "file": usage.named(symbol.place[0].path),
                "line": symbol.place[1],
            }
            for symbol in sorted(linked.symbols, key=lambda one: one.name)
        ],
    )


def section_of(symbol: Symbol) -> str | None:
    """The name of the section that a label stands in."""
    found = (section.name or MAIN for section in symbol.unit.module.sections if symbol.name in section.labels)
    return next(found, None)


def areas(usage: Usage) -> Iterator[dict[str, Any]]:
    for area in usage.areas:
        window = area.window
        yield {
            "name": area.name,
            "space": area.space or "program",
            "kind": window.kind if window is not None else None,
            "bank": (window.bank or None) if window is not None else None,
            "start": area.start,
            "size": area.size,
            "image": window.image if window is not None else None if area.space else 0,
            "used": area.used,
            "free": area.free,
            "loaded": area.loaded,
        }


def sizes(size: Size) -> dict[str, int]:
    return {"code": size.code, "data": size.data, "reserved": size.reserved}
