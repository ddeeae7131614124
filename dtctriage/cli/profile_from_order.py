"""`dtctriage profile from-order`: a profile from an intake and what was entered of the diagram."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dtctriage.cli.choices import OrderNumber, RecordsUrl
from dtctriage.cli.new_file import write_new


def from_order(
    order: OrderNumber,
    to: Annotated[Path, typer.Option(help="The .vehicle.toml file to make.", show_default=False)],
    records: RecordsUrl = None,
) -> None:
    """Grow a profile from an order's intake and its circuits.

    Modules as they answered, circuits and supplies as entered with dtctriage circuit add.
    """
    from dtctriage.errors import TriageError
    from dtctriage.profile_grown import grown_profile
    from dtctriage.records import EnteredCircuit, Records
    from dtctriage.work.opening import fold, sweep_of

    with Records.open(records, make=False) as kept:
        known = kept.order(order)
        sweep = sweep_of(kept, order)
        if sweep.profile is not None:
            raise TriageError(
                f"Order {known.number} has a vehicle profile already",
                "Write what dtctriage circuit list shows into its file",
            )
        seen = fold(kept.sweep_events(sweep.id), None)
        entered = [logged.entry for logged in kept.log.entries(order, EnteredCircuit)]
    text = grown_profile(seen, known, entered)
    write_new(to, text)
    count = len({item.about for item in entered})
    typer.echo(f"{to}: {count} entered; put in what is assumed, then: dtctriage profile check {to}")
