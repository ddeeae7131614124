"""`dtctriage profile from-sweep`: begin a profile from a healthy vehicle's intake."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dtctriage.cli.choices import EarlierSweep, OrderNumber, RecordsUrl
from dtctriage.cli.new_file import write_new


def from_sweep(
    order: OrderNumber,
    to: Annotated[Path, typer.Option(help="The .vehicle.toml file to make.", show_default=False)],
    sweep: EarlierSweep = None,
    records: RecordsUrl = None,
) -> None:
    """Begin a profile from a healthy vehicle's intake.

    Modules, addresses and languages as they answered; what no module tells is marked to be filled in.
    """
    from dtctriage.profile_start import doubts, started_profile
    from dtctriage.records import Records
    from dtctriage.remembered import vin_of
    from dtctriage.work.opening import fold, sweep_of

    with Records.open(records, make=False) as kept:
        known, taken = kept.order(order), sweep_of(kept, order, sweep)
        seen = fold(kept.sweep_events(taken.id), None)
    vin = vin_of(known, seen)
    text = started_profile(seen, known.make or "", known.model or "", vin, known.number)
    write_new(to, text)
    for line in doubts(seen):
        typer.echo(f"not quite healthy: {line}", err=True)
    typer.echo(
        f"{to}: {len(seen.modules)} modules; fill in what is marked, then: dtctriage profile check {to}"
    )
