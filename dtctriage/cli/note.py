"""`dtctriage note`: write something down for an order."""

from __future__ import annotations

from typing import Annotated

import typer

from dtctriage.cli.choices import By, OrderNumber, RecordsUrl
from dtctriage.cli.moment import now


def note(
    order: OrderNumber,
    text: Annotated[list[str], typer.Argument(help="What to write down.", show_default=False)],
    by: By = None,
    records: RecordsUrl = None,
) -> None:
    """Write a note into the order's log; the sheet shows it."""
    from dtctriage.errors import TriageError
    from dtctriage.records import Note, Records

    words = " ".join(" ".join(text).split())
    if not words:
        raise TriageError("The note is empty", "Type its text")
    with Records.open(records, make=False) as kept:
        repair_order = kept.order(order)
        who = by or repair_order.technician or ""
        kept.log.add(repair_order.number, Note(words), who=who, at=now())
    typer.echo(f"Noted for {repair_order.number}.")
