"""Standard output."""

from __future__ import annotations

import os
import sys
from contextlib import suppress

import click

from xasm.source.diagnostics import Fault
from xasm.source.files import reason


def show(content: str | bytes) -> None:
    """Prints on standard output; raises Fault when it takes no more, as a full disk behind a `>`. A reader that has gone
    away, as `head` does, wants no more, and that is no error."""
    try:
        click.echo(content, nl=isinstance(content, str))
    except BrokenPipeError:
        discard()
    except OSError as error:
        discard()
        raise Fault("cannot_write", path="standard output", why=reason(error)) from None


def discard() -> None:
    """Lets what standard output still holds go nowhere, so that nothing fails over it once more at the end."""
    with suppress(OSError, ValueError):  # there may be no file behind it
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
