"""Each rule: when it fires and when it abstains; the `ruled` fixture checks that it names its evidence."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from dtctriage.link import BusActivity, Framing, NoticeKind, Target
from dtctriage.sweep.events import NoticeGiven, Stage
from dtctriage.sweep.picture import Picture, Trouble
from dtctriage.sweep.questions import Language
from dtctriage.triage import rules
from dtctriage.triage.assess import assess
from dtctriage.triage.model import Abstained, Weight
from dtctriage.triage.rules import (
    ALL,
    bus_codes,
    bus_quiet,
    codes_not_read,
    damaged_answers,
    history_of_loss,
    low_supply,
    not_in_profile,
    notices,
    speaking_after_all,
    unsteady,
    vin_absent,
    vin_differs,
    vin_doubtful,
)
from dtctriage_reference import rows

Bench = Any
Ruled = Any
VIN, OTHER_VIN = "G0ZKV5C2XP1000417", "G0ZKV5C22P1002288"


def with_modules(bench: Bench, *said: Any, **changes: object) -> Picture:
    picture: Picture = bench.swept(modules={module.target: module for module in said}, **changes)
    return picture


def engine(bench: Bench, *codes: Any, vin: str = VIN, **more: Any) -> Any:
    return bench.said(0x7E0, *codes, vins={"service 09": vin} if vin else {}, **more)


def test_every_rule_is_run() -> None:
    files = {path.stem for path in Path(rules.__file__).parent.glob("*.py")} - {"__init__"}
    assert {rule.__module__.rpartition(".")[2] for rule in ALL} == files


def test_every_rule_has_its_row_in_the_table_and_no_row_is_without_rule() -> None:
    """no_supply is said before any rule is asked."""
    names = {rule.__module__.rpartition(".")[2] for rule in ALL}
    table = {row["rule"]: row for row in rows("rules")}
    assert set(table) == names | {"no_supply"}
    for row in table.values():
        assert row["needs"] and row["refuted_by"] and 0 < float(row["weight"]) <= 100


def test_every_rule_abstains_on_a_sound_vehicle(bench: Bench, ruled: Ruled) -> None:
    for rule in ALL:
        assert ruled(rule, bench.picture(), bench.profile) == []
        assert ruled(rule, with_modules(bench, engine(bench))) == []


@pytest.mark.parametrize("stage", [Stage.ADAPTER, Stage.BUS])
def test_every_rule_abstains_on_a_sweep_that_hardly_began(bench: Bench, ruled: Ruled, stage: str) -> None:
    picture = bench.swept(stage=stage, finished=False, rounds=0, supply=None)
    for rule in ALL:
        assert ruled(rule, picture, bench.profile) == []
        assert ruled(rule, picture) == []


# low_supply ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("volts", "fires"), [(9.9, True), (6.1, True), (10.0, False), (12.6, False), (None, False)]
)
def test_low_supply(bench: Bench, ruled: Ruled, volts: float | None, fires: bool) -> None:
    """Limit: 10 V (makers' service literature)."""
    found = ruled(low_supply.find, with_modules(bench, engine(bench), supply=volts))
    assert [finding.weight for finding in found] == [Weight.STOPS] * fires


def test_low_supply_doubts_the_voltmeter_where_modules_answer(bench: Bench, ruled: Ruled) -> None:
    (found,) = ruled(low_supply.find, with_modules(bench, engine(bench), supply=0.2))
    assert found.weight is Weight.NOTE and "voltmeter is wrong" in found.detail


# notices ---------------------------------------------------------------------------------------------------


def notice(kind: NoticeKind) -> NoticeGiven:
    return NoticeGiven(None, kind, f"it says {kind.value}", "do this")


def test_notices_are_told_once_a_kind_with_their_count(bench: Bench, ruled: Ruled) -> None:
    given = [notice(NoticeKind.CAN_ERROR), notice(NoticeKind.OVERFLOW), notice(NoticeKind.CAN_ERROR)]
    first, second = ruled(notices.find, bench.swept(notices=given))
    assert first.title == "The adapter says: CAN error, 2 times" and first.weight is Weight.LOOK
    assert (second.weight, second.advice) == (Weight.NOTE, "do this")


def test_what_the_adapter_advises_fits_what_followed(bench: Bench, ruled: Ruled) -> None:
    """Whoever answers shows that the connector has supply and that its data wires work (SAE J1962)."""
    given = [notice(NoticeKind.NO_PROTOCOL)]
    (alone,) = ruled(notices.find, bench.swept(notices=given))
    assert alone.advice == "do this"
    (found,) = ruled(notices.find, with_modules(bench, bench.said(0x760), bench.said(0x726), notices=given))
    assert found.advice.startswith("2 modules answer all the same")
    assert "supply and grounds and the data wires work" in found.advice


@pytest.mark.parametrize("kind", [NoticeKind.NO_ANSWER, NoticeKind.INTERRUPTED, NoticeKind.NOT_UNDERSTOOD])
def test_notices_of_everyday_are_not_told(bench: Bench, ruled: Ruled, kind: NoticeKind) -> None:
    assert ruled(notices.find, bench.swept(notices=[notice(kind)])) == []


# bus_quiet -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("activity", "answers", "title"),
    [
        (BusActivity(0.3, {}, 0, True), False, "No traffic on the bus"),
        (BusActivity(0.3, {0x100: 4}, 0, True), False, "Traffic on the bus, but no answers"),
        (BusActivity(0.3, {0x100: 4}, 2, True), False, "Error frames on the bus"),
        (BusActivity(0.3, {0x100: 4}, 2, True), True, "Error frames on the bus"),
        (BusActivity(0.3, {}, 0, False), False, None),
        (BusActivity(0.3, {0x100: 4}, 0, True), True, None),
        (BusActivity(0.3, {}, 0, True), True, None),
        (None, False, None),
    ],
)
def test_bus_quiet(
    bench: Bench, ruled: Ruled, activity: BusActivity | None, answers: bool, title: str | None
) -> None:
    picture = with_modules(bench, *([engine(bench)] if answers else []), activity=activity)
    assert [finding.title for finding in ruled(bus_quiet.find, picture)] == [title] * (title is not None)
    assert ruled(bus_quiet.find, replace(picture, recorded=True)) == []


# bus_codes, speaking_after_all, history_of_loss ------------------------------------------------------------


def test_bus_codes_say_which_bus_and_who_says_so(bench: Bench, ruled: Ruled) -> None:
    """U00xx is the area of the bus, whether it is assigned or not; failure type 88: bus off (SAE J2012)."""
    codes = (
        bench.stored("U0073-88"),
        bench.stored("U0001-00"),
        bench.stored("U0100-87"),
        bench.stored("U001A-00"),
        bench.stored("U1900-88"),
        bench.stored("U1900-01"),
        bench.stored("P0301"),
    )
    found = ruled(bus_codes.find, with_modules(bench, engine(bench, *codes)))
    assert [finding.title for finding in found] == [
        "7E0 reports the bus itself: U0073-88",
        "7E0 reports the bus itself: U0001-00",
        "7E0 reports the bus itself: U001A-00",
        "7E0 reports the bus itself: U1900-88",
    ]
    assert found[2].detail == "ISO/SAE network code, bus electrical: not in the catalogue"


@pytest.mark.parametrize(
    ("code", "word"), [("U0401-00", "Bad data"), ("U0301-00", "An answer about its software")]
)
def test_speaking_after_all(bench: Bench, ruled: Ruled, code: str, word: str) -> None:
    module = bench.said(0x7E1, bench.stored(code), bench.stored("U0100-87"))
    (found,) = ruled(speaking_after_all.find, with_modules(bench, module))
    assert found.title == f"engine control A was speaking: {code} in 7E1"
    assert found.detail.startswith(word)


def test_history_of_loss_is_silent_where_one_code_is_not_history(bench: Bench, ruled: Ruled) -> None:
    old, new, untold = (bench.stored("U0100-87", status) for status in (bench.HISTORY, bench.NOW, None))
    (found,) = ruled(history_of_loss.find, with_modules(bench, bench.said(0x7E1, old)))
    assert found.title == "Lost-communication codes in history only: engine control A"
    for other in (new, untold):
        both = with_modules(bench, bench.said(0x7E1, old), bench.said(0x760, other))
        assert ruled(history_of_loss.find, both) == []


def test_not_in_profile(bench: Bench, ruled: Ruled) -> None:
    picture = bench.picture()
    bench.module(picture, "BCM").codes.append(bench.stored(bench.lost_code("parking_brake")))
    (found,) = ruled(not_in_profile.find, picture, bench.profile)
    assert found.detail == "Missed by BCM."
    assert ruled(not_in_profile.find, picture) == []
    bench.module(picture, "BCM").codes[:] = [bench.stored(bench.lost_code("parking_brake"), bench.HISTORY)]
    assert ruled(not_in_profile.find, picture, bench.profile) == []


# unsteady, codes_not_read, damaged_answers -----------------------------------------------------------------


@pytest.mark.parametrize(("answered", "fires"), [(3, False), (2, True), (1, True)])
def test_unsteady(bench: Bench, ruled: Ruled, answered: int, fires: bool) -> None:
    picture = with_modules(bench, engine(bench, answered=answered))
    assert len(ruled(unsteady.find, picture)) == fires
    assert ruled(unsteady.find, replace(picture, recorded=True)) == []


def test_unsteady_abstains_where_nobody_was_asked_by_address(bench: Bench, ruled: Ruled) -> None:
    assert ruled(unsteady.find, with_modules(bench, engine(bench, asked=0, answered=0))) == []


@pytest.mark.parametrize(
    ("more", "reason"),
    [
        ({"refused": [(b"\x19\x02\xaf", 0x22)]}, "refused"),
        ({"troubles": [Trouble(b"\x03", "cut short", b"\x43")]}, "damaged on the way"),
        ({"refused": [(b"\x22\xf1\x90", 0x31)]}, "not asked for, or not answered"),
        ({}, "not asked for, or not answered"),
    ],
)
def test_codes_not_read_says_why(bench: Bench, ruled: Ruled, more: dict[str, Any], reason: str) -> None:
    (found,) = ruled(codes_not_read.find, with_modules(bench, engine(bench, codes_read=False, **more)))
    assert found.detail.startswith(f"7E0: {reason}")


def test_damaged_answers_keep_the_question_and_count(bench: Bench, ruled: Ruled) -> None:
    lost = [Trouble(b"\x09\x02", "frame 2 of 3 is missing", b"\x49"), Trouble(b"\x03", "cut short", b"")]
    picture = with_modules(
        bench, engine(bench, troubles=lost), troubles=[Trouble(b"\x01\x00", "noise", b"\xff")]
    )
    first, second = ruled(damaged_answers.find, picture)
    assert first.title == "7E0: 2 answers damaged" and "09 02: frame 2 of 3 is missing" in first.detail
    assert second.title == "Unknown sender: 1 answer damaged"


# VIN -------------------------------------------------------------------------------------------------------


def test_vin_absent_tells_refusing_from_silent(bench: Bench, ruled: Ruled) -> None:
    other = bench.said(0x7E1, vins={"service 09": VIN}, languages={Language.J1979})
    (found,) = ruled(vin_absent.find, with_modules(bench, engine(bench, vin=""), other))
    assert found.detail == "Since the engine module answers but gives no VIN, the VIN is taken from 7E1."
    silent = with_modules(bench, other, silent={Target(Framing.CAN11, 0x7E0, 0x7E8): 3})
    (found,) = ruled(vin_absent.find, silent)
    assert found.detail.startswith("Since the engine module does not answer")


def test_a_vehicle_without_engine_has_no_engine_module_to_hold_a_vin(bench: Bench, judged: Any) -> None:
    other = bench.said(0x760, vins={"identifier F190": VIN}, languages={Language.UDS})
    silent = with_modules(bench, other, silent={Target(Framing.CAN11, 0x7E0, 0x7E8): 3})
    (only,) = judged(vin_absent.find, silent)
    assert only == Abstained("vin_absent", "no module speaks OBD: the vehicle may have no engine")
    other.codes.append(bench.stored("U0100-87"))
    (missed,) = judged(vin_absent.find, silent)
    assert missed.detail.startswith("Since the engine module does not answer")


def test_vin_absent_waits_until_it_was_asked(bench: Bench, ruled: Ruled) -> None:
    asked_later = with_modules(bench, engine(bench, vin=""), stage=Stage.IDENTIFICATION, finished=False)
    assert ruled(vin_absent.find, asked_later) == []
    assert len(ruled(vin_absent.find, replace(asked_later, stage=Stage.CODES))) == 1
    calling = bench.swept(
        silent={Target(Framing.CAN11, 0x7E0, 0x7E8): 1}, stage=Stage.ROLL_CALL, finished=False
    )
    assert ruled(vin_absent.find, calling) == []


def test_vin_differs_between_modules_and_from_the_order(bench: Bench, ruled: Ruled) -> None:
    three = [
        engine(bench),
        bench.said(0x7E1, vins={"service 09": VIN}),
        bench.said(0x760, vins={"x": OTHER_VIN}),
    ]
    (found,) = ruled(vin_differs.find, with_modules(bench, *three))
    assert found.title == "VINs differ: 760"
    (found,) = ruled(vin_differs.find, with_modules(bench, *three[:2]), vin=OTHER_VIN)
    assert found.title == "VINs differ: repair order"
    assert ruled(vin_differs.find, with_modules(bench, *three[:2]), vin=VIN) == []


def test_where_all_modules_agree_the_paper_is_to_be_compared(bench: Bench, ruled: Ruled) -> None:
    """No module comes from another vehicle when one sign was typed wrongly (common practice)."""
    both = [engine(bench), bench.said(0x760, vins={"identifier F190": VIN})]
    (found,) = ruled(vin_differs.find, with_modules(bench, *both), vin=f"{VIN[:8]}4{VIN[9:]}")
    assert found.detail.endswith("they differ at position 9 alone")
    assert "VIN plate" in found.advice and "--correct-vin" in found.advice
    (found,) = ruled(vin_differs.find, with_modules(bench, *both), vin=OTHER_VIN)
    assert "differ at" not in found.detail and "VIN plate" in found.advice
    foreign = bench.said(0x7E1, vins={"service 09": OTHER_VIN})
    (found,) = ruled(vin_differs.find, with_modules(bench, *both, foreign), vin=VIN)
    assert found.title == "VINs differ: 7E1" and "another vehicle may lack coding" in found.advice


def test_the_check_digit_of_a_typed_vin_is_tested_too(bench: Bench, ruled: Ruled) -> None:
    """1M8GDM9AXKP042788: the worked example of the check digit of 49 CFR 565 (from memory)."""
    right = "1M8GDM9AXKP042788"
    picture = with_modules(bench, engine(bench, vin=right))
    assert ruled(vin_doubtful.find, picture, vin=right) == []
    (found,) = ruled(vin_doubtful.find, picture, vin="1M8GDM9AXKP042789")
    assert found.title.startswith("VIN from the repair order: check digit is X, computed ")


def test_a_module_that_was_never_given_a_vin(bench: Bench, ruled: Ruled) -> None:
    blank = bench.said(0x7A0, identity={"VIN": "not programmed"})
    mute = bench.said(0x722)
    (found,) = ruled(vin_absent.find, with_modules(bench, engine(bench), blank, mute))
    assert found.title == "7A0 was never given a VIN" and found.weight is Weight.LOOK
    alone = with_modules(bench, engine(bench, vin=""), blank)
    assert [item.title for item in ruled(vin_absent.find, alone)] == [
        "VIN not available from the engine module"
    ]


@pytest.mark.parametrize("typed", [VIN.lower(), f" {VIN} ", f"{VIN[:8]} {VIN[8:]}"])
def test_a_vin_typed_otherwise_is_the_same(bench: Bench, ruled: Ruled, typed: str) -> None:
    assert ruled(vin_differs.find, with_modules(bench, engine(bench)), vin=typed) == []


def test_a_module_that_holds_two_vins_differs_from_itself(bench: Bench, ruled: Ruled) -> None:
    module = bench.said(0x7E0, vins={"service 09": VIN, "identifier F190": OTHER_VIN})
    assert len(ruled(vin_differs.find, with_modules(bench, module))) == 1


@pytest.mark.parametrize(
    ("vin", "word"),
    [
        ("1M8GDM9AXKP042788", None),
        ("1M8GDM9A1KP042788", "check digit is 1, computed X"),
        ("1M8GDM9AXKPO42788", "'O' at position 12"),
        ("SHORT", "5 characters"),
    ],
)
def test_vin_doubtful(bench: Bench, ruled: Ruled, vin: str, word: str | None) -> None:
    """1M8GDM9AXKP042788: the worked example of the check digit of 49 CFR 565 (from memory)."""
    found = ruled(vin_doubtful.find, with_modules(bench, engine(bench, vin=vin)))
    assert [word in finding.title for finding in found if word] == [True] * (word is not None)
    assert len(found) == (word is not None)


def test_a_doubtful_vin_in_many_modules_is_told_once(bench: Bench, ruled: Ruled) -> None:
    many = [bench.said(0x7E0 + n, vins={"service 09": "SHORT"}) for n in range(4)]
    assert len(ruled(vin_doubtful.find, with_modules(bench, *many))) == 1


def test_in_china_position_nine_is_a_check_digit(bench: Bench, ruled: Ruled) -> None:
    """GB 16735, identifiers with L, from memory; computed as in 49 CFR 565.15. An invented VIN, by hand:

    3*8+9*7+0*6+2*5+5*4+5*3+3*2+2*10+7*9+1*8+1*7+0+0+4*4+1*3+7*2 = 269, and 269 modulo 11 is 5.
    """
    assert ruled(vin_doubtful.find, with_modules(bench, engine(bench, vin="LZ0KEVC25P1100417"))) == []
    (found,) = ruled(vin_doubtful.find, with_modules(bench, engine(bench, vin="LZ0KEVC25P1100418")))
    assert "check digit is 5" in found.title


def test_outside_north_america_position_nine_is_free(bench: Bench, ruled: Ruled) -> None:
    """VIN regions of ISO 3780: S to Z are Europe. An invented VIN; A is no check digit."""
    assert ruled(vin_doubtful.find, with_modules(bench, engine(bench, vin="XZ0KV5C2AP1000417"))) == []
    (found,) = ruled(vin_doubtful.find, with_modules(bench, engine(bench, vin="XZ0KV5C2AP100041A")))
    assert "last four places" in found.title


def test_an_assessment_says_what_a_finding_needs_and_which_rules_abstained(bench: Bench) -> None:
    judged = assess(with_modules(bench, engine(bench), supply=9.5))
    (low,) = [item for item in judged.findings if item.rule == "low_supply"]
    assert low.needs == "the voltage at pin 16" and low.refuted_by.startswith("10 V or more")
    assert Abstained("charging", "the engine is not known to run") in judged.abstained
    assert not {item.rule for item in judged.abstained} & {"low_supply", "stops_vehicle"}
