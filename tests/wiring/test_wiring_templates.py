"""Generic circuits: sound they set no code and read as the trade says; broken they set what is told of them.

Figures marked COMMON are common practice, no source: relay coil 50-120 ohm, injector 11-16 ohm (high
impedance), coolant thermistor 2-3 kohm at 20 degC, 5 V reference 4.9-5.1 V, sensor window 0.5-4.5 V.
"""

from __future__ import annotations

from typing import Any

import pytest

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.meaning import meaning
from dtctriage.wiring.bench import Means, Probe, Setup
from dtctriage.wiring.circuit_tables import Subject, circuit_tables, ignition, merged
from dtctriage.wiring.contradictions import contradictions
from dtctriage.wiring.effects import effects
from dtctriage.wiring.entered import NOTHING, Entered, parse_line
from dtctriage.wiring.faults import Fault, FaultKind, possible_faults
from dtctriage.wiring.meter import Bench
from dtctriage.wiring.parts import PartKind
from dtctriage.wiring.power import Wiring
from dtctriage.wiring.profile import Key, Profile
from dtctriage.wiring.templates import HAZARD, findings_of, template_for
from dtctriage_reference import rows

OPEN, LOW, HIGH = "P1001", "P1002", "P1003"
ALL = {"open": OPEN, "low": LOW, "high": HIGH}
EXAMPLES = {
    "relay": "starter relay",
    "solenoid": "evaporative purge valve",
    "injector": "injector",
    "heater": "oxygen sensor heater",
    "motor": "throttle actuator motor",
    "three_wire_sensor": "manifold or barometric pressure sensor",
    "thermistor": "engine coolant temperature sensor",
    "switch_input": "brake pedal switch",
    "module_supply": "engine module power input",
    "contactor": "hybrid battery positive contactor",
}
MEASURED = [name for name in EXAMPLES if name != "contactor"]


def vehicle(name: str, codes: dict[str, str] | None = None, entered: Entered = NOTHING) -> Profile:
    """One module with the circuit of a template."""
    template = template_for(EXAMPLES[name])
    assert template is not None
    found = codes if codes is not None else usual(name)
    tables = circuit_tables(Subject("part", "ECM", found), template, entered)
    module = {"id": "ECM", "role": "", "request": 0x7E0, "buses": ["PT"]}
    bus = {"id": "PT", "line": ["ECM"], "terminated_in": ["ECM", "ECM"], "at_connector": "ECM"}
    parts = merged(ignition(), tables, {"module": [module], "bus": [bus]})
    return Profile.model_validate({"format": 1, "vehicle": {"make": "m", "model": "o"}} | parts)


def usual(name: str) -> dict[str, str]:
    """The codes that the template's part can have at rest."""
    return {"low": LOW} if name in ("switch_input", "module_supply") else ALL


def stored(profile: Profile, *faults: Fault) -> set[str]:
    return {str(dtc) for _, dtc in effects(Wiring(profile), faults).codes}


def fault(profile: Profile, kind: FaultKind, part: PartKind, near: str = "") -> Fault:
    """The fault of a kind at the first part of a kind whose id names something."""
    parts = Wiring(profile).parts
    for item in possible_faults(profile):
        found = parts.get(item.at)
        if item.kind is kind and found is not None and found.kind is part and near in item.at:
            return item
    raise AssertionError(f"no {kind} of a {part} near {near!r}")


def test_every_template_has_an_example_here() -> None:
    assert set(EXAMPLES) == {row["template"] for row in rows("circuit_templates")}


@pytest.mark.parametrize("name", MEASURED)
def test_a_template_is_a_profile_without_contradictions(name: str) -> None:
    assert list(contradictions(vehicle(name))) == []


@pytest.mark.parametrize("name", MEASURED)
@pytest.mark.parametrize("key", list(Key))
def test_the_sound_circuit_sets_no_code(name: str, key: Key) -> None:
    assert effects(Wiring(vehicle(name)), (), key).codes == frozenset()


S2G, S2B = FaultKind.SHORT_TO_GROUND, FaultKind.SHORT_TO_SUPPLY


@pytest.mark.parametrize(
    ("names", "kind", "part", "near", "code"),
    [
        (("relay", "solenoid", "injector", "heater"), FaultKind.OPEN, PartKind.LOAD, "", OPEN),
        (("relay", "solenoid", "injector", "heater"), FaultKind.OPEN, PartKind.FUSE, "", OPEN),
        (("relay", "solenoid", "injector", "heater"), FaultKind.OPEN, PartKind.TERMINAL, "driven", OPEN),
        (("relay", "solenoid", "injector", "heater"), S2G, PartKind.WIRE, "driven > ECM", LOW),
        (("relay", "solenoid", "injector", "heater"), S2B, PartKind.WIRE, "driven > ECM", HIGH),
        (("motor",), FaultKind.OPEN, PartKind.LOAD, "", OPEN),
        (("motor",), S2G, PartKind.WIRE, "plug:first", LOW),
        (("motor",), S2B, PartKind.WIRE, "plug:first", HIGH),
        (("three_wire_sensor",), FaultKind.OPEN, PartKind.WIRE, "signal", LOW),
        (("three_wire_sensor",), FaultKind.OPEN, PartKind.WIRE, "supply", LOW),
        (("three_wire_sensor",), FaultKind.OPEN, PartKind.WIRE, "return", HIGH),
        (("three_wire_sensor",), S2G, PartKind.WIRE, "signal", LOW),
        (("three_wire_sensor",), S2B, PartKind.WIRE, "signal", HIGH),
        (("thermistor",), FaultKind.OPEN, PartKind.SENSOR, "", HIGH),
        (("thermistor",), FaultKind.OPEN, PartKind.TERMINAL, "signal", HIGH),
        (("thermistor",), FaultKind.OPEN, PartKind.WIRE, "return", HIGH),
        (("thermistor",), S2G, PartKind.WIRE, "signal", LOW),
        (("thermistor",), S2B, PartKind.WIRE, "signal", HIGH),
        (("switch_input",), FaultKind.OPEN, PartKind.SENSOR, "", LOW),
        (("switch_input", "module_supply"), FaultKind.OPEN, PartKind.FUSE, "", LOW),
        (("module_supply",), FaultKind.OPEN, PartKind.COIL, "", LOW),
        (("module_supply",), FaultKind.OPEN, PartKind.CONTACT, "", LOW),
    ],
)
def test_each_fault_sets_the_code_of_its_finding(
    names: tuple[str, ...], kind: FaultKind, part: PartKind, near: str, code: str
) -> None:
    for name in names:
        profile = vehicle(name)
        assert stored(profile, fault(profile, kind, part, near)) == {code}, name


def test_a_switch_told_too_high_is_taken_as_open_at_rest() -> None:
    profile = vehicle("switch_input", {"high": HIGH})
    assert stored(profile) == set()
    assert stored(profile, fault(profile, S2B, PartKind.WIRE, "signal")) == {HIGH}


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [("relay", 50, 120), ("injector", 11, 16), ("thermistor", 2_000, 3_000)],
)
def test_resistances_of_the_trade(name: str, low: float, high: float) -> None:
    """COMMON."""
    template = template_for(EXAMPLES[name])
    assert template is not None and (template.low, template.high) == (low, high)
    profile = vehicle(name)
    part = profile.circuit[0].load if profile.circuit else profile.sensor[0]
    share = part.tolerance / 100
    assert part.ohms * (1 - share) == pytest.approx(low, rel=1e-3)
    assert part.ohms * (1 + share) == pytest.approx(high, rel=1e-3)
    assert part.basis == "common practice, no source"


@pytest.mark.parametrize("name", ["three_wire_sensor", "thermistor"])
def test_a_sound_sensor_reads_within_the_window(name: str) -> None:
    """COMMON: 0.5-4.5 V; codes below about 0.2 V and above about 4.8 V."""
    profile = vehicle(name)
    bench = Bench(Wiring(profile))
    (volts,) = bench.readings(Probe(Means.VOLTS, "ECM/plug:signal<"), [()])
    assert 0.5 <= volts <= 4.5
    sensor = profile.sensor[0]
    assert (sensor.low_below, sensor.high_above) == (0.2, 4.8)


def test_the_reference_is_five_volts() -> None:
    """COMMON: 4.9-5.1 V, at the sensor's plug with the sensor unplugged."""
    bench = Bench(Wiring(vehicle("three_wire_sensor")))
    unplugged = Setup(off=frozenset({"part upper", "part lower"}))
    (volts,) = bench.readings(Probe(Means.VOLTS, "part+", setup=unplugged), [()])
    assert 4.9 <= volts <= 5.1


@pytest.mark.parametrize("name", ["relay", "solenoid", "injector", "heater"])
def test_a_low_side_circuit_at_rest_has_battery_voltage_on_both_wires(name: str) -> None:
    """Makers' service literature: a circuit drops 0.5 V or less."""
    bench = Bench(Wiring(vehicle(name)))
    for node in ("part+", "part-"):
        (volts,) = bench.readings(Probe(Means.VOLTS, node), [()])
        assert volts == pytest.approx(12.6, abs=0.5)


@pytest.mark.parametrize(
    ("code", "shape", "findings"),
    [
        # A code's own kind.
        ("P0616", "low side", ("open", "low")),
        ("P0617", "low side", ("high",)),
        ("P0615", "low side", ("open", "low", "high")),
        ("P0118", "two-wire", ("high",)),
        ("P0117", "two-wire", ("low",)),
        # The failure type byte tells more (SAE J2012-DA: 11 to ground, 12 to battery, 13 open).
        ("P0615-11", "low side", ("low",)),
        ("P0615-12", "low side", ("high",)),
        ("P0615-13", "low side", ("open",)),
        # Nothing that a circuit at rest shows.
        ("P0116", "two-wire", ()),
        ("P0301", "low side", ()),
    ],
)
def test_what_a_code_can_stand_for(code: str, shape: str, findings: tuple[str, ...]) -> None:
    dtc = Dtc.parse(code)
    assert findings_of(dtc, meaning(dtc).kind, shape) == findings


@pytest.mark.parametrize(
    "subject",
    [
        "catalyst efficiency",  # no circuit at all
        "knock sensor",  # no template for its kind
        "intake air flow sensor",  # three wires, but fed with battery voltage
        "fuel pump primary",  # a motor, but not held between two pins of its module
        "exhaust gas temperature sensor",  # not of kilohms
        "driver front airbag igniter",  # never measured
        "no such subject",
    ],
)
def test_no_template_is_made_up(subject: str) -> None:
    assert template_for(subject) is None


def test_at_a_contactor_nobody_measures() -> None:
    template = template_for(EXAMPLES["contactor"])
    assert template is not None and template.shape == HAZARD
    assert circuit_tables(Subject("part", "ECM", ALL), template) == {}


def test_the_diagram_takes_the_place_of_what_is_assumed() -> None:
    line = (
        "pin=C2:12 colour=white/blue connector=X5:3 fuse=F12:15A hot=always supplycolour=red relay=K4 "
        "plug=1,2 ohms=88 place='relay box' hidden=X5"
    )
    profile: Any = vehicle("relay", ALL, parse_line(line))
    assert list(contradictions(profile)) == []
    (circuit,) = profile.circuit
    assert (circuit.driver_pin, circuit.driver_wire, circuit.driver_through) == (
        "C2:12",
        "white/blue",
        ("X5:3",),
    )
    assert (circuit.load.ohms, circuit.load.pins, circuit.load.place) == (88, ("1", "2"), "relay box")
    assert [(fuse.id, fuse.rating, fuse.source) for fuse in profile.fuse] == [("F12", 15.0, "K4")]
    assert [(relay.id, relay.coil.source) for relay in profile.relay] == [("K4", "battery")]
    assert {item.id: item.minutes for item in profile.connector} == {"X5": 45.0}
    assert profile.fuse[0].title == "fuse F12 (15 A)"
