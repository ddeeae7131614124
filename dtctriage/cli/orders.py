"""`dtctriage orders`: the repair orders in the records."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated, Any

import typer

from dtctriage.cli.choices import RecordsUrl

if TYPE_CHECKING:
    from datetime import datetime

    from dtctriage.records import ListedOrder, Records

WIDTH = 79


def orders(
    like: Annotated[
        str | None,
        typer.Argument(help="Part of a number, VIN, make or name; or an order's number.", show_default=False),
    ] = None,
    records: RecordsUrl = None,
) -> None:
    """List repair orders, the latest first.

    Under the order whose whole number is given stand its sweeps and what its log holds.
    """
    from dtctriage.records import Records
    from dtctriage.records.database import NO_ORDER

    with Records.open(records, make=False) as kept:
        found = kept.listed(like)
        for item in found:
            typer.echo(_line(item)[:WIDTH].rstrip())
            if like is not None and item.order.number == like.strip():
                for line in _under(kept, item.order.number):
                    typer.echo(line[:WIDTH])
    if not found:
        nothing = f"No order is kept yet. {NO_ORDER}" if like is None else f'No order holds "{like}".'
        typer.echo(nothing, err=True)


def _line(item: ListedOrder) -> str:
    order, state = item.order, "no intake yet"
    if item.outcome and item.swept_at:
        state = f"{item.outcome.value} {_clock(item.swept_at)}"
    return f"{order.number:<14} {order.vin or 'VIN unknown':<18} {state:<26} {order.complaint or ''}"


def _under(records: Records, number: str) -> Iterator[str]:
    """The order's sweeps with their ids, and how many entries its log holds."""
    from dtctriage.records import Conclusion, EnteredCircuit, Measurement, Note

    for sweep in records.sweeps(number):
        what = f"recheck of {sweep.rechecks}" if sweep.rechecks else "intake"
        state = f"{sweep.outcome.value:<9} {_clock(sweep.started_at)}"
        yield f"  sweep {sweep.id:<6} {state}  {what}, {sweep.url}"
    kinds: dict[str, Any] = {
        "reading": Measurement,
        "note": Note,
        "circuit": EnteredCircuit,
        "conclusion": Conclusion,
    }
    counts = {name: len(records.log.entries(number, kind)) for name, kind in kinds.items()}
    counts["clearing"] = len(records.clearings.of(number))
    told = [f"{count} {name}{'s' * (count > 1)}" for name, count in counts.items() if count]
    yield f"  log: {', '.join(told) or 'nothing'}"


def _clock(at: datetime) -> str:
    """The time on the shop's wall."""
    return f"{at.astimezone():%Y-%m-%d %H:%M}"
