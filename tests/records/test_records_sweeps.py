"""Sweeps and their events: kept as they come, given back as they were."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import Engine, event

from dtctriage.link import BusActivity, BusProtocol, Framing, NoticeKind, Target
from dtctriage.records import KeptProfile, Records, RecordsError, SweepOutcome, SweepWriter, UnknownSweep
from dtctriage.records.problems import DatabaseDamaged, SweepClosed, UnknownOrder
from dtctriage.sweep.events import (
    AnswerDamaged,
    Answered,
    Ask,
    BusHeard,
    BusOpened,
    Event,
    NoticeGiven,
    Refused,
    Silent,
    StageBegun,
    SupplyRead,
    SweepBroken,
    SweepFinished,
    SweepStarted,
)

EIGHT = datetime(2024, 5, 6, 8, 0, tzinfo=UTC)
ASK = Ask("codes", Target(Framing.CAN11, 0x7E0, 0x7E8), bytes.fromhex("1902FF"))
ANSWERED = Answered(ASK, 0x7E8, bytes.fromhex("5902FF0A0D132F"), 12.5)


def begin(records: Records, number: str = "7") -> SweepWriter:
    records.create_or_update_order(number, at=EIGHT)
    return records.begin_sweep(number, at=EIGHT, url="can://bay2", rounds=3)


@pytest.fixture
def writer(records: Records) -> Iterator[SweepWriter]:
    with begin(records) as opened:
        yield opened


finite = st.floats(allow_nan=False, allow_infinity=False)
words = st.text(max_size=12)
counts = st.integers(0)
targets = st.builds(Target, st.sampled_from(Framing), counts, st.none() | counts)
asks = st.builds(Ask, words, targets, st.binary(), counts)
activity = st.builds(BusActivity, finite, st.dictionaries(counts, counts), counts, st.booleans())
events: st.SearchStrategy[Event] = st.one_of(
    st.builds(SweepStarted, words, words, st.booleans(), counts),
    st.builds(SupplyRead, st.none() | finite),
    st.builds(BusOpened, st.none() | st.sampled_from(BusProtocol), st.booleans()),
    st.builds(BusHeard, activity),
    st.builds(StageBegun, words, counts),
    st.builds(Answered, asks, counts, st.binary(), finite),
    st.builds(Refused, asks, counts, st.integers(0, 0xFF), finite),
    st.builds(Silent, asks, finite),
    st.builds(AnswerDamaged, asks, st.none() | counts, words, st.binary(), finite),
    st.builds(NoticeGiven, st.none() | asks, st.sampled_from(NoticeKind), words, words),
    st.builds(SweepBroken, words, words),
    st.just(SweepFinished()),
)


def test_any_event_comes_back_as_it_was_kept(records: Records) -> None:
    records.create_or_update_order("7", at=EIGHT)

    @given(st.lists(events, max_size=6))
    def round_trip(kept: list[Event]) -> None:
        with records.begin_sweep("7", at=EIGHT, url="can://bay2", rounds=1) as writer:
            for number, item in enumerate(kept):
                writer.keep(item, EIGHT + timedelta(microseconds=number))
        assert list(records.sweep_events(writer.sweep_id)) == kept
        assert [(item.sequence, item.at) for item in records.kept_events(writer.sweep_id)] == [
            (number + 1, EIGHT + timedelta(microseconds=number)) for number in range(len(kept))
        ]

    round_trip()


def test_an_event_is_seen_by_others_as_soon_as_it_is_kept(
    database_url: str, records: Records, writer: SweepWriter
) -> None:
    with Records.open(database_url) as other:
        for count in (1, 2, 3):
            writer.keep(ANSWERED, EIGHT + timedelta(seconds=count))
            seen = other.sweep(writer.sweep_id)
            assert (seen.events, seen.last_event_at) == (count, EIGHT + timedelta(seconds=count))
            assert seen.outcome is SweepOutcome.RUNNING


def test_the_sqlite_file_holds_plain_json(sqlite_file: Path) -> None:
    with Records.open(str(sqlite_file)) as records, begin(records) as writer:
        writer.keep(ANSWERED, EIGHT)
        with closing(sqlite3.connect(sqlite_file)) as plain:
            rows = plain.execute("SELECT sequence, at, kind, body FROM sweep_event").fetchall()
    ((sequence, at, kind, body),) = rows
    assert (sequence, at, kind) == (1, "2024-05-06 08:00:00.000000", "answered")
    assert json.loads(body)["payload"] == "5902ff0a0d132f"


def test_a_sweep_learns_adapter_and_protocol_from_its_events(records: Records, writer: SweepWriter) -> None:
    before = records.sweep(writer.sweep_id)
    assert (before.adapter, before.protocol, before.url, before.rounds) == (None, None, "can://bay2", 3)
    writer.keep(SweepStarted("bay adapter \0 2.1", "can://bay2", False, 3), EIGHT)
    writer.keep(BusOpened(None, False), EIGHT)
    assert records.sweep(writer.sweep_id).protocol is None
    writer.keep(BusOpened(BusProtocol.CAN11_500, True), EIGHT)
    after = records.sweep(writer.sweep_id)
    assert (after.adapter, after.protocol) == ("bay adapter \ufffd 2.1", BusProtocol.CAN11_500)


def test_a_finished_sweep(records: Records, writer: SweepWriter) -> None:
    end = EIGHT + timedelta(seconds=31)
    writer.end(SweepOutcome.FINISHED, end)
    sweep = records.sweep(writer.sweep_id)
    assert (sweep.order, sweep.started_at, sweep.ended_at) == ("7", EIGHT, end)
    assert sweep.outcome is SweepOutcome.FINISHED
    assert not sweep.partial


def test_a_broken_sweep_is_partial(records: Records, writer: SweepWriter) -> None:
    writer.keep(SweepBroken("The adapter is gone", "Plug it in again"), EIGHT)
    writer.end(SweepOutcome.BROKEN, EIGHT)
    assert records.sweep(writer.sweep_id).outcome is SweepOutcome.BROKEN
    assert records.sweep(writer.sweep_id).partial


def test_a_sweep_that_nobody_ended_has_died(records: Records, writer: SweepWriter) -> None:
    writer.keep(ANSWERED, EIGHT + timedelta(seconds=4))
    assert records.sweep(writer.sweep_id).outcome is SweepOutcome.RUNNING
    writer.close()
    died = records.sweep(writer.sweep_id)
    assert (died.outcome, died.partial, died.ended_at) == (SweepOutcome.DIED, True, None)
    assert (died.events, died.last_event_at) == (1, EIGHT + timedelta(seconds=4))


def test_nothing_is_kept_after_the_end(records: Records, writer: SweepWriter) -> None:
    writer.end(SweepOutcome.FINISHED, EIGHT)
    with pytest.raises(SweepClosed):
        writer.keep(ANSWERED, EIGHT)
    with pytest.raises(SweepClosed):
        writer.end(SweepOutcome.BROKEN, EIGHT)
    assert records.sweep(writer.sweep_id).outcome is SweepOutcome.FINISHED
    assert list(records.sweep_events(writer.sweep_id)) == []


def test_an_event_that_cannot_be_kept_leaves_its_number_empty(records: Records, writer: SweepWriter) -> None:
    writer.keep(ANSWERED, EIGHT)
    with pytest.raises(RecordsError, match="needs its time zone"):
        writer.keep(ANSWERED, EIGHT.replace(tzinfo=None))
    with pytest.raises(RecordsError, match="is no JSON"):
        writer.keep(SupplyRead(float("inf")), EIGHT)
    writer.keep(Silent(ASK, 13.0), EIGHT)
    kept = [(item.sequence, item.event) for item in records.kept_events(writer.sweep_id)]
    assert kept == [(1, ANSWERED), (3, Silent(ASK, 13.0))]


def test_the_sweeps_of_an_order(records: Records) -> None:
    profile = KeptProfile(Path("bay") / "plover.vehicle.toml", "name = 'Plover 40'  # ä\n")
    records.create_or_update_order("7", at=EIGHT)
    records.create_or_update_order("8", at=EIGHT)
    assert records.sweeps("7") == ()
    assert records.last_sweep("7") is None
    for log in (None, Path("wire") / "7.log"):
        with records.begin_sweep(
            "7", at=EIGHT, url="can://bay2", rounds=3, profile=profile, wire_log=log
        ) as writer:
            writer.end(SweepOutcome.FINISHED, EIGHT)
    first, second = records.sweeps("7")
    assert records.last_sweep("7") == second
    assert first.profile == second.profile == profile
    assert first.profile is not None
    assert first.profile.digest == sha256(b"name = 'Plover 40'  # \xc3\xa4\n").hexdigest()
    assert (first.wire_log, second.wire_log) == (None, Path("wire") / "7.log")
    assert records.sweeps("8") == ()


def test_sweeps_of_an_unknown_order(records: Records) -> None:
    with pytest.raises(UnknownOrder):
        records.begin_sweep("7", at=EIGHT, url="can://bay2", rounds=3)
    with pytest.raises(UnknownOrder):
        records.sweeps("7")
    with pytest.raises(UnknownSweep):
        records.sweep_events(1)


def test_an_event_of_a_later_version_is_named(sqlite_file: Path) -> None:
    with Records.open(str(sqlite_file)) as records:
        with begin(records) as writer:
            writer.keep(ANSWERED, EIGHT)
            writer.keep(ANSWERED, EIGHT)
        with closing(sqlite3.connect(sqlite_file)) as plain, plain:
            plain.execute("""UPDATE sweep_event SET body = '{"kind": "dreamt"}' WHERE sequence = 2""")
        read = records.sweep_events(writer.sweep_id)
        assert next(read) == ANSWERED
        with pytest.raises(DatabaseDamaged, match=f"Event 2 of sweep {writer.sweep_id}"):
            next(read)


def test_a_power_cut_takes_at_most_a_second(sqlite_file: Path) -> None:
    """Each commit is in the file; the flush to the disk comes once a second, and with the end."""
    flushes: list[str] = []

    def listen(_connection: object, _cursor: object, statement: str, *_rest: object) -> None:
        if statement.startswith("PRAGMA synchronous"):
            flushes.append(statement.rpartition(" ")[2])

    with Records.open(str(sqlite_file)) as records, begin(records) as writer:
        event.listen(Engine, "before_cursor_execute", listen)
        try:
            for seconds in (0, 0.4, 0.999, 1.0, 1.5, 0.2, 0.3):
                writer.keep(ANSWERED, EIGHT + timedelta(seconds=seconds))
            writer.end(SweepOutcome.FINISHED, EIGHT)
        finally:
            event.remove(Engine, "before_cursor_execute", listen)
    assert flushes == ["FULL", "NORMAL", "NORMAL", "FULL", "NORMAL", "FULL", "NORMAL", "FULL"]


def test_records_in_memory() -> None:
    with Records.open("sqlite://") as records:
        with begin(records) as writer:
            writer.keep(ANSWERED, EIGHT)
            assert records.sweep(writer.sweep_id).outcome is SweepOutcome.RUNNING
        assert list(records.sweep_events(writer.sweep_id)) == [ANSWERED]
        assert records.sweep(writer.sweep_id).outcome is SweepOutcome.DIED
