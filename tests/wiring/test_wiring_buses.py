"""Who hears whom: breaks, shorts, branches and gateways, and what an ohmmeter shows of a pair."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from dtctriage.wiring.bench import Means, Probe, Setup
from dtctriage.wiring.buses import TOOL, PairMeter, Reach, bus_node, bus_place, working_stretches
from dtctriage.wiring.faults import Fault, FaultKind, branch, section, sections_of
from dtctriage.wiring.network import REFERENCE
from dtctriage.wiring.profile import Profile
from dtctriage.wiring.profile_file import parse_profile

SHORTED = FaultKind.BUS_SHORTED
OPEN = FaultKind.BUS_OPEN
OFF = FaultKind.OFF_THE_BUS

DAISY = """format = 1
vehicle = { make = "Ostrell", model = "Daisy" }
connector = [{ id = "X1" }, { id = "X2" }]
[[module]]
id = "A"
role = "engine_control_a"
request = 0x7E0
buses = ["one"]
[[module]]
id = "G"
role = "gateway_a"
request = 0x716
answer = 0x71E
buses = ["one", "two", "three"]
[[module]]
id = "B"
role = "body_control"
request = 0x726
answer = 0x72E
buses = ["two"]
[[module]]
id = "H"
role = "gateway_b"
request = 0x717
answer = 0x71F
buses = ["three", "four"]
[[module]]
id = "C"
role = "radio"
request = 0x7A0
answer = 0x7A8
buses = ["four"]
[[bus]]
id = "one"
line = ["A", "X1", "G"]
terminated_in = ["A", "G"]
at_connector = "X1"
[[bus]]
id = "two"
line = ["B", "G"]
terminated_in = ["B", "G"]
[[bus]]
id = "three"
line = ["H", "G"]
terminated_in = ["H", "G"]
[[bus]]
id = "four"
line = ["C", "X2", "H"]
terminated_in = ["C", "H"]
[[gateway]]
module = "G"
joins = ["one", "two", "three"]
[[gateway]]
module = "H"
joins = ["three", "four"]
"""


@pytest.fixture(scope="module")
def daisy() -> Profile:
    """Four buses in a tree of two gateways."""
    return parse_profile(DAISY, "daisy")


def reach(profile: Profile, *faults: Fault, asleep: frozenset[str] = frozenset()) -> Reach:
    awake = frozenset(module.id for module in profile.module) - asleep
    return Reach(profile, working_stretches(profile, faults, awake))


def reached(profile: Profile, *faults: Fault, asleep: frozenset[str] = frozenset()) -> set[str]:
    found = reach(profile, *faults, asleep=asleep)
    return {module.id for module in profile.module if found.tool_reaches(module.id)}


def test_everybody_is_reached_through_two_gateways(daisy: Profile) -> None:
    assert reached(daisy) == {"A", "G", "B", "H", "C"}
    assert reach(daisy).hears("A", "C", None) and reach(daisy).hears("C", "A", None)


def test_messages_of_another_bus_are_not_heard_on_this_one(daisy: Profile) -> None:
    assert not reach(daisy).hears("A", "B", "one")


@pytest.mark.parametrize(
    ("asleep", "left"),
    [
        ("G", {"A"}),
        ("H", {"A", "G", "B"}),
        ("B", {"A", "G", "H", "C"}),
    ],
)
def test_a_dead_gateway_silences_all_that_is_behind_it(daisy: Profile, asleep: str, left: set[str]) -> None:
    assert reached(daisy, asleep=frozenset({asleep})) == left


def test_a_gateway_cut_off_one_bus_still_joins_the_others(daisy: Profile) -> None:
    cut = Fault(OFF, branch("G", "two"))
    assert reached(daisy, cut) == {"A", "G", "H", "C"}
    assert not reach(daisy, cut).hears("B", "A", None)


def test_a_shorted_bus_is_dead_and_what_is_behind_it_is_cut_off(daisy: Profile) -> None:
    assert reached(daisy, Fault(SHORTED, "three")) == {"A", "G", "B"}
    assert reached(daisy, Fault(SHORTED, "one")) == set()
    assert reach(daisy, Fault(SHORTED, "one")).hears("B", "C", None)


def test_a_break_leaves_each_part_its_one_termination(daisy: Profile) -> None:
    """Common practice, no source: a short line works with one termination of two."""
    broken = Fault(OPEN, section("one", "A", "X1"))
    assert reached(daisy, broken) == {"G", "B", "H", "C"}
    assert not reach(daisy, broken).hears("A", "G", None)


def test_a_part_between_two_breaks_has_no_termination_and_does_not_work(kavo: Profile) -> None:
    both = (Fault(OPEN, section("PT", "TCM", "ABS")), Fault(OPEN, section("PT", "X202", "GSM")))
    assert {"ABS", "EPS", "SAS"}.isdisjoint(reached(kavo, *both))
    stations = [stretch.stations for stretch in working_stretches(kavo, both, frozenset({"ABS", "ECM"}))]
    assert not any("ABS" in each or TOOL in each for each in stations)


def test_every_break_of_the_connectors_bus_parts_it_in_two(kavo: Profile) -> None:
    bus = kavo.bus[0]
    for first, second in sections_of(bus):
        place = bus.line.index(second)
        tool_side = bus.line[place:] if bus.line.index("X202") >= place else bus.line[:place]
        answering = reached(kavo, Fault(OPEN, section("PT", first, second)))
        on_pt = {m.id for m in kavo.module if m.buses[0] == "PT"}
        assert answering & on_pt == on_pt & set(tool_side)
        assert ("BCM" in answering) is ("GW" in tool_side)


def test_a_module_on_two_buses_is_diagnosed_on_its_first(kavo: Profile) -> None:
    assert "GSM" in reached(kavo, Fault(OFF, branch("GSM", "PT")))
    assert "GSM" not in reached(kavo, Fault(OFF, branch("GSM", "BODY")))
    cut = reach(kavo, Fault(OFF, branch("GSM", "PT")))
    assert not cut.hears("ECM", "GSM", "PT") and cut.hears("IPC", "GSM", "BODY")


# What an ohmmeter shows, power off (ISO 11898-2: 120 ohm at each end; makers' service literature:
# 60 ohm with both, 120 ohm with one missing, 0 ohm with the wires shorted together) ------------------------


@pytest.mark.parametrize(
    ("fault", "station", "unplugged", "shown"),
    [
        (Fault(FaultKind.MODULE_DEAD, "ABS"), "X202", False, "60"),
        (Fault(SHORTED, "PT"), "X202", False, "0"),
        (Fault(SHORTED, "BODY"), "X202", False, "60"),
        (Fault(OPEN, section("PT", "ABS", "EPS")), "X202", False, "120"),
        (Fault(OPEN, section("PT", "ABS", "EPS")), "ABS", False, "120"),
        (Fault(OFF, branch("ECM", "PT")), "X202", False, "120"),
        (Fault(OFF, branch("ABS", "PT")), "ABS", True, "open"),
        (Fault(OFF, branch("ABS", "PT")), "EPS", True, "60"),
        (Fault(FaultKind.MODULE_DEAD, "ECM"), "ECM", True, "120"),
        (Fault(FaultKind.NOT_FITTED, "GW"), "X202", False, "120"),
        (Fault(OPEN, section("PT", "ECM", "X101")), "ECM", True, "open"),
    ],
)
def test_resistance_of_a_pair(kavo: Profile, fault: Fault, station: str, unplugged: bool, shown: str) -> None:
    ohms = {"60": 60.0, "120": 120.0, "0": pytest.approx(0, abs=1), "open": math.inf}[shown]
    assert pair_reading(kavo, Means.OHMS, station, fault, unplugged) == ohms


def pair_reading(kavo: Profile, means: Means, station: str, fault: Fault, unplugged: bool = False) -> float:
    high, low = bus_node("PT", "H", station), bus_node("PT", "L", station)
    setup = Setup(off=frozenset({station} if unplugged else ()), battery=means is Means.VOLTS)
    probe = Probe(means, high, low if means is Means.OHMS else REFERENCE, setup)
    place = bus_place(kavo, high)
    assert place is not None
    return float(PairMeter(kavo, place).readings(probe, [[fault]])[0])


def test_a_missing_termination_leaves_one(kavo: Profile) -> None:
    """Makers' service literature: 120 ohm with one of two terminations missing."""
    fault = Fault(FaultKind.TERMINATION_MISSING, "PT:ECM")
    assert pair_reading(kavo, Means.OHMS, "X202", fault) == 120
    assert reached(kavo, fault) == reached(kavo)


@pytest.mark.parametrize(
    ("kind", "volts"),
    [(FaultKind.BUS_TO_GROUND, 0.0), (FaultKind.BUS_TO_SUPPLY, 12.6), (FaultKind.BUS_SHORTED, 2.5)],
)
def test_volts_of_a_pair_at_rest(kavo: Profile, kind: FaultKind, volts: float) -> None:
    """Recessive about 2.5 V (transceiver data sheets); shorted 0 V or supply (common practice, no source)."""
    fault = Fault(kind, "PT")
    assert pair_reading(kavo, Means.VOLTS, "X202", fault) == volts
    assert "ECM" not in reached(kavo, fault)


def test_names_that_are_no_wire_of_a_pair(kavo: Profile) -> None:
    for name in ("F21", "PT/H@nowhere", "XX/H@ECM", "PT/M@ECM", "ECM/C1:1"):
        assert bus_place(kavo, name) is None


def changed(demo: Path, old: str, new: str) -> Profile:
    text = (demo / "kavo.vehicle.toml").read_text(encoding="utf-8")
    assert old in text
    return parse_profile(text.replace(old, new, 1), "changed")


def test_a_bus_is_measured_with_its_own_terminations(demo: Path) -> None:
    """Two equal resistors in parallel give half of one."""
    profile = changed(demo, 'terminated_in = ["', 'termination_ohms = 100\nterminated_in = ["')
    bus = next(item for item in profile.bus if item.termination_ohms == 100)
    high, low = (bus_node(bus.id, wire, bus.line[0]) for wire in ("H", "L"))
    place = bus_place(profile, high)
    assert place is not None
    probe = Probe(Means.OHMS, high, low, Setup(battery=False))
    missing = Fault(FaultKind.TERMINATION_MISSING, f"{bus.id}:{bus.ends[0]}")
    assert list(PairMeter(profile, place).readings(probe, [(), (missing,)])) == [50, 100]


def test_a_wire_on_battery_plus_shows_the_batterys_voltage(demo: Path) -> None:
    profile = changed(demo, "nominal_volts = 12", "nominal_volts = 24")
    place = bus_place(profile, bus_node("PT", "H", "ECM"))
    assert place is not None
    battery = profile.battery.model_copy(update={"volts": 25.2})
    meter = PairMeter(profile.model_copy(update={"battery": battery}), place)
    probe = Probe(Means.VOLTS, bus_node("PT", "H", "ECM"))
    assert list(meter.readings(probe, [(Fault(FaultKind.BUS_TO_SUPPLY, "PT"),), ()])) == [25.2, 2.5]
