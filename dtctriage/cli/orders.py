"""`dtctriage orders`: the repair orders in the records."""

from __future__ import annotations

from typing import Annotated

import typer

from dtctriage.cli.choices import RecordsUrl


def orders(
    like: Annotated[
        str | None, typer.Argument(help="Part of a number, VIN or name.", show_default=False)
    ] = None,
    records: RecordsUrl = None,
) -> None:
    """List repair orders, the latest first."""
    from dtctriage.records import Records

    with Records.open(records) as kept:
        for order in kept.orders(like):
            sweep = kept.last_sweep(order.number)
            state = f"{sweep.outcome.value} {sweep.started_at:%Y-%m-%d %H:%M}" if sweep else "no intake yet"
            typer.echo(
                f"{order.number:<14} {order.vin or 'VIN unknown':<18} {state:<26} {order.complaint or ''}"[
                    :79
                ]
            )
