"""The command `xasm`: finds the subcommand, and turns errors into messages and exit codes."""

from __future__ import annotations

import os
import sys
from importlib import import_module

import click

from xasm import __version__
from xasm.source.diagnostics import Diagnostic, Fault, Report, SourceErrors, render_all

COMMANDS = {
    "build": "xasm.cli.build",
    "recover": "xasm.cli.recover",
    "assemble": "xasm.cli.assemble",
    "link": "xasm.cli.link",
    "expect": "xasm.cli.expect",
    "starter": "xasm.cli.starter",
    "compare": "xasm.cli.compare",
    "target": "xasm.cli.target",
}

WRONG_INPUT, WRONG_USE = 1, 2


class Commands(click.Group):
    """Loads a command's file when it is asked for."""

    def list_commands(self, context: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, context: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS:
            return None
        command: click.Command = import_module(COMMANDS[name]).command
        return command


@click.group(
    cls=Commands,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="""\b
Start here:
  xasm target list
  xasm build first.asm -t NAME -o first.h -o first.lst""",
)
@click.version_option(__version__, "-V", "--version", message="xasm %(version)s")
def xasm() -> None:
    """Test programs for microprocessors: from source to the bytes, the C array and the listing.

    Every chip is a table; `xasm target list` names them, `xasm target show NAME` is a chip's card.
    """


def exit_code(diagnostics: list[Diagnostic]) -> int:
    """1 when the input has errors; 2 when only the use is wrong: errors that belong to no file."""
    return WRONG_INPUT if any(diagnostic.path for diagnostic in diagnostics) else WRONG_USE


def main() -> None:
    """The entry point: never shows a traceback for what a user did."""
    try:
        xasm.main(standalone_mode=False)
    except SourceErrors as errors:
        click.echo(render_all(errors.diagnostics), err=True)
        sys.exit(exit_code(errors.diagnostics))
    except Fault as fault:
        report = Report()
        report.lost(fault)
        click.echo(render_all(report.diagnostics), err=True)
        sys.exit(exit_code(report.diagnostics))
    except click.ClickException as error:
        error.show()
        sys.exit(WRONG_USE)
    except (click.Abort, KeyboardInterrupt):
        click.echo("stopped", err=True)
        sys.exit(WRONG_USE)
    except MemoryError:
        click.echo("error: there is not enough memory for this", err=True)
        sys.exit(WRONG_INPUT)
    except Exception as error:
        # Nothing a user types should lead here; if it does, the fault is ours and the reader is told so.
        if os.environ.get("XASM_TRACE"):
            raise
        click.echo(f"error: xasm itself failed ({type(error).__name__}: {error}); this is a defect of xasm", err=True)
        click.echo("    please report it with your source and what XASM_TRACE=1 makes it print", err=True)
        sys.exit(WRONG_USE)
