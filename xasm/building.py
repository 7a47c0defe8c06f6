"""The whole way: sources to an image. What the command and the Python interface share."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import partial
from pathlib import Path

from xasm.assembly.assembler import Assembler
from xasm.assembly.directives import DIRECTIVES
from xasm.assembly.limits import Limits
from xasm.linking.image import Image
from xasm.linking.linker import Linked, link
from xasm.linking.names import undefined
from xasm.source.diagnostics import Fault, Report
from xasm.source.files import Source, read_source, whole
from xasm.target.finding import load_target
from xasm.target.model import Target

WORD = re.compile(r"[.A-Za-z_][A-Za-z0-9_]*|:=")
# Mistakes that may keep more than their own line from being read: in a whole file, or in any directive but these.
UNREAD = frozenset(("control", "not_text", "file_too_long", "cannot_read"))
OF_ONE_LINE = frozenset(("ORG", "EQU", ":=", "DB", "DW", "DS", "DU", "ALIGN", "ASSERT", "ASSUME", "END", "PUBLIC", "ALPHABET"))


def build(
    paths: Sequence[str],
    target: str | None,
    folders: Sequence[str] = (),
    limits: Limits | None = None,
    undocumented: bool = False,
    tables: Sequence[str | Path] = (),
) -> Linked:
    """Assembles files in order as one program and links it. `tables` are folders of own tables. Raises SourceErrors."""
    report = Report()
    sources = []
    for path in paths:
        try:
            sources.append(read_source(Path(path), path))
        except Fault as fault:
            report.lost(fault)
    report.stop()
    return build_sources(sources, target, [Path(folder) for folder in folders], report, limits, undocumented, tables)


def build_sources(
    sources: Sequence[Source],
    target: str | Target | None,
    folders: Sequence[Path],
    report: Report,
    limits: Limits | None = None,
    undocumented: bool = False,
    tables: Sequence[str | Path] = (),
) -> Linked:
    """Assembles sources in order. A chip that is found by its name is taken with its undocumented instructions if wanted;
    `tables` are folders of own tables."""
    load = partial(load_target, undocumented=undocumented, own=tables)
    assembler = Assembler(report, folders, load, limits)
    if target is not None:
        try:
            chip = load(target) if isinstance(target, str) else target
        except Fault as fault:
            report.lost(fault)
            report.stop()
            raise AssertionError("unreachable") from None
        assembler.choose_target("", chip)
    for index, source in enumerate(sources):
        assembler.read(source)
        if assembler.reader.ended:
            for unread in sources[index + 1 :] if not report.failed else ():
                report.lost(Fault("after_end", hint="END belongs at the end of the last file", place=whole(unread.path)))
            break
    module = assembler.finish()
    if report.failed:
        more(assembler, report)
    report.stop()
    if module.target is None:
        report.lost(Fault("no_target", hint="name it on the command line (-t NAME) or in the source (TARGET NAME)"))
        report.stop()
        raise AssertionError("unreachable")
    return link(module, module.target, report)


def more(assembler: Assembler, report: Report) -> None:
    """Adds the names that nobody defined to the mistakes that keep a program from being linked."""
    wide = DIRECTIVES.keys() - OF_ONE_LINE
    spoiled = set()
    for one in report.diagnostics:
        words = WORD.findall(one.excerpt)
        unread = one.code in UNREAD or not wide.isdisjoint(word.upper() for word in words)
        if unread or (one.code == "unknown_operation" and '"' in one.excerpt):  # an INCLUDE, it may be
            return
        spoiled.update(words[:1])
    if assembler.module.target is not None:
        undefined(assembler.module, spoiled, report)


def assemble(
    source: str,
    target: str | Target | None = None,
    path: str = "<source>",
    include: Sequence[str | Path] = (),
    undocumented: bool = False,
) -> Image:
    """Assembles a source text for a chip and returns the image.

    `target` is a chip's name or the path of its table (or a loaded Target); None when the source names it with TARGET.
    `path` is the name that messages give the text; files that it includes are looked for beside it, then in the `include` folders.
    `undocumented` adds what real chips do and their makers do not list, where the table has it.
    Raises SourceErrors, whose `diagnostics` hold every error found.
    """
    folders = [Path(folder) for folder in include]
    return build_sources([Source(path, source)], target, folders, Report(), undocumented=undocumented).image
