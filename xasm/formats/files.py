"""Writing outputs: all of them or none.

A file is first written in full beside its target under a name of its own and then put in the target's place, so that
whoever reads the target sees the old file or the new one and never half of it.
"""

from __future__ import annotations

import errno
import os
import secrets
import stat
from collections.abc import Mapping
from contextlib import suppress

from xasm.source.diagnostics import Fault
from xasm.source.files import reason

MOST_LINKS = 40  # symbolic links followed one after the other, as many as Linux follows


def write_files(outputs: Mapping[str, bytes]) -> None:
    """Writes the bytes of each path: all or none.

    Raises Fault (cannot_write) for the first path that cannot be written; then every earlier file is as it was and no
    other file is left. Symbolic links are followed; a file that exists keeps its mode. A target that is no regular file,
    such as a device or a pipe, is written to directly, once all the others are ready to be moved in place: what went to
    it cannot be taken back.
    """
    ready: list[_Output] = []
    direct: list[str] = []
    shown = ""
    try:
        for shown, data in outputs.items():
            target = _regular_target(shown)
            if target is None:
                direct.append(shown)
                continue
            ready.append(_Output(shown, *target))
            ready[-1].prepare(data)
        for shown in direct:
            with open(shown, "wb") as file:
                file.write(outputs[shown])
        for output in ready:
            shown = output.shown
            output.move()
    except BaseException as error:
        for output in reversed(ready):
            output.undo()
        if isinstance(error, OSError):
            raise Fault("cannot_write", path=shown, why=reason(error)) from None
        if isinstance(error, ValueError):  # a path that no file can have
            raise Fault("cannot_write", path=ascii(shown)[1:-1], why=str(error)) from None
        raise
    for output in ready:
        output.finish()


class _Output:
    """A target and its new content, which is written beside it and then moved.

    `shown` is the path as the caller has it, `path` the same behind all symbolic links, `mode` that of the old file (None:
    there is none). `temporary` names the file with the new content until it is moved, `kept` the old file while it may
    have to come back.
    """

    def __init__(self, shown: str, path: str, mode: int | None) -> None:
        self.shown = shown
        self.path = path
        self.mode = mode
        self.temporary: str | None = None
        self.kept: str | None = None
        self.moved = False

    def prepare(self, data: bytes) -> None:
        temporary = self._beside()
        with open(temporary, "xb") as file:
            self.temporary = temporary
            file.write(data)
            file.flush()
            os.fsync(file.fileno())  # a full disk may show only here
        if self.mode is not None and stat.S_IMODE(os.stat(temporary).st_mode) != self.mode:
            os.chmod(temporary, self.mode)

    def move(self) -> None:
        """Puts the new file in place and keeps the old one."""
        assert self.temporary is not None
        if self.mode is not None:
            kept = self._beside()
            try:
                os.link(self.path, kept)
            except OSError:  # a file system without hard links
                os.rename(self.path, kept)
            self.kept = kept
        os.replace(self.temporary, self.path)
        self.temporary = None
        self.moved = True

    def undo(self) -> None:
        """Makes everything as it was. An old file that cannot be put back stays under the name it was kept by."""
        with suppress(OSError):
            if self.temporary is not None:
                os.unlink(self.temporary)
        with suppress(OSError):
            if self.kept is not None:
                os.replace(self.kept, self.path)
                # When both names are links to one file, nothing was replaced and both are left.
                os.unlink(self.kept)
            elif self.moved:
                os.unlink(self.path)

    def finish(self) -> None:
        """Lets the old file go."""
        with suppress(OSError):
            if self.kept is not None:
                os.unlink(self.kept)

    def _beside(self) -> str:
        """A new name in the folder of the target, short however long the target's is."""
        return os.path.join(os.path.dirname(self.path), f".xasm-{secrets.token_hex(8)}")


def _regular_target(shown: str) -> tuple[str, int | None] | None:
    """The file behind a path and its mode (None: a new file); None when the path is to be written to directly.

    Raises OSError when it can be seen that nothing can be written there.
    """
    path = shown
    for _ in range(MOST_LINKS):
        if not os.path.islink(path):
            break
        path = os.path.join(os.path.dirname(path), os.readlink(path))
    try:
        status = os.stat(shown)
    except FileNotFoundError:
        if os.path.basename(path) in ("", ".", ".."):
            raise _system_error(errno.EISDIR if path else errno.ENOENT) from None
        return path, None
    if stat.S_ISDIR(status.st_mode):
        raise _system_error(errno.EISDIR)
    if not stat.S_ISREG(status.st_mode) or not os.path.exists(path):  # the latter: open, but without a name any more
        return None
    if not os.access(shown, os.W_OK):
        raise _system_error(errno.EACCES)
    return path, stat.S_IMODE(status.st_mode)


def _system_error(number: int) -> OSError:
    return OSError(number, os.strerror(number))
