"""The whole way: sources to an image. What the command and the Python interface share."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import NamedTuple

from xasm.assembly.assembler import Assembler
from xasm.assembly.directives import DIRECTIVES
from xasm.assembly.limits import Limits
from xasm.assembly.module import Module
from xasm.formats.modules import SUFFIX
from xasm.linking.board import read_board
from xasm.linking.image import Image
from xasm.linking.linker import Linked, Wishes, link
from xasm.linking.names import undefined
from xasm.linking.program import exported
from xasm.source.diagnostics import Fault, Report
from xasm.source.files import Source, read_bytes, read_source, whole
from xasm.target.finding import load_target
from xasm.target.model import Target

WORD = re.compile(r"[.A-Za-z_][A-Za-z0-9_]*|:=")
# Mistakes that may keep more than their own line from being read: in a whole file, or in any directive but these.
UNREAD = frozenset(("control", "not_text", "file_too_long", "cannot_read"))
OF_ONE_LINE = frozenset(("ORG", "EQU", ":=", "DB", "DW", "DS", "DU", "ALIGN", "CODED", "ASSERT", "ASSUME", "END", "PUBLIC", "ALPHABET"))


class Choices(NamedTuple):
    """What a person may choose about a build. `target` is a chip, or its name, or None where every source names it; `folders` are
    searched for included files; `board` is a board file; `libraries` are folders and archives of modules; `only_used`
    leaves out sections that nothing leads to; `fill` is what stands in gaps, for checksums; `text` is that of STAMP TEXT; `tables` are
    folders of own tables."""

    target: str | Target | None = None
    folders: tuple[str, ...] = ()
    limits: Limits | None = None
    undocumented: bool = False
    board: str | None = None
    libraries: tuple[str, ...] = ()
    only_used: bool = False
    fill: int | None = None
    text: str = ""
    tables: tuple[str, ...] = ()


DEFAULT = Choices()


def build(paths: Sequence[str], choices: Choices = DEFAULT) -> Linked:
    """Assembles each source file to a module, reads those that are modules already, and links them. Raises SourceErrors."""
    report = Report()
    modules = assemble_files(paths, choices, report)
    report.stop()
    return link_modules(modules, choices, report)


def assemble_alone(paths: Sequence[str], choices: Choices) -> list[Module]:
    """The modules of source files, each looked at by itself: a name that it neither defines nor calls EXTERN is a mistake.
    Raises SourceErrors."""
    report = Report()
    modules = assemble_files(paths, choices, report)
    for module in modules if not report.failed else ():
        assert module.target is not None
        undefined(module, module.target, (), report)
        exported([module], report)
    report.stop()
    return modules


def read_for(linked: Linked, choices: Choices) -> list[str]:
    """The files that were read for a build, each once, in order."""
    found: dict[str, None] = {}
    for module in linked.program.modules:
        found |= dict.fromkeys((module.path, *(source.path for source in module.read()), *module.embedded))
    for path in choices.libraries:
        inside = sorted(Path(path).glob(f"*{SUFFIX}")) if Path(path).is_dir() else [path]
        found |= dict.fromkeys(map(str, inside))
    if choices.board is not None:
        found[choices.board] = None
    return list(found)


def build_sources(sources: Sequence[Source], choices: Choices = DEFAULT) -> Linked:
    """The same with texts at hand."""
    report = Report()
    modules = assemble_sources(sources, choices, report)
    report.stop()
    return link_modules(modules, choices, report)


def assemble_files(paths: Sequence[str], choices: Choices, report: Report) -> list[Module]:
    """The modules of files; errors go to the report, and a file that cannot be read keeps all from being assembled."""
    found: list[Source | Module] = []
    for path in paths:
        try:
            is_module = Path(path).suffix.lower() == SUFFIX
            found.append(read_module_file(path, choices) if is_module else read_source(Path(path), path))
        except Fault as fault:
            report.lost(fault)
    report.stop()
    return assemble_sources(found, choices, report)


def assemble_sources(sources: Sequence[Source | Module], choices: Choices, report: Report) -> list[Module]:
    """The modules of sources, among those that are modules already; errors go to the report. A source that names no chip is
    for that of the one before it."""
    chip = named_target(choices, report)
    modules = []
    for source in sources:
        module = assemble_source(source, chip, choices, report) if isinstance(source, Source) else source
        chip = chip or module.target
        modules.append(module)
    return modules


def read_module_file(path: str, choices: Choices) -> Module:
    from xasm.formats.module_reading import read_module

    return read_module(read_bytes(Path(path), path), path, partial(load_named, choices))


def load_named(choices: Choices, name: str, undocumented: bool) -> Target:
    """The chip that a module names; that of the command line when it is the same one."""
    if choices.target is None:
        return load_target(name, undocumented, choices.tables)
    chosen = load_target(choices.target, undocumented, choices.tables) if isinstance(choices.target, str) else choices.target
    return chosen if chosen.name == name else load_target(name, undocumented, choices.tables)


def named_target(choices: Choices, report: Report) -> Target | None:
    """The chip that was chosen for all sources."""
    if not isinstance(choices.target, str):
        return choices.target
    try:
        return load_target(choices.target, choices.undocumented, choices.tables)
    except Fault as fault:
        report.lost(fault)
        report.stop()
        raise AssertionError("unreachable") from None


def assemble_source(source: Source, chip: Target | None, choices: Choices, report: Report) -> Module:
    """The module of a source; errors go to the report."""
    load = partial(load_target, undocumented=choices.undocumented, own=choices.tables)
    assembler = Assembler(report, [Path(folder) for folder in choices.folders], load, choices.limits, source.path)
    failed = len(report.diagnostics)
    if chip is not None:
        assembler.choose_target("", chip)
    assembler.read(source)
    module = assembler.finish()
    if len(report.diagnostics) > failed:
        more(assembler, report)
    elif module.target is None:
        report.lost(Fault("no_target", hint="name it on the command line (-t NAME) or in the source (TARGET NAME)"))
    return module


def link_modules(modules: list[Module], choices: Choices, report: Report) -> Linked:
    """Links modules with what they need of the libraries. Raises SourceErrors."""
    target = modules[0].target
    assert target is not None
    if choices.libraries:
        from xasm.formats.libraries import needed, read_library

        available: list[Module] = []
        for path in choices.libraries:
            try:
                available += read_library(path, partial(load_named, choices))
            except Fault as fault:
                report.lost(fault)
        report.stop()
        modules = [*modules, *needed(modules, available)]
    for module in modules:
        if module.target is not target:
            assert module.target is not None
            found, wanted = module.target.name, target.name
            report.lost(Fault("other_target", place=whole(module.path), found=found, other=modules[0].path, wanted=wanted))
    report.stop()
    board = None
    if choices.board is not None:
        try:
            board = read_board(read_source(Path(choices.board), choices.board), target, report)
        except Fault as fault:
            report.lost(fault)
            report.stop()
    return link(modules, target, report, Wishes(board, choices.only_used, choices.fill, choices.text))


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
        undefined(assembler.module, assembler.module.target, spoiled, report)


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
    choices = Choices(target, tuple(str(folder) for folder in include), undocumented=undocumented)
    return build_sources([Source(path, source)], choices).image
