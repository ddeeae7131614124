"""What a technician adds to an order: measurements, notes, circuits, conclusions.

Nothing is erased, only undone.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import asdict, fields
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, RowMapping, Table, select, update

from dtctriage.records import orders, tables
from dtctriage.records.database import Database, insert_row
from dtctriage.records.kept import Conclusion, EnteredCircuit, Entry, Logged, Measurement, Note
from dtctriage.records.problems import AlreadyUndone, ValueRefused
from dtctriage.records.tables import in_utc

_TABLES: dict[type, Table] = {
    Measurement: tables.measurement,
    Note: tables.note,
    Conclusion: tables.conclusion,
    EnteredCircuit: tables.entered_circuit,
}


class JobLog:
    """The log of every order. Each kind of entry counts its own ids."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(self, number: str, entry: Entry, *, who: str, at: datetime) -> Logged[Entry]:
        """Raises UnknownOrder, and ValueRefused for a value that is not a finite number."""
        return self.add_all(number, (entry,), who=who, at=at)[0]

    def add_all(
        self, number: str, entries: Iterable[Entry], *, who: str, at: datetime
    ) -> tuple[Logged[Entry], ...]:
        """Add entries that belong together: all of them or none. Raises as `add`."""
        with self._database.writing() as connection:
            order = orders.find(connection, number)
            return tuple(_added(connection, order, entry, who, at) for entry in entries)

    def entries(self, number: str, kind: type[Entry], *, undone: bool = False) -> tuple[Logged[Entry], ...]:
        """The order's entries of one kind in the order they were made; undone ones only on request."""
        table = _TABLES[kind]
        with self._database.reading() as connection:
            order = orders.find(connection, number)
            query = select(table).where(table.c.order_id == order["id"]).order_by(table.c.id)
            if not undone:
                query = query.where(table.c.undone_at.is_(None))
            rows = connection.execute(query).mappings().all()
        return tuple(_logged(row, order["number"], kind) for row in rows)

    def concluded(self, *, but: str, before: datetime) -> tuple[tuple[str, ...], ...]:
        """The kinds that other orders' conclusions name, one tuple for each order that names any.

        An order's latest conclusion made `before` counts, unless it was undone. `but` is left out.
        """
        one, order = tables.conclusion, tables.repair_order
        query = (
            select(one.c.order_id, one.c.kinds)
            .join(order)
            .where(one.c.undone_at.is_(None), one.c.at < in_utc(before), order.c.number != but.strip())
            .order_by(one.c.id)
        )
        with self._database.reading() as connection:
            latest: dict[int, tuple[str, ...]] = {
                row["order_id"]: row["kinds"] for row in connection.execute(query).mappings()
            }
        return tuple(kinds for kinds in latest.values() if kinds)

    def undo(self, *logged: Logged[Any], at: datetime) -> tuple[Logged[Any], ...]:
        """Take entries back, all of them or none: they stay in the log with the time they were undone.

        Raises AlreadyUndone.
        """
        with self._database.writing() as connection:
            return tuple(_undone(connection, item, at) for item in logged)


def _added(connection: Connection, order: RowMapping, entry: Entry, who: str, at: datetime) -> Logged[Entry]:
    if isinstance(entry, Measurement) and entry.value is not None and not math.isfinite(entry.value):
        raise ValueRefused(f"{entry.value} is no reading", "Give a number, or the reading in words")
    table = _TABLES[type(entry)]
    key = insert_row(connection, table, {"order_id": order["id"], "who": who, "at": at, **asdict(entry)})
    row = connection.execute(select(table).where(table.c.id == key)).mappings().one()
    return _logged(row, order["number"], type(entry))


def _undone(connection: Connection, logged: Logged[Any], at: datetime) -> Logged[Any]:
    kind = type(logged.entry)
    table = _TABLES[kind]
    chosen = table.c.id == logged.id
    open_entry = update(table).where(chosen, table.c.undone_at.is_(None))
    if connection.execute(open_entry.values(undone_at=at)).rowcount == 0:
        raise AlreadyUndone(
            f"That {kind.__name__.lower()} was undone before", f"Look at the log of {logged.order} again"
        )
    row = connection.execute(select(table).where(chosen)).mappings().one()
    return _logged(row, logged.order, kind)


def _logged(row: RowMapping, number: str, kind: type[Entry]) -> Logged[Entry]:
    entry = kind(**{field.name: row[field.name] for field in fields(kind)})
    return Logged(row["id"], number, entry, row["who"], row["at"], row["undone_at"])
