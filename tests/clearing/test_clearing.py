"""Clearing codes: what must hold before, what is sent to whom, and what is kept of it.

Service 04: SAE J1979; service 14 with FFFFFF: ISO 14229-1; refusal 22 conditionsNotCorrect: Annex A.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from dtctriage.clearing import ClearingRefused, Declared, clear_codes, prepare, unanswered
from dtctriage.clearing.ways import CLEARING, languages_read, ways_of
from dtctriage.guard import CLEARING_REQUESTS, GuardedLink
from dtctriage.link import Framing, LinkLost, Target, functional, physical
from dtctriage.records import Cleared, ClearingAnswer, Records
from dtctriage.sweep.events import Answered, Ask
from dtctriage.sweep.questions import CODES, Language
from dtctriage.sweep.run import Depth

NOTHING = Declared()
HOLDING = {"ECM", "GSM", "HVAC", "TCM"}
"""The modules of the demo's second order that hold codes."""


@pytest.fixture
def clear(records: Records, clock: Any) -> Callable[..., list[ClearingAnswer]]:
    """Prepare and clear order RO-7 over a wire."""

    def run(way: Any, typed: str = "RO-7", declared: Declared = NOTHING, every: bool = False) -> Any:
        guarded = GuardedLink(way)
        ready = prepare(records, guarded, "RO-7", declared, lambda event: None, every=every)
        return list(clear_codes(records, guarded, ready, typed=typed, who="M. Sato", now=clock))

    return run


def test_each_module_is_cleared_in_the_way_it_was_read(wire: Any, intake: Any, clear: Any) -> None:
    intake(wire())
    way = wire()
    answers = clear(way)
    assert {(answer.module, answer.request.hex()) for answer in answers} == {
        ("ECM", "04"),
        ("ECM", "14ffffff"),
        ("TCM", "04"),
        ("TCM", "14ffffff"),
        ("GSM", "14ffffff"),
        ("HVAC", "14ffffff"),
    }
    assert all(answer.outcome is Cleared.CLEARED for answer in answers)
    assert len(way.cleared) == len(answers)
    assert not any(request.target.functional for request in way.sent if request.payload in CLEARING_REQUESTS)


def test_on_request_modules_without_codes_are_cleared_too(wire: Any, intake: Any, clear: Any) -> None:
    intake(wire())
    modules = {answer.module for answer in clear(wire(), every=True)}
    assert modules > HOLDING and "BCM" in modules


def test_who_refused_and_who_was_silent_is_told_and_kept(
    wire: Any, intake: Any, clear: Any, records: Records
) -> None:
    sweep = intake(wire())
    answers = clear(wire(clears={"GSM": bytes.fromhex("7F1422"), "HVAC": None, "TCM": b"\x40"}))
    told = {answer.module: (answer.outcome, answer.detail) for answer in answers}
    assert told["GSM"][0] is Cleared.REFUSED
    assert told["GSM"][1].startswith("22 ConditionsNotCorrect, conditions not correct")
    assert told["HVAC"] == (Cleared.SILENT, "it may have cleared and not said so: recheck")
    assert told["TCM"] == (Cleared.DAMAGED, "40 is no answer to it")
    (kept,) = records.clearings.of("RO-7")
    assert kept.answers == tuple(answers)
    assert (kept.start.who, kept.start.intake, kept.planned) == ("M. Sato", sweep, len(answers))
    assert kept.start.engine == "0 rpm by ECM, TCM"
    assert kept.start.supply.endswith("V by ECM") or kept.start.supply == "12.5 V at pin 16"


def test_a_link_that_is_lost_leaves_what_was_done(
    wire: Any, intake: Any, clear: Any, records: Records
) -> None:
    intake(wire())
    with pytest.raises(LinkLost):
        clear(wire(breaks_after=2))
    (kept,) = records.clearings.of("RO-7")
    assert (len(kept.answers), kept.planned) == (2, 6)


def test_of_a_clearing_that_is_broken_off_it_is_known_who_may_have_cleared(
    wire: Any, intake: Any, records: Records, clock: Any
) -> None:
    """The third request was on its way when the link was lost, the others had not left."""
    intake(wire())
    guarded = GuardedLink(wire(breaks_after=2))
    ready = prepare(records, guarded, "RO-7", NOTHING, lambda event: None)
    answers: list[ClearingAnswer] = []
    with pytest.raises(LinkLost):
        answers.extend(clear_codes(records, guarded, ready, typed="RO-7", who="M. Sato", now=clock))
    may_have, not_asked = unanswered(ready, records.clearings.of("RO-7")[0].answers)
    planned = [(ready.labels[target], way.payload) for way in ready.ways for target in way.modules]
    assert (list(may_have), list(not_asked)) == (planned[2:3], planned[3:])
    assert unanswered(
        ready, clear_codes(records, GuardedLink(wire()), ready, typed="RO-7", who="", now=clock)
    ) == (
        (),
        (),
    )


def test_no_request_is_sent_twice_and_none_before_the_number_is_typed(
    wire: Any, intake: Any, clear: Any, records: Records
) -> None:
    intake(wire())
    way = wire()
    with pytest.raises(ClearingRefused, match='"RO-8" is not the number of order RO-7'):
        clear(way, typed="RO-8")
    assert way.cleared == [] and records.clearings.of("RO-7") == ()
    clear(way)
    assert len(set(way.cleared)) == len(way.cleared)


# What must hold before ------------------------------------------------------------------------------------


def refused(clear: Any, way: Any, declared: Declared = NOTHING) -> str:
    """The reason, in one line; nothing that clears was sent."""
    with pytest.raises(ClearingRefused) as caught:
        clear(way, declared=declared)
    assert way.cleared == []
    assert "\n" not in str(caught.value) and caught.value.advice
    return str(caught.value)


def test_without_a_complete_intake(wire: Any, intake: Any, clear: Any, records: Records, clock: Any) -> None:
    records.create_or_update_order("RO-7", at=clock())
    assert "has no complete intake" in refused(clear, wire())
    intake(wire(), depth=Depth.QUICK)
    assert "would be lost unread" in refused(clear, wire())


def test_an_intake_that_was_broken_off_is_none(
    wire: Any, intake: Any, clear: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    way = wire()
    monkeypatch.setattr(way, "listen", lambda seconds: (_ for _ in ()).throw(LinkLost("gone", "plug it in")))
    intake(way)
    assert "has no complete intake" in refused(clear, wire())


def test_another_vehicle(wire: Any, intake: Any, clear: Any) -> None:
    intake(wire())
    assert "says VIN" in refused(clear, wire("third"))


def test_a_module_that_is_silent_now(wire: Any, intake: Any, clear: Any) -> None:
    intake(wire())
    assert "BCM answered at the intake and is silent now" in refused(clear, wire(without={"BCM"}))


def test_a_module_that_was_silent_at_the_intake(wire: Any, intake: Any, clear: Any) -> None:
    intake(wire(without={"BCM"}))
    assert "BCM was not read at the intake and answers now" in refused(clear, wire())


def test_a_code_that_came_since(wire: Any, intake: Any, clear: Any) -> None:
    intake(wire())
    came = {b"\x03": bytes.fromhex("4302C1030118")}
    assert "P0118 was stored after the intake" in refused(clear, wire(replaced=came))


def test_the_engine_runs(wire: Any, intake: Any, clear: Any) -> None:
    intake(wire())
    running = {b"\x01\x0c": bytes.fromhex("410C0B54")}  # 0B54 / 4 = 725 rpm (SAE J1979, PID 0C)
    way = wire(replaced=running)
    assert "The engine runs: 725 rpm by ECM" in refused(clear, way)
    assert "The engine runs" in refused(clear, way, Declared(engine_off=True))


def test_nobody_tells_the_engines_speed(wire: Any, intake: Any, clear: Any) -> None:
    intake(wire())
    for answer in ("7F0112", "410CFFFF"):
        way = wire(replaced={b"\x01\x0c": bytes.fromhex(answer)})
        assert "--engine-off" in refused(clear, way)
    answers = clear(way, declared=Declared(engine_off=True))
    assert answers


@pytest.mark.parametrize(("volts", "where"), [(10.9, "at pin 16"), (0.0, "at pin 16")])
def test_the_supply_is_too_low(wire: Any, intake: Any, clear: Any, volts: float, where: str) -> None:
    intake(wire())
    assert f"Only {volts:.1f} V {where}; 11 V or more" in refused(clear, wire(volts=volts))


def test_a_voltmeter_goes_before_the_adapters_but_not_before_the_modules(
    wire: Any, intake: Any, clear: Any
) -> None:
    intake(wire())
    assert clear(wire(volts=0.0), declared=Declared(volts=12.3))
    low = {bytes([0x01, 0x42]): bytes.fromhex("41422710")}  # 2710 is 10.000 V (SAE J1979, PID 42)
    assert "Only 10.0 V by" in refused(clear, wire(replaced=low), Declared(volts=12.3))


def test_a_recording_is_no_vehicle(wire: Any, intake: Any, clear: Any) -> None:
    intake(wire())
    assert "A recording cannot be cleared" in refused(clear, wire(recorded=True))


def test_nothing_is_stored(wire: Any, intake: Any, clear: Any) -> None:
    intake(wire("lessons/yearly-service"))
    assert "No code is stored" in refused(clear, wire("lessons/yearly-service"))


# Ways -----------------------------------------------------------------------------------------------------

LINE = [Target(Framing.ISO9141, node, node) for node in (0x10, 0x18)]


def test_the_bytes_are_those_of_the_standards() -> None:
    """04 SAE J1979; 14 FFFFFF ISO 14229-1; 14 FFFF33 SAE J1979-2; 14 FF00 ISO 14230-3 (memory)."""
    assert {language: payload.hex() for language, payload in CLEARING.items()} == {
        Language.J1979: "04",
        Language.OBD_ON_UDS: "14ffff33",
        Language.UDS: "14ffffff",
        Language.KWP: "14ff00",
    }
    assert set(CLEARING.values()) == set(CLEARING_REQUESTS)


def test_off_can_one_request_goes_to_all_that_were_read() -> None:
    (way,) = ways_of({target: {Language.J1979} for target in LINE})
    assert (way.target, way.payload, way.modules) == (functional(Framing.ISO9141), b"\x04", tuple(LINE))


def test_a_module_of_two_languages_gets_two_requests() -> None:
    ecm = physical(Framing.CAN11, 0x7E0)
    ways = ways_of({ecm: {Language.UDS, Language.OBD_ON_UDS}})
    assert [way.payload.hex() for way in ways] == ["14ffff33", "14ffffff"]


def test_kwp_codes_count_as_read_by_service_18_alone() -> None:
    node = Target(Framing.ISO14230, 0x28, 0x28)
    ask = CODES[Language.KWP][0]

    def answered(question: bytes, answer: str) -> Answered:
        return Answered(Ask("codes", node, question), 0x28, bytes.fromhex(answer), 1.0)

    assert languages_read([answered(ask, "5800")], ()) == {node: {Language.KWP}}
    assert languages_read([answered(b"\x13\xff\x00", "5300")], ()) == {}
    assert languages_read([answered(ask, "7F1811")], ()) == {}
