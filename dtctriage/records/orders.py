"""Repair orders in and out of their table."""

from __future__ import annotations

import difflib
import math
from contextlib import suppress
from datetime import datetime
from itertools import count
from typing import Any

from sqlalchemy import Connection, RowMapping, Select, insert, or_, select, update
from sqlalchemy.exc import IntegrityError

from dtctriage.records.database import insert_unless_there
from dtctriage.records.kept import Odometer, OdometerUnit, Order, VinOrigin
from dtctriage.records.problems import UnknownOrder, ValueRefused, VinMismatch
from dtctriage.records.tables import NUMBER_LENGTH, VIN_LENGTH, repair_order, storable

_NEAR_AMONG = 2000
"""How many of the latest orders are searched for a number near to an unknown one."""


def find(connection: Connection, number: str) -> RowMapping:
    """The order's row. Raises UnknownOrder, which names numbers near to it."""
    chosen = select(repair_order).where(repair_order.c.number == number.strip())
    row = connection.execute(chosen).mappings().one_or_none()
    if row is None:
        raise _unknown(connection, number)
    return row


def search(like: str | None) -> Select[Any]:
    """Orders, latest first, that hold `like` in number, VIN, make, model, technician or complaint."""
    c = repair_order.c
    query = select(repair_order).order_by(c.opened_at.desc(), c.id.desc())
    if like is None:
        return query
    places = (c.number, c.vin, c.make, c.model, c.technician, c.complaint)
    return query.where(or_(*(place.icontains(storable(like), autoescape=True) for place in places)))


def make_sure_of(connection: Connection, number: str, at: datetime) -> None:
    """Open the order unless it is there. Two bays may do so at once."""
    row = {"number": _checked_number(number), "opened_at": at}
    insert_unless_there(connection, repair_order.c.number, row)


def opened_next(connection: Connection, prefix: str, at: datetime) -> RowMapping:
    """Open an order under the prefix's lowest free number. Two bays may do so at once."""
    while True:
        number = _checked_number(f"{prefix}{_lowest_free(connection, prefix)}")
        # On a server another bay may take the number between the two; then the next one is looked for.
        with suppress(IntegrityError), connection.begin_nested():
            connection.execute(insert(repair_order), {"number": number, "opened_at": at})
            return find(connection, number)


def _lowest_free(connection: Connection, prefix: str) -> int:
    c = repair_order.c
    taken = set(connection.scalars(select(c.number).where(c.number.startswith(prefix, autoescape=True))))
    return next(nth for nth in count(1) if f"{prefix}{nth}" not in taken)


def changed(connection: Connection, number: str, given: dict[str, Any]) -> RowMapping:
    """The order's row after the given columns were set."""
    if given:
        chosen = repair_order.c.number == number.strip()
        connection.execute(update(repair_order).where(chosen).values(**given))
    return find(connection, number)


def vin_given(
    connection: Connection, number: str, vin: str, origin: VinOrigin, *, correct: bool
) -> dict[str, Any]:
    """The columns a VIN sets. One that was entered stands against one that was read.

    Raises VinMismatch when another VIN was entered before, unless it is to be `correct`ed.
    """
    vin = vin.strip().upper()
    if not vin or len(vin) > VIN_LENGTH or not vin.isprintable():
        raise ValueRefused(f"{vin[:VIN_LENGTH]!r} is no VIN", "Give it as it stands on the vehicle")
    chosen = select(repair_order).where(repair_order.c.number == number.strip())
    kept = connection.execute(chosen.with_for_update()).mappings().one()
    if kept["vin_origin"] == VinOrigin.ENTERED.value and kept["vin"] != vin:
        if origin is VinOrigin.READ:
            return {}
        if not correct:
            raise VinMismatch(
                f"Order {number.strip()} is kept for the VIN {kept['vin']}, not {vin}",
                "Check the order number; if the VIN was mistyped, correct it in the order first",
            )
    return {"vin": vin, "vin_origin": origin.value}


def _checked_number(number: str) -> str:
    number = number.strip()
    if not number or len(number) > NUMBER_LENGTH or not number.isprintable():
        raise ValueRefused(
            f"{number[:NUMBER_LENGTH]!r} cannot be an order number",
            f"Use 1 to {NUMBER_LENGTH} letters, digits or signs",
        )
    return number


def odometer_given(odometer: Odometer) -> dict[str, Any]:
    if not math.isfinite(odometer.value) or odometer.value < 0:
        raise ValueRefused(f"An odometer cannot show {odometer.value}", "Give the distance as it is shown")
    return {"odometer": odometer.value, "odometer_unit": odometer.unit.value}


def order_of(row: RowMapping) -> Order:
    odometer = None
    if row["odometer"] is not None:
        odometer = Odometer(row["odometer"], OdometerUnit(row["odometer_unit"]))
    return Order(
        number=row["number"],
        opened_at=row["opened_at"],
        vin=row["vin"],
        vin_origin=VinOrigin(row["vin_origin"]) if row["vin_origin"] else None,
        make=row["make"],
        model=row["model"],
        odometer=odometer,
        complaint=row["complaint"],
        technician=row["technician"],
        shop=row["shop"],
    )


def _unknown(connection: Connection, number: str) -> UnknownOrder:
    latest = select(repair_order.c.number).order_by(repair_order.c.opened_at.desc()).limit(_NEAR_AMONG)
    numbers = list(connection.scalars(latest))
    near = difflib.get_close_matches(number.strip(), numbers, n=3, cutoff=0.6)
    if near:
        advice = f"Near to it: {', '.join(near)}"
    elif numbers:
        advice = f"The latest: {', '.join(numbers[:3])}"
    else:
        advice = "No order is kept yet; an intake makes the first"
    return UnknownOrder(f"No order has the number {number.strip()!r}", advice)
