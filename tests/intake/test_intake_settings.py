"""How a sweep was asked for is kept with it, so that a recheck asks the same."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from dtctriage.intake import Wish, settings_of, wish_of
from dtctriage.link import BusProtocol
from dtctriage.records import KeptProfile, Records, SweepOutcome
from dtctriage.sweep.run import Depth
from dtctriage.wiring.profile_file import load_profile

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
WISHES = st.builds(
    Wish,
    rounds=st.integers(1, 20),
    full=st.booleans(),
    depth=st.sampled_from(Depth),
    protocol=st.none() | st.sampled_from(BusProtocol),
)


@given(WISHES)
@settings(max_examples=30)
def test_the_wish_of_a_kept_sweep_is_the_one_it_was_taken_with(wish: Wish) -> None:
    settings = settings_of(wish)
    assert json.loads(json.dumps(settings)) == settings
    with Records.open("sqlite://") as records:
        records.create_or_update_order("RO-1", at=NOW)
        writer = records.begin_sweep(
            "RO-1", at=NOW, url="memory:", rounds=wish.rounds, settings=json.loads(json.dumps(settings))
        )
        writer.end(SweepOutcome.FINISHED, NOW)
        assert wish_of(records.sweep(writer.sweep_id)) == wish


def test_the_profile_comes_along_as_it_was_then(demo: Path) -> None:
    path = demo / "kavo.vehicle.toml"
    kept = KeptProfile(path, path.read_text(encoding="utf-8"))
    with Records.open("sqlite://") as records:
        records.create_or_update_order("RO-1", at=NOW)
        writer = records.begin_sweep("RO-1", at=NOW, url="memory:", rounds=2, profile=kept)
        writer.end(SweepOutcome.FINISHED, NOW)
        wish = wish_of(records.sweep(writer.sweep_id))
    assert (wish.profile, wish.kept_profile, wish.rounds) == (load_profile(path), kept, 2)


def test_what_a_later_version_keeps_besides_does_no_harm() -> None:
    with Records.open("sqlite://") as records:
        records.create_or_update_order("RO-1", at=NOW)
        settings = {"rounds": 4, "depth": 0, "not known here": [1]}
        writer = records.begin_sweep("RO-1", at=NOW, url="memory:", rounds=4, settings=settings)
        writer.end(SweepOutcome.FINISHED, NOW)
        assert wish_of(records.sweep(writer.sweep_id)) == Wish(rounds=4, depth=Depth.QUICK)
