"""Libraries: a folder of modules, or an archive of them (ZIP, `.zip`), from which only what is needed is taken."""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path

from xasm.assembly.module import Module
from xasm.formats.module_reading import Load, read_module
from xasm.formats.modules import SUFFIX, write_module
from xasm.linking.names import foreign
from xasm.source.diagnostics import Fault
from xasm.source.files import LONGEST_FILE, read_bytes, reason, whole

ARCHIVE = ".zip"
MOST_MODULES = 10_000
LONG_AGO = (1980, 1, 1, 0, 0, 0)  # the first time that an archive can hold: the same module gives the same bytes


def write_library(modules: dict[str, Module]) -> bytes:
    """An archive of modules by the names of their files."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, module in sorted(modules.items()):
            member = zipfile.ZipInfo(name, LONG_AGO)
            member.compress_type = zipfile.ZIP_DEFLATED
            member.create_system = 3
            archive.writestr(member, write_module(module))
    return buffer.getvalue()


def read_library(path: str, load: Load) -> list[Module]:
    """The modules of a folder or archive, sorted by the names of their files. Raises Fault."""
    found = [read_module(data, shown, load) for shown, data in contents(path)]
    if not found:
        raise Fault("library_empty", place=whole(path))
    return found


def contents(path: str) -> Iterator[tuple[str, bytes]]:
    """(name as messages show it, content) of each module in a folder or archive."""
    folder = Path(path)
    if folder.is_dir():
        for file in sorted(folder.glob(f"*{SUFFIX}")):
            yield str(file), read_bytes(file, str(file))
        return
    data = read_bytes(folder, path)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            members = sorted((one for one in archive.infolist() if one.filename.endswith(SUFFIX)), key=lambda one: one.filename)
            if len(members) > MOST_MODULES or sum(member.file_size for member in members) > 4 * LONGEST_FILE:
                raise Fault("not_a_library", place=whole(path), why="it holds too much")
            for member in members:
                with archive.open(member) as opened:
                    content = opened.read(member.file_size + 1)
                if len(content) > member.file_size:
                    raise Fault("not_a_library", place=whole(path), why="a member is longer than it says")
                yield f"{path}/{member.filename}", content
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, ValueError) as error:
        raise Fault("not_a_library", place=whole(path), why=str(error)[:100].lower()) from None
    except OSError as error:
        raise Fault("not_a_library", place=whole(path), why=reason(error)) from None


def needed(modules: list[Module], library: list[Module]) -> list[Module]:
    """The modules of a library that others need: those that define what is used and not PUBLIC anywhere yet, and what
    these need in turn; in the order of the library."""
    homes: dict[str, Module] = {}
    for module in library:
        for name in module.public:
            if name in module.defined:
                homes.setdefault(name, module)
    known = {name for module in modules for name in module.public}
    taken: dict[int, Module] = {}
    pending = list(modules)
    while pending:
        module = pending.pop()
        for name in foreign(module):
            home = homes.get(name)
            if name in known or home is None or id(home) in taken:
                continue
            taken[id(home)] = home
            known |= home.public.keys()
            pending.append(home)
    return [module for module in library if id(module) in taken]
