"""`dtctriage undo`: take back what was last put into an order's log."""

from __future__ import annotations

import typer

from dtctriage.cli.choices import OrderNumber, RecordsUrl
from dtctriage.cli.moment import now


def undo(order: OrderNumber, records: RecordsUrl = None) -> None:
    """Take back the last entry of an order's log.

    That is a check's readings, a note or a conclusion. It stays in the records, as undone.
    """
    from dtctriage.records import Records
    from dtctriage.work.log import entry_words, take_back

    with Records.open(records, make=False) as kept:
        undone = take_back(kept, order, now())
    for item in undone:
        typer.echo(f"Taken back: {entry_words(item.entry)}")
