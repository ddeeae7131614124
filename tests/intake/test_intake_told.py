"""What the technician says of the vehicle's state is kept with the sweep, and belongs to that hour alone."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from dtctriage.intake import Wish, settings_of, wish_of
from dtctriage.records import Records, SweepOutcome
from dtctriage.triage.view import NOTHING_TOLD, Engine, Told

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    "told", [NOTHING_TOLD, Told(12.5), Told(engine=Engine.CRANKING), Told(0.0, Engine.OFF)]
)
def test_what_was_told_comes_back_from_the_records_and_is_no_wish(told: Told) -> None:
    with Records.open("sqlite://") as records:
        records.create_or_update_order("RO-1", at=NOW)
        settings = settings_of(Wish(told=told))
        writer = records.begin_sweep("RO-1", at=NOW, url="memory:", rounds=3, settings=settings)
        writer.end(SweepOutcome.FINISHED, NOW)
        sweep = records.sweep(writer.sweep_id)
    assert Told.of(sweep.settings) == told
    assert wish_of(sweep) == Wish()


def test_a_sweep_of_an_earlier_version_was_told_nothing() -> None:
    assert Told.of(None) == Told.of({"rounds": 3}) == NOTHING_TOLD
