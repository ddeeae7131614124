"""What was cleared on an order: who did it, when, on which intake, and what each module answered."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import Enum

from sqlalchemy import RowMapping, insert, select

from dtctriage.records import orders, tables
from dtctriage.records.database import Database, insert_row


class Cleared(Enum):
    """What came of one request to clear."""

    CLEARED = "cleared"
    REFUSED = "refused"
    SILENT = "no answer"
    DAMAGED = "damaged answer"


@dataclass(frozen=True, slots=True)
class ClearingAnswer:
    """One module's answer. `request` is what was sent, `detail` the reason where it was not cleared."""

    module: str
    request: bytes
    outcome: Cleared
    detail: str
    at: datetime


@dataclass(frozen=True, slots=True)
class ClearingStart:
    """What held before the first request left. `engine` and `supply` say how they are known."""

    who: str
    at: datetime
    intake: int
    engine: str
    supply: str


@dataclass(frozen=True, slots=True)
class Clearing:
    """A clearing of an order. Fewer `answers` than `planned`: it was broken off."""

    order: str
    start: ClearingStart
    planned: int
    answers: tuple[ClearingAnswer, ...]


class Clearings:
    """Every order's clearings. Nothing is changed or undone: what was sent was sent."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def begin(self, number: str, start: ClearingStart, planned: int) -> int:
        """Keep that a clearing begins, before anything is sent. Returns its id. Raises UnknownOrder."""
        with self._database.writing() as connection:
            order = orders.find(connection, number)
            values = {
                "order_id": order["id"],
                "sweep_id": start.intake,
                "who": start.who,
                "at": start.at,
                "engine": start.engine,
                "supply": start.supply,
                "planned": planned,
            }
            return insert_row(connection, tables.clearing, values)

    def keep(self, clearing: int, sequence: int, answer: ClearingAnswer) -> None:
        """Keep one answer; `sequence` counts from 1."""
        values = {
            "clearing_id": clearing,
            "sequence": sequence,
            "module": answer.module,
            "request": answer.request.hex(),
            "outcome": answer.outcome.value,
            "detail": answer.detail,
            "at": answer.at,
        }
        with self._database.writing() as connection:
            connection.execute(insert(tables.clearing_answer), values)

    def of(self, number: str) -> tuple[Clearing, ...]:
        """The order's clearings, oldest first. Raises UnknownOrder."""
        one, each = tables.clearing, tables.clearing_answer
        with self._database.reading() as connection:
            order = orders.find(connection, number)
            query = select(one).where(one.c.order_id == order["id"]).order_by(one.c.id)
            rows = connection.execute(query).mappings().all()
            answers = connection.execute(
                select(each)
                .where(each.c.clearing_id.in_([row["id"] for row in rows]))
                .order_by(each.c.clearing_id, each.c.sequence)
            )
            by_clearing: dict[int, list[ClearingAnswer]] = {}
            for row in answers.mappings():
                by_clearing.setdefault(row["clearing_id"], []).append(_answer(row))
        return tuple(
            Clearing(order["number"], _start(row), row["planned"], tuple(by_clearing.get(row["id"], ())))
            for row in rows
        )


def _start(row: RowMapping) -> ClearingStart:
    return ClearingStart(row["who"], row["at"], row["sweep_id"], row["engine"], row["supply"])


def _answer(row: RowMapping) -> ClearingAnswer:
    return ClearingAnswer(
        row["module"], bytes.fromhex(row["request"]), Cleared(row["outcome"]), row["detail"], row["at"]
    )
