"""What is offered to be measured: where, with which limit, and never where it can hurt."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from dtctriage.triage.assess import assess
from dtctriage.triage.checks import battery_offer, key_offer, supply_offers
from dtctriage.triage.choose import Offer
from dtctriage.triage.circuit_checks import offers_at
from dtctriage.triage.hazards import AIRBAG_CAUTION, is_airbag, off_limits
from dtctriage.triage.model import Assessment
from dtctriage.triage.readings import reading_words
from dtctriage.triage.suspicion import Suspicion
from dtctriage.wiring.bench import Means
from dtctriage.wiring.faults import Fault, FaultKind, branch, possible_faults
from dtctriage.wiring.network import REFERENCE
from dtctriage.wiring.power import Wiring
from dtctriage.wiring.profile import Profile
from dtctriage.wiring.profile_file import parse_profile

Bench = Any
LAMP = Means.LAMP
SHORT_TO_ECM = Fault(FaultKind.SHORT_TO_GROUND, "wire X101:1 > ECM/C1:1<")


def everything(profile: Profile) -> frozenset[str]:
    """Every place under suspicion."""
    return frozenset(fault.at for fault in possible_faults(profile))


HYBRID = """
[[module]]
id = "INV"
name = "inverter"
role = "drive_motor_control_a"
request = 0x7E5
buses = ["PT"]
supply = [{ from = "F22", through = ["X900:1"], pin = "C1:1" }]
ground = [{ ground = "G301", pin = "C1:2" }]
hears = ["ECM@PT"]
high_voltage = true
starts = true

[[connector]]
id = "X900"

[[connector]]
id = "X901"

[[circuit]]
id = "contactor"
name = "main contactor"
module = "INV"
driver = "low side"
driver_pin = "C1:9"
driver_through = ["X901:1"]
feed = { from = "F22", through = ["X901:2"] }
load = { name = "main contactor coil", ohms = 30, place = "battery pack" }
codes = { open = "P0AA1-13", low = "P0AA1-11", high = "P0AA1-12" }
high_voltage = true

[[circuit]]
id = "coolant pump"
module = "INV"
driver = "low side"
driver_pin = "C1:10"
feed = { from = "F22" }
load = { name = "coolant pump", ohms = 10, place = "front end" }
codes = { open = "P0A06-13", low = "P0A06-11", high = "P0A06-12" }

[[circuit]]
id = "igniter"
module = "SRS"
driver = "low side"
driver_pin = "C9:1"
feed = { from = "F11" }
load = { name = "steering wheel igniter", ohms = 2, place = "steering wheel" }
codes = { open = "B0001-13" }
"""


@pytest.fixture(scope="module")
def hybrid(demo: Path) -> Suspicion:
    """The demo vehicle with an inverter, a contactor and an igniter circuit."""
    text = (demo / "kavo.vehicle.toml").read_text(encoding="utf-8")
    text = text.replace('"AWD", "GW"]', '"AWD", "INV", "GW"]', 1) + HYBRID
    text = text.replace(
        "nominal_volts = 12\n", 'nominal_volts = 12\n\n[high_voltage]\nvolts = 360\nwhere = "floor"\n'
    )
    return Suspicion(Wiring(parse_profile(text, "hybrid")))


def all_offers(wiring: Wiring) -> list[Offer]:
    profile = wiring.profile
    offers = [key_offer(), battery_offer(profile), *supply_offers(wiring, everything(profile))]
    for circuit in profile.circuit:
        offers += offers_at(profile, circuit)
    return offers


def judged_with(bench: Bench, suspicion: Suspicion, *faults: Fault) -> Assessment:
    """A sweep of another vehicle, seen with the bench's eyes."""
    other = type(bench)(suspicion.wiring.profile)
    return assess(other.picture(*faults), suspicion)


# High voltage ----------------------------------------------------------------------------------------------


def test_nothing_is_measured_at_a_high_voltage_module_or_circuit(hybrid: Suspicion) -> None:
    for offer in all_offers(hybrid.wiring):
        for word in ("INV", "contactor", "coolant pump", "X901", "inverter"):
            assert word not in offer.what and word not in offer.where, offer.what


def test_the_twelve_volt_side_before_it_may_be_measured(hybrid: Suspicion) -> None:
    told = [offer.what for offer in all_offers(hybrid.wiring)]
    assert any("fuse F22" in what for what in told) and any("connector X900" in what for what in told)


@pytest.mark.parametrize(
    "fault",
    [
        Fault(FaultKind.MODULE_DEAD, "INV"),
        Fault(FaultKind.OPEN, "contactor load"),
        Fault(FaultKind.OPEN, "coolant pump load"),
        Fault(FaultKind.OPEN, "F22"),
    ],
)
def test_a_problem_on_the_high_voltage_side_begins_with_the_hazard(
    bench: Bench, hybrid: Suspicion, fault: Fault
) -> None:
    judged = judged_with(bench, hybrid, fault)
    problem = next(p for p in judged.problems if "INV" in p.modules)
    assert problem.checks[0].what.startswith("leave the high-voltage side to a qualified person")
    assert (problem.checks[0].where, problem.checks[0].caution) == ("floor", "High voltage can kill.")
    assert all("INV" not in check.what and "contactor" not in check.what for check in problem.checks)
    assert any(caution.startswith("High voltage (360 V, floor)") for caution in judged.cautions)


def test_every_single_fault_of_it_keeps_away_from_high_voltage(bench: Bench, hybrid: Suspicion) -> None:
    other = type(bench)(hybrid.wiring.profile)
    near = [
        f
        for f in possible_faults(other.profile)
        if any(w in f.at for w in ("INV", "contactor", "F22", "X90"))
    ]
    assert len(near) > 20
    for fault in near:
        for problem in other.problems(other.picture(fault)):
            assert all("INV" not in check.what and "contactor" not in check.what for check in problem.checks)


# Airbags ---------------------------------------------------------------------------------------------------


def test_airbag_modules_are_known_by_their_role(bench: Bench) -> None:
    assert [module.id for module in bench.profile.module if is_airbag(module)] == ["SRS"]


def test_nobody_is_sent_to_a_plug_that_feeds_airbags(hybrid: Suspicion) -> None:
    """Common practice, no source: with the battery on, such a plug is not touched."""
    told = [f"{offer.what}, {offer.where}" for offer in all_offers(hybrid.wiring)]
    assert not any(word in text for text in told for word in ("SRS", "igniter", "steering wheel", "X201"))
    assert any("connector X401" in text for text in told)


def test_no_ohmmeter_behind_a_fuse_that_feeds_airbags(bench: Bench) -> None:
    pulled = {
        offer.what.split()[2]
        for offer in supply_offers(bench.suspicion.wiring, everything(bench.suspicion.wiring.profile))
        if "and measure" in offer.what
    }
    assert {"F11", "F3", "FL1"}.isdisjoint(pulled) and {"F21", "F31"} <= pulled


def test_a_connector_is_measured_on_the_pins_under_suspicion_alone(bench: Bench) -> None:
    wiring = bench.suspicion.wiring
    told = [offer for offer in supply_offers(wiring, {"pin X101:5", "F21"}) if "connector" in offer.what]
    assert [offer.what for offer in told] == [
        "back-probe connector X101 on both sides of pin 5",
        "open connector X101 and look at pin 5",
    ]
    assert [len(offer.probes) for offer in told] == [1, 1]


def test_igniter_circuits_are_off_limits(hybrid: Suspicion) -> None:
    profile = hybrid.wiring.profile
    closed = {circuit.id for circuit in profile.circuit if off_limits(profile, circuit)}
    assert closed == {"contactor", "coolant pump", "igniter"}


def test_a_silent_airbag_module_is_left_to_whoever_is_trained_for_it(bench: Bench) -> None:
    for fault in (Fault(FaultKind.MODULE_DEAD, "SRS"), Fault(FaultKind.OFF_THE_BUS, branch("SRS", "PT"))):
        judged = bench.assess(bench.picture(fault))
        (problem,) = judged.problems
        at_it = [check for check in problem.checks if "SRS" in check.what]
        assert [(check.what, check.caution, check.probes) for check in at_it] == [
            ("leave the plug of SRS and its wires to a person trained for airbags", AIRBAG_CAUTION, ())
        ]
        assert problem.checks[-1] == at_it[0]
    assert any(caution.startswith("Airbags") for caution in judged.cautions)


def test_no_test_lamp_is_proposed_on_a_modules_pin(bench: Bench) -> None:
    """Makers' service literature: a lamp draws enough to damage module outputs. It goes on a feed wire, with
    the module's side unplugged."""
    profile: Profile = bench.profile
    at_module = [o for c in profile.circuit for o in offers_at(profile, c) if "back-probe" in o.what]
    assert at_module and all("no test lamp" in offer.caution for offer in at_module)
    lamps = [
        (offer, p) for offer in all_offers(bench.suspicion.wiring) for p in offer.probes if p.means is LAMP
    ]
    assert lamps
    for offer, probe in lamps:
        assert probe.plus.endswith("+") and probe.minus == REFERENCE and probe.setup.off
        assert "feed wire" in offer.what and "feed wire only" in offer.caution


# Readings --------------------------------------------------------------------------------------------------


def reading(bench: Bench, text: str, fault: Fault | None) -> list[str]:
    """What a check shows, in words."""
    (offer,) = [offer for offer in all_offers(bench.suspicion.wiring) if text in offer.what]
    case = () if fault is None else (fault,)
    values = bench.suspicion.bench.survey(offer.probes, [case])
    return [reading_words(probe, float(value[0])) for probe, value in zip(offer.probes, values, strict=True)]


@pytest.mark.parametrize(
    ("check", "fault", "shown"),
    [
        ("measure fuse F11 ", None, ["12.4 V", "12.4 V"]),
        ("measure fuse F11 ", Fault(FaultKind.OPEN, "F11"), ["12.5 V", "0.0 V"]),
        ("measure fuse F11 ", Fault(FaultKind.OPEN, "F3"), ["0.0 V", "0.0 V"]),
        ("measure relay K1 ", Fault(FaultKind.OPEN, "K1 contact"), ["12.6 V", "0.0 V", "12.5 V", "0.0 V"]),
        ("measure relay K1 ", Fault(FaultKind.OPEN, "F10"), ["12.6 V", "0.0 V", "0.0 V", "0.0 V"]),
        ("listen to relay K1 ", None, ["click"]),
        ("listen to relay K1 ", Fault(FaultKind.OPEN, "F10"), ["no click"]),
        ("listen to relay K1 ", Fault(FaultKind.OPEN, "K1 contact"), ["click"]),
        ("pull fuse F21 (15 A) and look", Fault(FaultKind.OPEN, "F21"), ["bad"]),
        ("pull fuse F21 (15 A) and look", SHORT_TO_ECM, ["bad"]),
        ("pull fuse F21 (15 A) and look", Fault(FaultKind.OPEN, "F3"), ["sound"]),
        ("pull fuse F21 and measure", SHORT_TO_ECM, ["0.0548 ohm"]),
        ("pull fuse F23 and measure", SHORT_TO_ECM, ["2.51 kohm"]),
        ("turn the key", Fault(FaultKind.KEY_POSITION, "off"), ["answers"]),
        ("turn the key", Fault(FaultKind.MODULE_ASLEEP, "BCM"), ["answers"]),
        ("turn the key", Fault(FaultKind.MODULE_DEAD, "BCM"), ["silent"]),
        ("from ground G203 ", None, ["0.0 V"]),
        ("from ground G203 ", Fault(FaultKind.HIGH_RESISTANCE, "G203"), ["9.4 V"]),
        ("of bus PT (pins 6 and 14)", Fault(FaultKind.BUS_SHORTED, "PT"), ["0.5 ohm"]),
        ("of bus PT (pins 6 and 14)", Fault(FaultKind.OFF_THE_BUS, "ECM@PT"), ["120 ohm"]),
        ("bus PT at the plug of ABS", Fault(FaultKind.OFF_THE_BUS, "ABS@PT"), ["OL"]),
        ("resistance of the fuel pump", Fault(FaultKind.OPEN, "fuel pump load"), ["OL"]),
        ("resistance of the fuel pump", Fault(FaultKind.OPEN, "pin X301:7"), ["1.2 ohm"]),
    ],
)
def test_what_a_check_reads(bench: Bench, check: str, fault: Fault | None, shown: list[str]) -> None:
    assert reading(bench, check, fault) == shown


def test_every_offer_says_what_to_expect_where_and_on_whose_word(bench: Bench) -> None:
    for offer in all_offers(bench.suspicion.wiring):
        assert offer.what and offer.where and offer.condition and offer.expect and offer.source
        assert 0 < offer.minutes <= 60


def test_the_checks_of_a_fuse_problem_begin_at_the_fuse_and_cost_its_minutes(bench: Bench) -> None:
    (problem,) = bench.problems(bench.picture(Fault(FaultKind.OPEN, "F21")))
    first = problem.checks[0]
    assert first.what.startswith("measure fuse F21") and first.minutes == 1
    assert "0.1 V" in first.expect


# A module that comes and goes ------------------------------------------------------------------------------


def test_who_is_only_unsteady_is_called_again_first(bench: Bench) -> None:
    seen = bench.picture()
    said = next(iter(seen.modules.values()))
    said.answered, said.asked, seen.rounds = 2, 3, 3
    (problem,) = bench.assess(seen).problems
    assert problem.checks[0].what.startswith("call the roll 10 times more")
    said.answered, said.asked, seen.rounds = 8, 12, 12
    (problem,) = bench.assess(seen).problems
    assert not any("call the roll 10 times" in check.what for check in problem.checks)
