"""What was cleared stays as it was kept, also where the program ended half-way; older records come along."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from alembic import command
from alembic.config import Config

from dtctriage.records import (
    Cleared,
    Clearing,
    ClearingAnswer,
    ClearingStart,
    Conclusion,
    Records,
    SweepOutcome,
)
from dtctriage.records.database import open_database
from dtctriage.records.problems import UnknownOrder
from dtctriage.records.schema import VERSION_TABLE

NOW = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)


def begun(records: Records) -> ClearingStart:
    records.create_or_update_order("RO-1", at=NOW)
    with records.begin_sweep("RO-1", at=NOW, url="memory:", rounds=1) as writer:
        return ClearingStart("T. Okonkwo", NOW, writer.sweep_id, "rpm 0 by ECM", "12.5 V at pin 16")


def answer(module: str, outcome: Cleared, detail: str = "") -> ClearingAnswer:
    return ClearingAnswer(module, b"\x14\xff\xff\xff", outcome, detail, NOW + timedelta(seconds=2))


def test_what_each_module_answered_comes_back(records: Records) -> None:
    start = begun(records)
    given = (answer("ECM", Cleared.CLEARED), answer("BCM", Cleared.REFUSED, "22 conditions not correct"))
    clearing = records.clearings.begin("RO-1", start, planned=2)
    for nth, each in enumerate(given, start=1):
        records.clearings.keep(clearing, nth, each)
    assert records.clearings.of("RO-1") == (Clearing("RO-1", start, 2, given),)


def test_a_clearing_that_was_broken_off_shows_what_was_planned(records: Records) -> None:
    records.clearings.begin("RO-1", begun(records), planned=3)
    (kept,) = records.clearings.of("RO-1")
    assert (kept.planned, kept.answers) == (3, ())


def test_orders_keep_their_clearings_apart(records: Records) -> None:
    records.clearings.begin("RO-1", begun(records), planned=1)
    records.create_or_update_order("RO-2", at=NOW)
    assert records.clearings.of("RO-2") == ()
    with pytest.raises(UnknownOrder):
        records.clearings.of("RO-3")


def test_a_recheck_names_the_sweep_it_is_compared_with(records: Records) -> None:
    records.create_or_update_order("RO-1", at=NOW)
    settings = {"rounds": 2, "full": True, "protocol": None}
    with records.begin_sweep("RO-1", at=NOW, url="memory:", rounds=2, settings=settings) as first:
        first.end(SweepOutcome.FINISHED, NOW)
    again = records.begin_sweep("RO-1", at=NOW, url="memory:", rounds=2, rechecks=first.sweep_id)
    again.end(SweepOutcome.FINISHED, NOW)
    assert (records.sweep(first.sweep_id).settings, records.sweep(first.sweep_id).rechecks) == (
        settings,
        None,
    )
    kept = records.sweep(again.sweep_id)
    assert (kept.settings, kept.rechecks) == (None, first.sweep_id)


def test_records_of_the_first_version_come_along(sqlite_file: Path) -> None:
    database = open_database(str(sqlite_file), busy_seconds=1)
    with database.writing() as connection:
        config = Config(attributes={"connection": connection, "version_table": VERSION_TABLE})
        config.set_main_option("script_location", "dtctriage.records:migrations")
        command.upgrade(config, "0001")
    database.close()
    with closing(sqlite3.connect(sqlite_file)) as plain, plain:
        plain.execute("INSERT INTO repair_order (id, number, opened_at) VALUES (7, 'RO-OLD', '2026-01-02')")
        plain.execute(
            "INSERT INTO sweep (order_id, started_at, ended_at, outcome, url, rounds)"
            " VALUES (7, '2026-01-02', '2026-01-02', 'finished', 'can:x', 3)"
        )
        plain.execute(
            "INSERT INTO conclusion (order_id, text, evidence, who, at)"
            " VALUES (7, 'Fuse blown', '[]', '', '2026-01-02')"
        )
    with Records.open(str(sqlite_file)) as records:
        kept = records.last_sweep("RO-OLD")
        assert kept is not None and kept.rounds == 3
        assert (kept.settings, kept.rechecks) == (None, None)
        assert records.clearings.of("RO-OLD") == ()
        (concluded,) = records.log.entries("RO-OLD", Conclusion)
        assert concluded.entry == Conclusion("Fuse blown")
