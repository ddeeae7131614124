"""A sweep without a profile: the generic vehicle laid out from it, and what is proposed on it."""

from __future__ import annotations

from typing import Any

import pytest

from dtctriage.triage.assess import assess
from dtctriage.triage.generic import Layout, basis_of
from dtctriage.triage.model import Problem, Situation
from dtctriage.triage.suspects import suspects
from dtctriage.wiring.bench import Observation
from dtctriage.wiring.contradictions import contradictions
from dtctriage.wiring.entered import parse_line
from dtctriage.wiring.faults import FaultKind

Bench = Any


def swept(bench: Bench, *modules: Any, **changes: object) -> Any:
    return bench.swept(modules={module.target: module for module in modules}, **changes)


def coded(bench: Bench, *codes: str, request: int = 0x7E0, status: int | None = 0x2F) -> Any:
    return swept(bench, bench.said(request, *(bench.stored(code, status) for code in codes)))


def only(judged: Any) -> Problem:
    (problem,) = judged.problems
    assert isinstance(problem, Problem)
    return problem


def missing(bench: Bench, *roles: str) -> Any:
    """Two modules of which the first misses all of these, the second the first of them."""
    codes = [bench.stored(bench.lost_code(role)) for role in roles]
    return swept(bench, bench.said(0x760, *codes), bench.said(0x761, codes[0]))


# Circuits --------------------------------------------------------------------------------------------------


def test_a_code_alone_gives_suspects_readings_and_a_first_plan(bench: Bench) -> None:
    judged = assess(coded(bench, "P0615"))
    problem = only(judged)
    assert judged.situation is Situation.CODES_ONLY
    assert problem.title == "starter relay: P0615 in 7E0"
    assert problem.stops_vehicle
    assert problem.suspects[0].title == "starter relay fuse"
    assert problem.open_end.startswith(
        "Generic circuit: pins and colours are this vehicle's own; enter them:"
    )
    assert "dtctriage circuit add ORDER P0615" in problem.open_end
    first = problem.checks[0]
    assert first.what == "measure starter relay fuse on both test points against battery minus"
    assert first.outcomes and sum(item.chance for item in first.outcomes) == pytest.approx(1, abs=0.02)
    assert not any("10 A" in check.what or "profile" in check.source for check in problem.checks)


@pytest.mark.parametrize(
    ("code", "suspect"),
    [
        # An open three-wire sensor reads low, an open thermistor high (what their bias makes of it).
        ("P0107", "manifold or barometric pressure sensor"),
        ("P0118", "engine coolant temperature sensor 1"),
        ("P0443", "evaporative purge valve"),
        ("P0203", "injector cylinder 3"),
        ("P2100", "throttle actuator motor"),
    ],
)
def test_kinds_of_circuit(bench: Bench, code: str, suspect: str) -> None:
    problem = only(assess(coded(bench, code)))
    assert problem.title.startswith(suspect)
    assert any(suspect in item.title or item.title == "7E0 plug" for item in problem.suspects)
    assert problem.checks


def test_codes_of_one_part_are_one_problem_and_those_of_two_are_two(bench: Bench) -> None:
    together = assess(coded(bench, "P0117", "P0118"))
    assert len(together.problems) <= 2
    apart = assess(coded(bench, "P0118", "P0443"))
    assert {item.title.partition(":")[0] for item in apart.problems} == {
        "engine coolant temperature sensor 1",
        "evaporative purge valve",
    }


def test_circuits_that_fail_together_are_looked_for_in_the_fuse_they_share(bench: Bench) -> None:
    """Common practice: what they share comes first."""
    problem = only(assess(coded(bench, "P0615", "P0443")))
    assert problem.suspects[0].title == "shared 7E0 fuse"
    assert problem.checks[0].what.startswith("measure shared 7E0 fuse on both test points")
    (alone,) = assess(coded(bench, "P0443")).problems
    assert alone.suspects[0].title == "evaporative purge valve fuse"


@pytest.mark.parametrize("code", ["P0420", "P0301", "P0116", "P1234", "B0001", "U0100"])
def test_a_code_without_a_sensible_circuit_gets_none(bench: Bench, code: str) -> None:
    assert basis_of(coded(bench, code)).circuits == ()


def test_a_code_in_history_is_a_fault_that_comes_and_goes(bench: Bench) -> None:
    problem = only(assess(coded(bench, "P0615", status=bench.HISTORY)))
    assert "Not failing now" in problem.open_end


def test_a_contactor_gets_its_hazard_and_no_measurement(bench: Bench) -> None:
    problem = only(assess(coded(bench, "P0AD9")))
    (check,) = problem.checks
    assert "qualified person" in check.what and check.probes == ()
    assert problem.suspects == ()


def test_the_hazard_of_the_place_stands_by_every_check(bench: Bench) -> None:
    problem = only(assess(coded(bench, "P0203")))
    assert all("Fuel under pressure" in check.caution for check in problem.checks)


def test_what_was_entered_is_this_vehicles_own(bench: Bench) -> None:
    picture = coded(bench, "P0615")
    entered = {"starter relay": parse_line("pin=C2:12 colour=white/blue fuse=F12:15A connector=X5:3")}
    problem = only(assess(picture, basis=basis_of(picture, entered)))
    assert problem.suspects[0].title == "fuse F12 (15 A)"
    assert "Generic" not in problem.open_end
    assert any(check.what.startswith("measure fuse F12 (15 A)") for check in problem.checks)
    text = " ".join(check.what for check in problem.checks)
    assert "X5" in text or "plug C2 pin 12" in text


# Silence ---------------------------------------------------------------------------------------------------


def test_one_missed_module_has_its_fuse_relay_ground_and_branch_among_the_suspects(bench: Bench) -> None:
    """Common practice: fuse, ground, relay and connectors before the module itself."""
    picture = bench.called_everywhere(missing(bench, "engine_control_a"))
    problem, basis = only(assess(picture)), basis_of(picture)
    assert basis.layout is Layout.MISSED
    ranked = basis.suspicion.weigh(basis.seen, basis.suspicion.trouble(basis.seen))
    kinds = [str(item.faults[0].id) for item in ranked if item.share > 0.005 and item.faults]
    named = " ".join(kinds)
    for part in ("fuse", "ground", "relay coil", "relay contact", "off the bus", "module dead"):
        assert part in named
    assert problem.suspects[0].title == "engine control A fuse"
    assert problem.checks[0].what.startswith("measure engine control A fuse on both test points")
    assert any(
        "back-probe supplies and grounds of engine control A" in check.what for check in problem.checks
    )


def test_several_missed_modules_are_looked_for_in_what_they_share(bench: Bench) -> None:
    problem = only(assess(missing(bench, "engine_control_a", "transmission_control")))
    assert [item.title for item in problem.suspects[:3]] == ["their fuse", "their relay", "their ground"]
    assert "Whatever they share comes first" in problem.open_end


def test_a_missed_airbag_module_is_left_to_whoever_is_trained_for_it(bench: Bench) -> None:
    problem = only(assess(missing(bench, "airbag_control")))
    assert "person trained for airbags" in problem.checks[-1].what and problem.checks[-1].caution
    for word in ("supplies and grounds", "module unplugged"):
        assert not any(word in check.what for check in problem.checks)


def test_a_missed_module_of_the_drive_is_left_to_the_qualified(bench: Bench) -> None:
    problem = only(assess(missing(bench, "drive_motor_control_a")))
    assert "qualified person" in problem.checks[0].what
    assert not any("back-probe supplies" in check.what for check in problem.checks)


@pytest.mark.parametrize("supply", [None, 12.5])
def test_all_silent_begins_with_battery_and_connector_unless_the_adapter_shows_them(
    bench: Bench, supply: float | None
) -> None:
    judged = assess(bench.swept(rounds=3, supply=supply))
    problem = only(judged)
    texts = [check.what for check in problem.checks]
    first = ["measure the battery across its posts", "measure pin 16 against pins 4 and 5"]
    assert (texts[:2] == first) is (supply is None)
    assert "turn the key to run, open a door, and call the roll again" in texts
    assert any("pins 6 and 14" in text for text in texts)
    assert problem.suspects[0].title == "the key: in off, not in run"
    assert ("the battery" in [item.title for item in problem.suspects]) is (supply is None)
    shown = [item.text for item in judged.evidence]
    assert any("12.5 V at the connector" in text for text in shown) is (supply is not None)


@pytest.mark.parametrize(
    ("volts", "first"),
    [(3.4, "the battery"), (9.6, "the battery"), (0.2, "the battery"), (12.6, "the key: in off, not in run")],
)
def test_all_silent_with_a_battery_that_gives_nothing(bench: Bench, volts: float, first: str) -> None:
    """Modules stop talking below 9 to 10 V (makers' service literature): such a battery is the cause, and a
    sound one (12.65 V full, an open-circuit table) is none."""
    picture = bench.swept(rounds=3, supply=None)
    (probe,) = only(assess(picture)).checks[0].probes
    basis = basis_of(picture)
    trouble = basis.suspicion.trouble(basis.seen)
    ranked = basis.suspicion.weigh(basis.seen, trouble, (Observation(probe, volts),))
    told = {item.title: item.share for item in suspects(basis.suspicion, ranked)}
    assert next(iter(told)) == first
    # 9.6 V is also what a main cable on metal leaves of a sound battery.
    assert (told.get("the battery", 0.0) > 0.6) is (first == "the battery")
    assert volts < 10 or told.get("the battery", 0.0) < 0.02


def test_a_silent_modules_own_fuse_ground_and_connector(bench: Bench) -> None:
    picture = missing(bench, "engine_control_a")
    entered = {
        "engine control A": parse_line("pin=C1:5 fuse=F21:15A ground=G103 second=C1:2 connector=X101:7")
    }
    problem = only(assess(picture, basis=basis_of(picture, entered)))
    titles = [item.title for item in problem.suspects]
    assert titles[0] == "fuse F21 (15 A)" and "ground G103" in titles
    assert any("C1:5" in check.what for check in problem.checks)


def test_every_generic_vehicle_is_a_profile_without_contradictions(bench: Bench) -> None:
    pictures = [
        bench.swept(rounds=3),
        missing(bench, "engine_control_a"),
        missing(bench, "engine_control_a", "transmission_control", "airbag_control"),
        coded(bench, "P0615", "P0118", "P0443", "P2100", "P0107"),
        swept(bench, bench.said(0x7E0), bench.said(0x7E1, bench.stored(bench.lost_code("engine_control_a")))),
    ]
    for picture in pictures:
        assert list(contradictions(basis_of(picture).profile)) == []


# A bus that is reported itself ------------------------------------------------------------------------------

SHORTED, HALF, WHOLE = 0.5, 120.0, 60.0
"""Ohm between CAN high and CAN low with power off: wires touching; one termination missing or cut off; both
there (makers' service literature)."""


def on_two(bench: Bench, code: str) -> Any:
    """Two modules report a bus, and both answer."""
    return swept(bench, bench.said(0x7E0, bench.stored(code)), bench.said(0x760, bench.stored(code)))


def test_a_code_about_a_bus_gives_the_pairs_faults_and_its_cheap_checks(bench: Bench) -> None:
    """Resistance with power off, then the voltages at rest, at pins 6 and 14 (SAE J1962), before any plug."""
    problem = only(assess(on_two(bench, "U0001-88")))
    assert problem.title == "bus high-speed CAN: U0001-88 in 760, U0001-88 in 7E0"
    titles = " ".join(item.title for item in problem.suspects)
    for words in ("shorted", "open between 7E0 and 760", "termination of bus high-speed CAN in 7E0 missing"):
        assert words in titles
    touching = problem.suspects[0].members
    assert [words.rpartition(": ")[2] for words in touching] == [
        "its wires touch, or a module holds them together",
        "a wire touches ground",
        "a wire touches battery plus",
    ]
    ohms, volts = problem.checks[:2]
    assert "CAN high and CAN low" in ohms.what and "(pins 6 and 14)" in ohms.what
    assert ohms.expect.startswith("about 60 ohm; 120 ohm: one termination missing; near 0: wires shorted")
    assert "pins 6 and 14" in volts.what and volts.expect.startswith("about 2.5 V on both wires at rest")
    assert problem.open_end.startswith("Generic pair") and "comes and goes" in problem.open_end


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("U0003", "open between"),
        ("U0004", "a wire touches ground"),
        ("U0008", "a wire touches battery plus"),
        ("U0009", "its wires touch"),
    ],
)
def test_what_a_code_says_of_the_pair_goes_before_all_else(bench: Bench, code: str, words: str) -> None:
    """SAE J2012: (+) open, (+) low, (-) high, (-) shorted to (+) of the high-speed bus."""
    problem = only(assess(on_two(bench, code)))
    assert problem.suspects[0].share > 0.4
    assert all(words in member for member in problem.suspects[0].members), problem.suspects[0]


@pytest.mark.parametrize(
    ("ohms", "words"),
    [(SHORTED, ["its wires touch"]), (HALF, ["missing", "open"]), (WHOLE, ["a wire touches"])],
    ids=["0", "120", "60"],
)
def test_the_pairs_resistance_tells_what_it_is(bench: Bench, ohms: float, words: list[str]) -> None:
    """A short to ground or to supply leaves 60 ohm between the wires (makers' service literature)."""
    picture = on_two(bench, "U0001")
    first = only(assess(picture)).checks[0]
    problem = only(assess(picture, observations=(Observation(first.probes[0], ohms),)))
    share = sum(
        item.share
        for item in problem.suspects
        if item.members and all(any(word in member for word in words) for member in item.members)
    )
    assert share > 0.6, problem.suspects
    assert first.what not in {check.what for check in problem.checks}


def test_a_bus_of_another_name_has_no_pins_at_the_connector(bench: Bench) -> None:
    """Control module bus A off is told of bus A: which pins it has, if any, nobody knows."""
    problem = only(assess(coded(bench, "U0073-88", status=0x2F)))
    assert problem.title == "bus A: U0073-88 in 7E0"
    assert problem.suspects[0].title == "branch of bus A to 7E0 open"
    assert not any("pins" in check.what for check in problem.checks)
    assert any("at the plug of 7E0, module unplugged" in check.what for check in problem.checks)


def test_who_reports_the_bus_makes_its_break_likelier_than_without(bench: Bench) -> None:
    """U0100 of two modules, then with U0001 beside it: the pair gains on the lost module's own supply."""

    def shares(*more: str) -> dict[FaultKind, float]:
        codes = [bench.stored(bench.lost_code("engine_control_a")), *(bench.stored(code) for code in more)]
        picture = swept(bench, bench.said(0x760, *codes), bench.said(0x761, *codes))
        judged = assess(picture)
        problem = only(judged)
        cited = [item.text for item in judged.evidence if item.id in problem.evidence]
        assert {f"{code} is stored" for code in more} <= set(cited)
        basis = basis_of(picture)
        trouble = problem.trouble
        assert trouble is not None
        ranked = basis.suspicion.weigh(basis.seen, trouble)
        return {item.fault.kind: item.share for item in reversed(ranked) if item.faults}

    alone, with_bus = shares(), shares("U0001")
    assert with_bus[FaultKind.BUS_OPEN] > 5 * alone[FaultKind.BUS_OPEN]


def test_history_of_a_bus_comes_last_and_comes_and_goes(bench: Bench) -> None:
    """Status 28: confirmed and not failing (ISO 14229-1 Annex D)."""
    problem = only(assess(coded(bench, "U0001", status=0x28)))
    assert "Not failing now: the fault comes and goes" in problem.open_end


@pytest.mark.parametrize("codes", [("U0001",), ("U0028", "U0073-88"), ("U0010", "U0100", "P0615")])
def test_the_vehicle_with_a_reported_bus_can_be(bench: Bench, codes: tuple[str, ...]) -> None:
    profile = basis_of(coded(bench, *codes, request=0x760)).profile
    assert list(contradictions(profile)) == []
