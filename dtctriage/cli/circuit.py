"""`dtctriage circuit`: make a generic circuit this vehicle's own, with the wiring diagram open."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated, NamedTuple

import typer

from dtctriage.cli.choices import By, Make, Meanings, OrderNumber, PriorsFile, RecordsUrl
from dtctriage.cli.moment import now

if TYPE_CHECKING:
    from dtctriage.wiring.entered import Entered
    from dtctriage.work.circuits import Enterable

circuit = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
    help="Enter circuits and supplies from a wiring diagram.",
)

_ASKED = {
    "pin": "Pin of the module (C2:12)",
    "colour": "Colour of its wire (white/blue)",
    "connector": "Inline connector and pin on that wire (X5:3)",
    "second": "Second pin of the module: return, ground, or a motor's other end (C2:13)",
    "secondcolour": "Colour of the second wire",
    "secondconnector": "Inline connector and pin on the second wire",
    "supply": "Pin that supplies the sensor (C2:14)",
    "supplycolour": "Colour of the supply wire",
    "supplyconnector": "Inline connector and pin on the supply wire",
    "fuse": "Fuse and its rating (F12:15A)",
    "hot": "Hot when: run, accessory or always",
    "relay": "Relay before the fuse (K4)",
    "ground": "Ground point (G103)",
    "busconnector": "Inline connector on the bus before it (X7)",
    "plug": "Pins of its own plug (1,2)",
    "ohms": "Its resistance in ohm",
    "place": "Where a hand finds it",
    "hidden": "Connectors that cannot be reached (X5,X6)",
}


@circuit.command()
def add(
    order: OrderNumber,
    about: Annotated[
        str, typer.Argument(help="A code of the sheet, or a circuit's or module's name.", show_default=False)
    ],
    words: Annotated[
        list[str] | None,
        typer.Argument(help="key=value, as below; none: asked one by one.", metavar="KEY=VALUE"),
    ] = None,
    like: Annotated[bool, typer.Option("--like", help="Take what was entered for a like vehicle.")] = False,
    by: By = None,
    meanings: Meanings = None,
    make: Make = None,
    priors: PriorsFile = None,
    records: RecordsUrl = None,
) -> None:
    """Make a generic circuit this vehicle's own.

    With a profile that lacks the circuit it joins the profile, for this order.

    In one line: pin=C2:12 colour=white/blue fuse=F12:15A hot=run connector=X5:3

    \b
    pin= second= supply=   pins of the module: C2:12. second: a sensor's return,
                           a module's ground, a motor's other end
    colour= connector=     of the wire at pin=; connector and pin: X5:3
    secondcolour= secondconnector= supplycolour= supplyconnector=
                           of the other wires; supply: also a load's feed
    fuse=F12:15A           fuse and rating
    hot=                   run, accessory or always
    relay=K4 ground=G103   relay before the fuse; ground point
    busconnector=X7        inline connector on a silent module's bus
    plug=1,2 ohms=24       the part's own plug and resistance
    place='strut tower'    where a hand finds it
    hidden=X5,X6           connectors that cannot be reached

    Sheet, next and measure use it at once; undo takes it back.
    """
    from dtctriage.records import Records
    from dtctriage.work.circuits import chosen, keep
    from dtctriage.work.circuits import like as like_vehicle
    from dtctriage.work.opening import OwnTables, open_order

    with Records.open(records, make=False) as kept:
        opened = open_order(kept, order, own=OwnTables(meanings, make, priors))
        number, item = opened.order.number, chosen(opened.grounds, about)
        before = like_vehicle(kept, opened.order, opened.picture, item.name)
        known = LikeVehicle(before.order, before.entry.line) if before else None
        entered = _told(item, words or [], known, like)
        who = by or opened.order.technician or ""
        entry = keep(kept, number, opened.grounds, item, entered, who=who, at=now())
    typer.echo(f"Kept for {number}: {entry.about}: {entry.line}")
    typer.echo(f"Next: dtctriage next {number}")


class LikeVehicle(NamedTuple):
    """An earlier order of a like vehicle, and what was entered there."""

    order: str
    line: str


def _told(item: Enterable, words: list[str], before: LikeVehicle | None, like: bool) -> Entered:
    """What the diagram shows: taken over, typed in one line, or asked for."""
    from dtctriage.errors import TriageError
    from dtctriage.wiring.entered import NOTHING, parse, parse_line

    usual = item.now or NOTHING
    if before is not None and item.now is None:
        typer.echo(f"A like vehicle, order {before.order}: {before.line}")
        usual = parse_line(before.line)
    if like and before is None:
        raise TriageError(f"Nothing was entered of {item.name} for a like vehicle", "Enter it here")
    if like and before is not None:
        return parse_line(before.line, item.keys)
    return parse(words, item.keys) if words else asked(item, usual)


def asked(item: Enterable, usual: Entered) -> Entered:
    """Each key asked for, with what is known as its default; an empty answer leaves it open."""
    from dataclasses import replace

    from dtctriage.errors import TriageError
    from dtctriage.wiring.entered import NOTHING, EntryError, checked

    if sys.stdin is None:
        raise TriageError("There is no input to ask on", "Give what the diagram shows as key=value")
    typer.echo(f"{item.title}: what the diagram shows; Enter leaves open.")
    entered = NOTHING
    for key in item.keys:
        while True:
            default = getattr(usual, key)
            text = typer.prompt(_ASKED[key], default=default, show_default=bool(default))
            try:
                value = checked(key, text) if text.strip() else ""
            except EntryError as error:
                typer.echo(str(error))
                continue
            entered = replace(entered, **{key: value})
            break
    return entered


@circuit.command("list")
def list_(
    order: OrderNumber,
    meanings: Meanings = None,
    make: Make = None,
    priors: PriorsFile = None,
    records: RecordsUrl = None,
) -> None:
    """List what can be entered for an order, and what was."""
    from dtctriage.records import Records
    from dtctriage.work.case import NOTHING_TO_WEIGH
    from dtctriage.work.circuits import enterables, like, refused
    from dtctriage.work.opening import OwnTables, open_order

    with Records.open(records, make=False) as kept:
        opened = open_order(kept, order, own=OwnTables(meanings, make, priors))
        items = list(enterables(opened.grounds))
        for item in items:
            typer.echo(item.title)
            if item.now is not None:
                typer.echo(f"  {item.now.line}")
            elif why := refused(opened.grounds, item):
                typer.echo(f"  entered, and left out: {why}")
            elif (before := like(kept, opened.order, opened.picture, item.name)) is not None:
                typer.echo(f"  not entered; like vehicle {before.order}: {before.entry.line}")
            else:
                typer.echo("  not entered")
        if not items:
            typer.echo(f"Nothing: {NOTHING_TO_WEIGH}.")
