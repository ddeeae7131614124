"""`dtctriage classroom`: show a simulated vehicle to another program, or put a meter to it."""

from __future__ import annotations

from collections.abc import Callable
from importlib.metadata import entry_points
from pathlib import Path
from typing import Annotated, Any

import typer

from dtctriage.errors import TriageError

USUAL_BAUD = 38_400


class ClassroomError(TriageError):
    """The vehicle cannot be shown as asked."""


def classroom(
    lesson: Annotated[Path, typer.Argument(help="A .lesson.toml file.", show_default=False)],
    tcp: Annotated[
        int | None,
        typer.Option(help="Show a text adapter on this TCP port; 0 takes a free one.", min=0, max=65_535),
    ] = None,
    pty: Annotated[bool, typer.Option("--pty", help="Show a text adapter on a pseudo terminal.")] = False,
    can: Annotated[
        str | None, typer.Option(help="Show the modules on a CAN bus: INTERFACE/CHANNEL.", metavar="BUS")
    ] = None,
    baud: Annotated[
        int, typer.Option(help="Pace of the text adapter's serial line; 0: none.", min=0, max=4_000_000)
    ] = USUAL_BAUD,
    latency: Annotated[
        float, typer.Option(help="Milliseconds by which the text adapter's output is late.", min=0, max=5_000)
    ] = 0.0,
    measure: Annotated[
        list[str] | None,
        typer.Option(
            help='Only tell what an instrument shows, such as "volts F7 in" or "lamp X7:5, key off".',
            metavar="WHAT",
            show_default=False,
        ),
    ] = None,
) -> None:
    """Show the vehicle of a lesson, with its faults, until Ctrl-C.

    Without an option it is a text adapter on a free TCP port. With --measure, which may come several times,
    it is not shown: the readings are.
    """
    if measure:
        _measure(lesson, measure)
        return
    if (tcp is not None) + pty + (can is not None) > 1:
        raise ClassroomError("Only one of --tcp, --pty and --can can be given", "Leave the others out")
    try:
        if can is not None:
            _way("can")(lesson, can, typer.echo)
        else:
            port = None if pty else tcp or 0
            _way("text")(lesson, port, baud or None, latency / 1000, typer.echo)
    except KeyboardInterrupt:
        typer.echo("Lesson ended.")


def _measure(lesson: Path, texts: list[str]) -> None:
    """Tell each reading as the sheet writes it."""
    from dtctriage.triage.readings import reading_words

    read = _way("measure")
    for text in texts:
        words, probe, value = read(lesson, text)
        typer.echo(f"{words}: {reading_words(probe, value)}")


def _way(name: str) -> Callable[..., Any]:
    """A way to show a vehicle, from the installed packages: the core knows none of them."""
    for entry in entry_points(group="dtctriage.classrooms", name=name):
        way: Callable[..., Any] = entry.load()
        return way
    raise ClassroomError(f"No package shows a vehicle over {name}", "Install dtctriage again")
