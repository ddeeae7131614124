"""The command line.

Each command is a module of this package with a function (or a `typer.Typer` with several) of the same name,
imported when it is called: `dtctriage decode` must not pay for a bus, a database or a page. A new command is
one module and its name in `COMMANDS`; what is heavy it imports inside its function.

Exit codes: 0 done, 1 a fault in the program, 2 something in the input to mend, 3 no way to the vehicle and
nothing read, 4 a partial sheet, 130 stopped by Ctrl-C, 141 the reader of the output went away.
"""

from __future__ import annotations

import sys
from contextlib import suppress
from importlib import import_module
from io import TextIOWrapper
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from dtctriage.errors import TriageError

COMMANDS = (
    "intake",
    "recheck",
    "clear",
    "watch",
    "sheet",
    "next",
    "measure",
    "circuit",
    "note",
    "undo",
    "conclude",
    "orders",
    "decode",
    "replay",
    "classroom",
    "profile",
    "links",
)
"""Every command, in the order in which the help lists them."""

EXIT_INPUT = 2
EXIT_LINK = 3


class LazyGroup(TyperGroup):
    """A group that imports a command's module when the command is asked for."""

    def list_commands(self, ctx: Any) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        if cmd_name not in COMMANDS:
            return None
        made = getattr(import_module(f"{__name__}.{cmd_name}"), cmd_name)
        if isinstance(made, typer.Typer):
            return typer.main.get_command(made)
        single = typer.Typer(add_completion=False, rich_markup_mode=None)
        single.command(cmd_name)(made)
        return typer.main.get_command(single)

    def invoke(self, ctx: Any) -> Any:
        """Run the command. Ctrl-C and a lost output are told here, for typer ends mute on them."""
        from dtctriage.cli.ends import ended_with

        with ended_with():
            return super().invoke(ctx)


app = typer.Typer(
    cls=LazyGroup,
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
)


def _show_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        typer.echo(f"dtctriage {version('dtctriage')}")
        raise typer.Exit


@app.callback()
def options(
    show_version: Annotated[
        bool,
        typer.Option("--version", help="Show the version and leave.", callback=_show_version, is_eager=True),
    ] = False,
) -> None:
    """From a vehicle that does not run to a written repair order with evidence."""


def main() -> None:
    """Run the command line; what the user can mend ends in one line on stderr, not in a traceback."""
    from dtctriage.cli.ends import ended_with, settle

    # A terminal that cannot write a letter of a name shows "?" for it.
    if isinstance(sys.stdout, TextIOWrapper):
        sys.stdout.reconfigure(errors="replace")
    try:
        with ended_with():
            app(prog_name="dtctriage")
    except TriageError as error:
        with suppress(OSError):
            typer.echo(f"dtctriage: {error}", err=True)
        raise SystemExit(_code(error)) from None
    finally:
        settle()


def _code(error: TriageError) -> int:
    from dtctriage.cli.ends import EXIT_STOPPED, Stopped
    from dtctriage.link import LinkError

    if isinstance(error, Stopped):
        return EXIT_STOPPED
    return EXIT_LINK if isinstance(error, LinkError) else EXIT_INPUT
