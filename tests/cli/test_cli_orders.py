"""`dtctriage orders`, and what the clock on the shop's wall shows."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine, event

from dtctriage.cli import COMMANDS
from dtctriage.records import Conclusion, Measurement, Note, Records, SweepOutcome

Cli = Callable[..., Any]

AT = datetime(2026, 11, 25, 20, 0, tzinfo=UTC)


@pytest.fixture
def wall(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A shop nine hours east of Greenwich, where 20:00 UTC is five in the morning of the next day."""
    if not hasattr(time, "tzset"):
        pytest.skip("the zone of a process cannot be set on this system")
    monkeypatch.setenv("TZ", "SHOP-9")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def swept(
    records: Records, number: str, *, after: timedelta = timedelta(), rechecks: int | None = None
) -> int:
    """A finished sweep of an order."""
    at = AT + after
    records.create_or_update_order(number, at=at)
    with records.begin_sweep(number, at=at, url="can:virtual/x", rounds=1, rechecks=rechecks) as writer:
        writer.end(SweepOutcome.FINISHED, at)
    return writer.sweep_id


@pytest.mark.usefixtures("wall")
def test_under_its_own_number_an_order_shows_its_sweeps_and_its_log(cli: Cli) -> None:
    with Records.open() as kept:
        first = swept(kept, "RO-1")
        swept(kept, "RO-12")
        again = swept(kept, "RO-1", after=timedelta(hours=2), rechecks=first)
        volts = Measurement("F21", "key run", "volts", "12 V", 12.0, "V")
        kept.log.add_all("RO-1", (volts, volts), who="A", at=AT)
        kept.log.add("RO-1", Note("wet"), who="A", at=AT)
        undone = kept.log.add("RO-1", Conclusion("fuse"), who="A", at=AT)
        kept.log.undo(undone, at=AT)
    assert cli("orders", "RO-1").out.splitlines() == [
        "RO-12          VIN unknown        finished 2026-11-26 05:00",
        "RO-1           VIN unknown        finished 2026-11-26 07:00",
        f"  sweep {first:<6} finished  2026-11-26 05:00  intake, can:virtual/x",
        f"  sweep {again:<6} finished  2026-11-26 07:00  recheck of {first}, can:virtual/x",
        "  log: 2 readings, 1 note",
    ]
    assert len(cli("orders", "RO").out.splitlines()) == 2


@pytest.mark.usefixtures("wall")
def test_what_is_printed_tells_the_time_of_the_shop(
    cli: Cli, demo: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Records hold UTC; the day in a new order's number is that of the wall too."""
    for command in ("intake", "note"):
        monkeypatch.setattr(f"dtctriage.cli.{command}.now", lambda: AT)
    link = f"classroom:{demo / 'second.lesson.toml'}"
    taken = cli("intake", "--link", link, "--rounds", 1, "--quick").out
    cli("note", "RO-20261126-1", "wet")
    shown = cli("sheet", "RO-20261126-1").out
    assert "2026-11-26 05:00 +09:00" in taken and "2026-11-26 05:00 +09:00: Note" in shown
    assert "2026-11-25" not in taken + shown
    assert "Sweep        1\n" in shown
    assert '"started": "2026-11-26T05:00:00+09:00"' in cli("sheet", "RO-20261126-1", "--form", "json").out
    with Records.open() as kept:
        assert kept.order("RO-20261126-1").opened_at.utcoffset() == timedelta()


def test_orders_are_listed_by_as_many_queries_however_many_there_are(cli: Cli) -> None:
    asked: list[str] = []

    def count(_connection: Any, _cursor: Any, statement: str, *_rest: Any) -> None:
        asked.append(statement)

    def queries() -> int:
        asked.clear()
        assert cli("orders").code == 0
        return len(asked)

    with Records.open() as kept:
        swept(kept, "RO-0")
        event.listen(Engine, "before_cursor_execute", count)
        try:
            few = queries()
            for nth in range(1, 9):
                swept(kept, f"RO-{nth}")
            assert queries() == few > 0
        finally:
            event.remove(Engine, "before_cursor_execute", count)


READING = {
    "recheck": ("RO-1", "classroom:x"),
    "clear": ("RO-1", "classroom:x"),
    "watch": ("RO-1", "classroom:x"),
    "measure": ("RO-1", "12V"),
    "note": ("RO-1", "wet"),
    "conclude": ("RO-1", "fuse"),
    "circuit": ("list", "RO-1"),
    "profile": ("from-sweep", "RO-1", "--to", "x.toml"),
    "orders": (),
}
"""What each command is given that needs an order; the others need its number alone."""
WITHOUT_RECORDS = ("intake", "decode", "replay", "classroom", "links")


@pytest.mark.parametrize("command", [name for name in COMMANDS if name not in WITHOUT_RECORDS])
def test_only_an_intake_makes_records(cli: Cli, tmp_path: Path, command: str) -> None:
    file = tmp_path / "mistyped.sqlite"
    ended = cli(command, *READING.get(command, ("RO-1",)), "--records", file)
    assert ended.code == 2
    assert ended.complaint.startswith(f"dtctriage: There are no records at {file}. Check the place")
    assert not file.exists()


def test_where_no_order_is_kept_that_is_said(
    cli: Cli, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    cli("links")  # the user's data folder is a new one from here on
    words = "No order is kept yet. An intake makes the first: dtctriage intake --link URL"
    monkeypatch.delenv("DTCTRIAGE_DATABASE")
    assert cli("orders").complaint == f"dtctriage: {words}"
    assert not (tmp_path / "user").exists()
    Records.open(str(tmp_path / "made.sqlite")).close()
    ended = cli("orders", "--records", tmp_path / "made.sqlite")
    assert (ended.code, ended.out, ended.err) == (0, "", f"{words}\n")
    ended = cli("orders", "gauge", "--records", tmp_path / "made.sqlite")
    assert (ended.code, ended.out, ended.err) == (0, "", 'No order holds "gauge".\n')
