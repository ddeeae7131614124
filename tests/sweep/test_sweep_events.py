"""Events go to JSON and back without loss, whatever they hold."""

from __future__ import annotations

import json
from typing import Any, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from dtctriage.link import BusActivity, BusProtocol, Framing, NoticeKind, Target
from dtctriage.sweep import events as ev

SECONDS = st.floats(0, 1e6, allow_nan=False)
TEXT = st.text(max_size=40)
TARGETS = st.builds(
    Target,
    st.sampled_from(Framing),
    st.integers(0, 0x1FFFFFFF),
    st.none() | st.integers(0, 0x1FFFFFFF),
)
STAGES = st.sampled_from([value for name, value in vars(ev.Stage).items() if name.isupper()])
ASKS = st.builds(ev.Ask, STAGES, TARGETS, st.binary(max_size=12), st.integers(0, 20))
ACTIVITIES = st.builds(
    BusActivity,
    SECONDS,
    st.dictionaries(st.integers(0, 0x1FFFFFFF), st.integers(0, 999), max_size=4),
    st.integers(0, 999),
    st.booleans(),
)
EVENTS: dict[Any, st.SearchStrategy[Any]] = {
    ev.SweepStarted: st.builds(ev.SweepStarted, TEXT, TEXT, st.booleans(), st.integers(1, 20)),
    ev.SupplyRead: st.builds(ev.SupplyRead, st.none() | st.floats(0, 60)),
    ev.BusOpened: st.builds(ev.BusOpened, st.none() | st.sampled_from(BusProtocol), st.booleans()),
    ev.BusHeard: st.builds(ev.BusHeard, ACTIVITIES),
    ev.StageBegun: st.builds(ev.StageBegun, STAGES, st.integers(0, 9999)),
    ev.Answered: st.builds(ev.Answered, ASKS, st.integers(0, 0x1FFFFFFF), st.binary(max_size=40), SECONDS),
    ev.Refused: st.builds(ev.Refused, ASKS, st.integers(0, 0x1FFFFFFF), st.integers(0, 255), SECONDS),
    ev.Silent: st.builds(ev.Silent, ASKS, SECONDS),
    ev.AnswerDamaged: st.builds(
        ev.AnswerDamaged, ASKS, st.none() | st.integers(0, 0x1FFFFFFF), TEXT, st.binary(max_size=20), SECONDS
    ),
    ev.NoticeGiven: st.builds(ev.NoticeGiven, st.none() | ASKS, st.sampled_from(NoticeKind), TEXT, TEXT),
    ev.SweepBroken: st.builds(ev.SweepBroken, TEXT, TEXT),
    ev.SweepFinished: st.builds(ev.SweepFinished),
}


def test_every_kind_of_event_is_tried() -> None:
    assert set(EVENTS) == set(get_args(ev.Event))


@given(st.one_of(*EVENTS.values()))
def test_json_and_back(event: ev.Event) -> None:
    line = json.dumps(ev.to_json(event))
    again = ev.from_json(json.loads(line))
    assert again == event and type(again) is type(event)


@pytest.mark.parametrize("kind", EVENTS, ids=lambda kind: kind.__name__)
def test_every_kind_names_itself(kind: Any) -> None:
    default = next(field for name, field in kind.__dataclass_fields__.items() if name == "kind").default
    assert default and default == default.lower()


@pytest.mark.parametrize(
    "document",
    [
        {},
        {"kind": "something else"},
        {"kind": "stage begun"},
        {"kind": "silent", "ask": 3, "at": 0},
        {"kind": "bus opened", "protocol": "morse", "assumed": False},
        [],
        None,
    ],
)
def test_anything_else_is_a_value_error(document: Any) -> None:
    with pytest.raises(ValueError) as caught:
        ev.from_json(document)
    assert isinstance(caught.value, ValidationError)


def test_events_do_not_change() -> None:
    with pytest.raises(AttributeError):
        ev.SweepFinished().kind = "other"  # type: ignore[misc,assignment]
