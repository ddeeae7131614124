"""`dtctriage profile`: write, check and draw a vehicle's wiring."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dtctriage.cli import EXIT_INPUT
from dtctriage.cli.new_file import write_new
from dtctriage.cli.profile_from_order import from_order
from dtctriage.cli.profile_from_sweep import from_sweep

profile = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
    help="Start, check and draw the profile of a vehicle.",
)

profile.command("from-sweep")(from_sweep)
profile.command("from-order")(from_order)

ProfilePath = Annotated[Path, typer.Argument(help="A .vehicle.toml file.", metavar="FILE")]


@profile.command()
def new(
    to: Annotated[Path, typer.Argument(help="The .vehicle.toml file to make.", metavar="FILE")],
) -> None:
    """Make a file to be filled in from a wiring diagram.

    It holds every table and key with its unit, its default and an example.
    """
    from importlib.resources import files

    text = files("dtctriage.wiring").joinpath("starter.vehicle.toml").read_text(encoding="utf-8")
    write_new(to, text)
    typer.echo(f"{to}: change it, then: dtctriage profile check {to}")


@profile.command()
def check(file: ProfilePath) -> None:
    """List what is wrong and what is odd in a profile.

    Each with its line. Errors (exit code 2) must be mended before it can be used; warnings need not.
    """
    from dtctriage.wiring.summary import checked

    report = checked(file)
    for line, text in report.errors:
        typer.echo(f"{file}: line {line}: error: {text}")
    for line, text in report.warnings:
        typer.echo(f"{file}: line {line}: warning: {text}")
    typer.echo(f"{file}: {report.summary}")
    if report.errors:
        raise typer.Exit(EXIT_INPUT)


@profile.command()
def draw(
    file: ProfilePath,
    to: Annotated[Path, typer.Option("--to", help="Where to: a .svg or .pdf file.")],
    name: Annotated[
        str | None,
        typer.Argument(help="A circuit, a sensor, or a module for its supply.", metavar="NAME"),
    ] = None,
    feeds: Annotated[bool, typer.Option("--feeds", help="Draw the tree of all feeds.")] = False,
    bus: Annotated[
        str | None, typer.Option(help="Draw this bus.", metavar="NAME", show_default=False)
    ] = None,
) -> None:
    """Draw a circuit, a supply, the feeds or a bus.

    On the least ISO paper that holds it, in drafting symbols, black on white.
    """
    from dtctriage.errors import TriageError
    from dtctriage.wiring.drawing.drawn import bus_drawing, drawing_of, feeds_drawing
    from dtctriage.wiring.drawing.pdf import to_pdf
    from dtctriage.wiring.profile_file import load_profile

    if (name is not None) + feeds + (bus is not None) != 1:
        raise TriageError(
            "Give one thing to draw", "A circuit, sensor or module by its id, --feeds, or --bus"
        )
    kind = to.suffix.lower()
    if kind not in (".svg", ".pdf"):
        raise TriageError(f"{to} is neither .svg nor .pdf", "Give --to a file of one of them")
    vehicle = load_profile(file)
    if bus is not None:
        drawing = bus_drawing(vehicle, bus)
    else:
        drawing = feeds_drawing(vehicle) if name is None else drawing_of(vehicle, name)
    content = drawing.svg.encode("utf-8") if kind == ".svg" else to_pdf(drawing)
    try:
        to.write_bytes(content)
    except OSError as error:
        raise TriageError(f"{to} cannot be written ({error.strerror})", "Give another path") from None
    wide, high = drawing.size
    typer.echo(f"{to}: {drawing.title}, {wide:g} x {high:g} mm")
