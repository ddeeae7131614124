"""`dtctriage recheck`: take an order's intake again after the repair, and show before and after."""

from __future__ import annotations

from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dtctriage.cli.choices import AsJson, Folder, Make, Meanings, PriorsFile, RecordsUrl
from dtctriage.cli.moment import now, wire_log_path

if TYPE_CHECKING:
    from dtctriage.records import Records, SweepRecord


def recheck(
    order: Annotated[str, typer.Argument(help="The repair order's number.", show_default=False)],
    link: Annotated[
        str, typer.Argument(help="The way in, such as serial:COM3 or can:socketcan/can0.", show_default=False)
    ],
    meanings: Meanings = None,
    make: Make = None,
    priors: PriorsFile = None,
    json: AsJson = False,
    out: Folder = None,
    records: RecordsUrl = None,
    wire_log: Annotated[
        Path | None,
        typer.Option(help="Where the wire log goes. Default: the user's data folder.", show_default=False),
    ] = None,
) -> None:
    """Take the intake again after the repair.

    It asks what the order's first complete intake asked, with the same profile. The second page of its sheet
    shows before and after.
    """
    from dtctriage.cli.ends import ended_with, sheet_kept
    from dtctriage.cli.paper import hand_over
    from dtctriage.cli.progress import Progress
    from dtctriage.desk import sheet_of
    from dtctriage.intake import take, wish_of
    from dtctriage.links import open_link
    from dtctriage.records import Records
    from dtctriage.triage.priors import own_priors
    from dtctriage.work.opening import OwnTables, fold

    # A table that cannot be read is told before the vehicle is asked, not after.
    own_priors(priors)
    with Records.open(records) as kept:
        first = _first(kept, order)
        number = first.order
        answered = tuple(fold(kept.sweep_events(first.id), None).modules)
        wish = replace(wish_of(first), remembered=answered)
        with closing(open_link(link)) as way, closing(Progress()) as progress:
            place = wire_log or wire_log_path(number)
            sweep = take(way, link, wish, kept, number, place, now, progress.show, first.id)
        with ended_with(sheet_kept(number)):
            made = sheet_of(kept, number, sweep, OwnTables(meanings, make, priors))
            hand_over(made, number, json, out, anything_read=progress.anything_read)


def _first(records: Records, order: str) -> SweepRecord:
    """The order's first complete intake, else its first. Raises TriageError where it has none."""
    from dtctriage.errors import TriageError

    intakes = [sweep for sweep in records.sweeps(order) if sweep.rechecks is None]
    if not intakes:
        raise TriageError(
            f"Order {order} has no intake to compare with", f"Take it first: dtctriage intake --order {order}"
        )
    return next((sweep for sweep in intakes if not sweep.partial), intakes[0])
