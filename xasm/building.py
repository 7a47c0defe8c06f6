"""The whole way: sources to an image. What the command and the Python interface share."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from xasm.assembly.assembler import Assembler
from xasm.linking.image import Image
from xasm.linking.linker import Linked, link
from xasm.source.diagnostics import Fault, Report
from xasm.source.files import Source, read_source
from xasm.target.finding import load_target
from xasm.target.model import Target


def build(paths: Sequence[str], target: str | None, folders: Sequence[str] = ()) -> Linked:
    """Assembles files in order as one program and links it. Raises SourceErrors."""
    report = Report()
    sources = []
    for path in paths:
        try:
            sources.append(read_source(Path(path), path))
        except Fault as fault:
            report.lost(fault)
    report.stop()
    return build_sources(sources, target, [Path(folder) for folder in folders], report)


def build_sources(sources: Sequence[Source], target: str | Target | None, folders: Sequence[Path], report: Report) -> Linked:
    assembler = Assembler(report, folders, load_target)
    if target is not None:
        try:
            chip = load_target(target) if isinstance(target, str) else target
        except Fault as fault:
            report.lost(fault)
            report.stop()
            raise AssertionError("unreachable") from None
        assembler.choose_target("", chip)
    for source in sources:
        assembler.read(source)
        if assembler.ended:
            break
    report.stop()
    if assembler.module.target is None:
        report.lost(Fault("no_target", hint="name it on the command line (-t NAME) or in the source (TARGET NAME)"))
        report.stop()
        raise AssertionError("unreachable")
    return link(assembler.module, assembler.module.target, report)


def assemble(
    source: str, target: str | Target | None = None, path: str = "<source>", include: Sequence[str | Path] = ()
) -> Image:
    """Assembles a source text for a chip and returns the image.

    `target` is a chip's name (or a loaded Target); None when the source names it with TARGET. `path` is the name that
    messages give the text; files that it includes are looked for beside it, then in the `include` folders.
    Raises SourceErrors, whose `diagnostics` hold every error found.
    """
    return build_sources([Source(path, source)], target, [Path(folder) for folder in include], Report()).image
