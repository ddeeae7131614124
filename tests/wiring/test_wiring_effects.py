"""What faults of the demo vehicle make it show: silence, testimony, circuit codes."""

from __future__ import annotations

import pytest

from dtctriage.codes.dtc import Dtc
from dtctriage.wiring.effects import Effects, effects
from dtctriage.wiring.faults import Fault, FaultKind, possible_faults
from dtctriage.wiring.power import Wiring
from dtctriage.wiring.profile import Circuit, Key
from dtctriage.wiring.profile_file import parse_profile

OPEN, GROUND, SUPPLY = FaultKind.OPEN, FaultKind.SHORT_TO_GROUND, FaultKind.SHORT_TO_SUPPLY


def silent(shown: Effects) -> set[str]:
    return set(shown.volts) - shown.answering


def losses(shown: Effects) -> set[tuple[str, str]]:
    return {(loss.witness, loss.lost) for loss in shown.losses}


def codes(wiring: Wiring, *faults: Fault) -> set[str]:
    return {str(dtc) for _, dtc in effects(wiring, faults).codes}


def test_a_sound_vehicle_answers_and_reports_nothing(wiring: Wiring) -> None:
    shown = effects(wiring)
    assert not silent(shown) and not shown.losses and not shown.codes
    assert shown.connector_volts == pytest.approx(12.6, abs=0.1)


def test_nobody_judges_partners_with_the_key_off(wiring: Wiring) -> None:
    assert not effects(wiring, key=Key.OFF).losses
    assert not effects(wiring, key=Key.ACCESSORY).losses


def test_a_dead_gateway_silences_its_far_side_whose_modules_still_hear_each_other(wiring: Wiring) -> None:
    shown = effects(wiring, [Fault(FaultKind.MODULE_DEAD, "GW")])
    behind = {m.id for m in wiring.profile.module if m.buses[0] == "BODY"}
    assert silent(shown) == behind | {"GW"}
    assert ("BCM", "IPC") not in losses(shown)
    assert {("BCM", "GW"), ("BCM", "ECM"), ("ECM", "GW"), ("IPC", "ABS")} <= losses(shown)


def test_the_dead_do_not_testify(wiring: Wiring) -> None:
    shown = effects(wiring, [Fault(FaultKind.MODULE_DEAD, "ECM")])
    assert "ECM" not in {witness for witness, _ in losses(shown)}
    listening = {m.id for m in wiring.profile.module if any(h.module == "ECM" for h in m.hears)}
    assert losses(shown) == {(witness, "ECM") for witness in listening}


def test_a_module_that_was_never_fitted_is_missed_by_nobody(wiring: Wiring) -> None:
    shown = effects(wiring, [Fault(FaultKind.NOT_FITTED, "TBC")])
    assert silent(shown) == {"TBC"} and not shown.losses
    assert losses(effects(wiring, [Fault(FaultKind.MODULE_DEAD, "TBC")])) == {("BCM", "TBC")}


def test_a_module_with_too_little_supply_does_not_judge(wiring: Wiring) -> None:
    """Makers' service literature: 10 V or more before a lost-communication code is judged."""
    for fault in possible_faults(wiring.profile):
        shown = effects(wiring, [fault])
        for witness, _ in losses(shown):
            assert shown.volts[witness] >= wiring.profile.module_named(witness).judges_from


def test_only_awake_modules_answer_testify_and_report(wiring: Wiring) -> None:
    for fault in possible_faults(wiring.profile)[::5]:
        shown = effects(wiring, [fault])
        assert shown.answering <= shown.awake
        assert {witness for witness, _ in losses(shown)} <= shown.awake
        assert {module for module, _ in shown.codes} <= shown.awake


# Circuits: which code an open and each short gives ---------------------------------------------------------
# Failure types of SAE J2012-DA: 11 short to ground, 12 short to battery, 13 open. That a driver's own monitor
# tells the three apart: common practice, no source.


def driver_wire(wiring: Wiring, circuit: Circuit) -> str:
    """The wire at the module's driver pin."""
    pin = f"{circuit.module}/{circuit.driver_pin}<"
    return next(p.id for p in wiring.parts.values() if p.id.startswith("wire") and pin in (p.a, p.b))


@pytest.mark.parametrize(
    "name", ["starter relay", "cooling fan relay", "purge valve", "vent valve", "fuel pump"]
)
@pytest.mark.parametrize(("kind", "failure"), [(OPEN, 0x13), (GROUND, 0x11), (SUPPLY, 0x12)])
def test_each_fault_of_a_circuit_gives_the_code_of_its_kind(
    wiring: Wiring, name: str, kind: FaultKind, failure: int
) -> None:
    circuit = next(c for c in wiring.profile.circuit if c.id == name)
    own = {Dtc.parse(t) for t in (circuit.codes.open, circuit.codes.low, circuit.codes.high) if t}
    shown = effects(wiring, [Fault(kind, driver_wire(wiring, circuit))])
    assert {dtc.failure_type for _, dtc in shown.codes} == {failure}
    assert {dtc for _, dtc in shown.codes} <= own
    assert {module for module, _ in shown.codes} == {circuit.module}


@pytest.mark.parametrize("name", ["starter relay", "fuel pump"])
def test_an_open_load_and_an_open_pin_look_the_same(wiring: Wiring, name: str) -> None:
    circuit = next(c for c in wiring.profile.circuit if c.id == name)
    assert circuit.codes.open is not None
    for part in (f"{name} load", f"pin {circuit.driver_through[0]}"):
        assert codes(wiring, Fault(OPEN, part)) == {circuit.codes.open}


def test_a_fuse_that_feeds_several_circuits_opens_them_all(wiring: Wiring) -> None:
    fed = {c.codes.open for c in wiring.profile.circuit if c.feed and c.feed.source == "S102"}
    assert len(fed) == 4
    assert codes(wiring, Fault(OPEN, "F23")) == fed


def test_a_weak_feed_of_a_high_side_driver_is_no_short(wiring: Wiring) -> None:
    """The driver's current counts, not how far its pin is below the battery."""
    for at in ("pin X301:1", "pin FPC/C1:1"):
        assert codes(wiring, Fault(FaultKind.HIGH_RESISTANCE, at)) == set()


def test_a_dead_module_reports_no_circuit(wiring: Wiring) -> None:
    both = (Fault(FaultKind.MODULE_DEAD, "FPC"), Fault(OPEN, "fuel pump load"))
    assert codes(wiring, *both) == set()


SMALL = """format = 1
vehicle = { make = "Ostrell", model = "Small" }
fuse = [{ id = "F", from = "battery", rating = 10 }]
ground = [{ id = "G" }]
connector = [{ id = "X" }]
[[module]]
id = "M"
role = ""
request = 0x700
answer = 0x708
buses = ["B"]
supply = [{ from = "F", pin = "C:1" }]
ground = [{ ground = "G", pin = "C:2" }]
[[bus]]
id = "B"
line = ["M"]
terminated_in = ["M", "M"]
at_connector = "M"
[[circuit]]
id = "lamp"
module = "M"
driver = "high side"
driver_pin = "C:3"
driver_through = ["X:1"]
ground = "G"
ground_through = ["X:2"]
load = { name = "lamp", ohms = 10 }
codes = { open = "B1234-13", high = "B1234-12" }
"""


def test_a_circuit_without_a_code_for_a_fault_stays_quiet_about_it() -> None:
    wiring = Wiring(parse_profile(SMALL, "small"))
    assert codes(wiring, Fault(GROUND, "wire M/C:3< > X:1")) == set()
    assert codes(wiring, Fault(OPEN, "pin X:1")) == {"B1234-13"}
    assert codes(wiring, Fault(OPEN, "pin X:2")) == {"B1234-13"}
    assert codes(wiring, Fault(SUPPLY, "wire M/C:3< > X:1")) == {"B1234-12"}
