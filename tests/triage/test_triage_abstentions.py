"""Which rules abstain and why, and that all do where nothing was heard.

A rule abstains for want of data alone; what it has and finds sound it passes over (test_triage_all_told.py).
"""

from __future__ import annotations

from typing import Any

import pytest

from dtctriage.link import BusActivity, Framing, Target
from dtctriage.sweep.events import Stage
from dtctriage.sweep.picture import Picture, Trouble
from dtctriage.triage.assess import assess
from dtctriage.triage.history import History, LikeVehicle, last_visit
from dtctriage.triage.model import Abstained, Finding, Situation
from dtctriage.triage.rules import (
    ALL,
    both_banks,
    bus_codes,
    bus_quiet,
    changed_since,
    codes_not_read,
    damaged_answers,
    expected_by_history,
    history_of_loss,
    not_in_profile,
    notices,
    order_in_time,
    permanent_left,
    shared_circuit,
    speaking_after_all,
    stops_vehicle,
    unsteady,
    vin_absent,
    vin_differs,
    vin_doubtful,
)
from dtctriage.triage.rules import name_of as name

Bench = Any
Judged = Any
VIN = "G0ZKV5C2XP1000417"
LONGEST = 72
"""Signs of a reason that stand on one line of 80 columns behind a dash, with room for a short name."""


# -- nothing was heard --------------------------------------------------------------------------------------


FLEET = History("like", (LikeVehicle(frozenset({Target(Framing.CAN11, 0x7E0)})),) * 12)


@pytest.mark.parametrize("rule", ALL, ids=name)
@pytest.mark.parametrize("recorded", [False, True])
@pytest.mark.parametrize("history", [None, FLEET])
@pytest.mark.parametrize("profiled", [False, True])
def test_every_rule_abstains_where_nothing_was_heard(
    bench: Bench, judged: Judged, rule: Any, recorded: bool, history: History | None, profiled: bool
) -> None:
    picture = Picture(recorded=recorded)
    verdicts = judged(rule, picture, bench.profile if profiled else None, history=history)
    assert {type(item) for item in verdicts} == {Abstained}
    assert {item.rule for item in verdicts} == {name(rule)}
    assert all(len(item.why) <= LONGEST for item in verdicts)


# -- why, rule by rule --------------------------------------------------------------------------------------


def reasons(verdicts: list[Finding | Abstained]) -> list[str]:
    return [item.why for item in verdicts if isinstance(item, Abstained)]


def pictured(bench: Bench, *said: Any, **changes: object) -> Picture:
    picture: Picture = bench.swept(modules={module.target: module for module in said}, **changes)
    return picture


OF_CODES = (both_banks, bus_codes, history_of_loss, order_in_time, shared_circuit, speaking_after_all)


@pytest.mark.parametrize("rule", [*OF_CODES, stops_vehicle, not_in_profile], ids=lambda rule: rule.RULE)
def test_a_rule_on_codes_says_that_none_were_read(bench: Bench, judged: Judged, rule: Any) -> None:
    unread = pictured(bench, bench.said(0x7E0, codes_read=False))
    assert reasons(judged(rule.find, unread, bench.profile)) == ["no module's codes were read"]
    half = pictured(bench, bench.said(0x7E0, codes_read=False), bench.said(0x7E1))
    assert judged(rule.find, half, bench.profile) == []


def test_not_in_profile_needs_a_profile(bench: Bench, judged: Judged) -> None:
    picture = pictured(bench, bench.said(0x7E0))
    assert reasons(judged(not_in_profile.find, picture)) == ["no vehicle profile"]


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"activity": None}, "the bus was not listened to"),
        ({"activity": BusActivity(0.3, {}, 0, heard=False)}, "this link cannot listen to the bus"),
        (
            {"activity": BusActivity(0.3, {}, 0, heard=True), "recorded": True},
            "a recording is not a live bus",
        ),
        ({"activity": BusActivity(0.3, {0x100: 4}, 0, heard=True)}, ""),
    ],
)
def test_bus_quiet_says_why_nothing_was_heard(
    bench: Bench, judged: Judged, changes: dict[str, object], why: str
) -> None:
    picture = pictured(bench, bench.said(0x7E0), **changes)
    assert reasons(judged(bus_quiet.find, picture)) == [why] * bool(why)


def test_unsteady_needs_several_roll_calls_of_a_live_vehicle(bench: Bench, judged: Judged) -> None:
    once = pictured(bench, bench.said(0x7E0, asked=1, answered=1), bench.said(0x7E1))
    assert reasons(judged(unsteady.find, once)) == ["7E0: one roll call shows no contact that comes and goes"]
    played = pictured(bench, bench.said(0x7E0), recorded=True)
    assert reasons(judged(unsteady.find, played)) == ["a recording holds only what was asked then"]
    assert reasons(judged(unsteady.find, pictured(bench))) == ["no module answers"]


@pytest.mark.parametrize("rule", [codes_not_read, damaged_answers], ids=lambda rule: rule.RULE)
def test_a_rule_on_answers_needs_one(bench: Bench, judged: Judged, rule: Any) -> None:
    silent = bench.swept(silent={Target(Framing.CAN11, 0x7E0, 0x7E8): 3})
    assert reasons(judged(rule.find, silent)) == ["no module answers"]


def test_notices_need_an_adapter(bench: Bench, judged: Judged) -> None:
    assert reasons(judged(notices.find, bench.swept(adapter=""))) == ["no adapter was reached"]
    assert judged(notices.find, bench.swept()) == []


def test_a_vin_is_compared_with_another_and_doubted_where_there_is_one(bench: Bench, judged: Judged) -> None:
    few = "fewer than two VINs are known"
    one = pictured(bench, bench.said(0x7E0, vins={"service 09": VIN}))
    assert reasons(judged(vin_differs.find, one)) == [few]
    assert judged(vin_differs.find, one, vin=VIN) == []
    assert judged(vin_doubtful.find, one) == []
    none = pictured(bench, bench.said(0x7E0))
    assert reasons(judged(vin_differs.find, none, vin=VIN)) == [few]
    assert reasons(judged(vin_doubtful.find, none)) == ["no module tells a VIN"]


def test_vin_absent_says_how_far_the_intake_came(bench: Bench, judged: Judged) -> None:
    begun = pictured(bench, bench.said(0x7E0), stage=Stage.IDENTIFICATION, finished=False)
    assert reasons(judged(vin_absent.find, begun)) == ["the intake did not come to asking for the VIN"]
    assert reasons(judged(vin_absent.find, bench.swept())) == ["no module was asked"]


@pytest.mark.parametrize(
    ("statuses", "why"),
    [
        ((0x28, None), "U0100-87 in 7E1: no status tells whether it is history"),
        ((0x28, 0x28), ""),
        ((0x2F, None), ""),
    ],
)
def test_history_of_loss_needs_a_status(
    bench: Bench, judged: Judged, statuses: tuple[int | None, ...], why: str
) -> None:
    """28 is history, 2F present (ISO 14229-1 Annex D); service 03 gives no status."""
    said = [bench.said(0x7E0 + n, bench.stored("U0100-87", status)) for n, status in enumerate(statuses)]
    assert reasons(judged(history_of_loss.find, pictured(bench, *said))) == [why] * bool(why)


def test_order_in_time_misses_ages_only_where_there_are_two_codes(bench: Bench, judged: Judged) -> None:
    two = pictured(bench, bench.said(0x7E0, bench.stored("P0301"), bench.stored("P0420")))
    assert reasons(judged(order_in_time.find, two)) == ["fewer than two codes tell when they were stored"]
    assert judged(order_in_time.find, pictured(bench, bench.said(0x7E0, bench.stored("P0301")))) == []


@pytest.mark.parametrize(
    ("more", "abstains"),
    [
        ({"refused": [(b"\x03", 0x22)]}, True),
        ({"troubles": [Trouble(b"\x03", "cut short", b"\x43")]}, True),
        ({"refused": [(b"\x19\x02\xaf", 0x22)]}, True),
        ({"refused": [(b"\x22\xf1\x90", 0x31)]}, False),
    ],
)
def test_permanent_codes_prove_no_erasing_where_stored_ones_were_not_read(
    bench: Bench, judged: Judged, more: dict[str, Any], abstains: bool
) -> None:
    """Service 03 refused with 22 (conditions not correct), or damaged on its way."""
    said = bench.said(0x7E0, bench.stored("P0420", None, "permanent"), **more)
    told = ["7E0 gave its permanent codes and not its stored ones"] * abstains
    assert reasons(judged(permanent_left.find, pictured(bench, said))) == told
    assert len(judged(permanent_left.find, pictured(bench, said))) == 1


def test_changed_since_needs_what_both_visits_tell(bench: Bench, judged: Judged) -> None:
    then = pictured(bench, bench.said(0x7E0, vins={"service 09": VIN}))
    now = pictured(bench, bench.said(0x7E0, identity={"part number": "4417-A"}))
    history = History("like", (), last_visit(then, "2024-03-01"))
    assert reasons(judged(changed_since.find, now, history=history)) == [
        "no VIN, part number or calibration that both visits tell"
    ]


def test_two_equipments_under_one_pattern_are_named(bench: Bench, judged: Judged) -> None:
    """Ten like vehicles have 760 and ten have 720: neither is missed here, and it is said why."""
    engine, one, other = (Target(Framing.CAN11, number) for number in (0x7E0, 0x760, 0x720))
    fleet = (LikeVehicle(frozenset({engine, one})),) * 10 + (LikeVehicle(frozenset({engine, other})),) * 10
    picture = pictured(bench, bench.said(0x7E0), silent={one: 3, other: 3})
    assert judged(expected_by_history.find, picture, history=History("like", fleet)) == [
        Abstained("expected_by_history", "the 20 like vehicles differ: 720 on 10, 760 on 10")
    ]


def test_without_supply_no_rule_was_asked_and_each_says_so(bench: Bench) -> None:
    judged = assess(bench.swept(supply=0.3))
    assert judged.situation is Situation.NO_SUPPLY
    assert [item.rule for item in judged.abstained] == [name(rule) for rule in ALL]
    assert {item.why for item in judged.abstained} == {"the connector has no supply: nothing was asked"}
