"""`dtctriage recheck`: take an order's intake again after the repair, and show before and after."""

from __future__ import annotations

from contextlib import closing
from dataclasses import replace
from typing import TYPE_CHECKING

from dtctriage.cli.choices import (
    AsJson,
    Folder,
    Link,
    Make,
    Meanings,
    OrderNumber,
    PriorsFile,
    RecordsUrl,
    WireLog,
)
from dtctriage.cli.moment import now, wire_log_path

if TYPE_CHECKING:
    from dtctriage.records import Records, SweepRecord


def recheck(
    order: OrderNumber,
    link: Link,
    meanings: Meanings = None,
    make: Make = None,
    priors: PriorsFile = None,
    json: AsJson = False,
    out: Folder = None,
    records: RecordsUrl = None,
    wire_log: WireLog = None,
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
    from dtctriage.work.opening import OwnTables, checked, fold

    with Records.open(records, make=False) as kept:
        first = _first(kept, order)
        number = first.order
        answered = tuple(fold(kept.sweep_events(first.id), None).modules)
        wish = replace(wish_of(first), remembered=answered)
        own = checked(OwnTables(meanings, make, priors), kept.order(number).make, wish.profile)
        with closing(open_link(link)) as way, closing(Progress()) as progress:
            place = wire_log or wire_log_path(number)
            sweep = take(way, link, wish, kept, number, place, now, progress.show, first.id)
        with ended_with(sheet_kept(number)):
            made = sheet_of(kept, number, sweep, own)
            hand_over(made, number, json, out, anything_read=progress.anything_read)


def _first(records: Records, order: str) -> SweepRecord:
    """The order's first complete intake, else its first, of its vehicle. Raises TriageError without one."""
    from dtctriage.errors import TriageError
    from dtctriage.work.same_vehicle import is_strangers

    known = records.order(order)
    of_order = (sweep for sweep in records.sweeps(order) if sweep.rechecks is None)
    intakes = [sweep for sweep in of_order if not is_strangers(records, known, sweep)]
    if not intakes:
        raise TriageError(
            f"Order {order} has no intake to compare with", f"Take it first: dtctriage intake --order {order}"
        )
    return next((sweep for sweep in intakes if not sweep.partial), intakes[0])
