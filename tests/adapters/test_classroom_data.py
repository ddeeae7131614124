"""All data of a vehicle of each kind come through a usual sweep: over text, and over CAN where it has one."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from dtctriage.guard import GuardedLink
from dtctriage.link import Link
from dtctriage.services.j1979_tests_legacy import OxygenTest
from dtctriage.sweep.picture import ModuleSaid, Picture, picture
from dtctriage.sweep.run import Depth, Plan, sweep
from dtctriage.triage.known import known_data
from dtctriage.triage.module_data import module_data
from dtctriage_adapters.classroom import open_link
from dtctriage_adapters.classroom.vehicle import Vehicle

KINDS = Path(__file__).parents[2] / "demo/lessons/kinds"
Show = Callable[[str], Vehicle]
Plug = Callable[[Vehicle], Link]
NAMES = ("tisca", "lumo", "orro", "denby")
"""J1979 on CAN, OBD on UDS, KWP2000 on a K-line, J1850."""


def take(vehicle: Vehicle, link: Link, depth: Depth = Depth.USUAL) -> Picture:
    """The picture of one sweep with the vehicle's profile."""
    profile = vehicle.lesson.profile
    expected, known = tuple(module.target for module in profile.module), known_data(profile)
    plan = Plan(rounds=1, expected=expected, depth=depth, known=known)
    return picture(sweep(GuardedLink(link), plan), expected, known)


def module(seen: Picture, vehicle: Vehicle, name: str) -> ModuleSaid:
    return seen.modules[vehicle.lesson.profile.module_named(name).target]


@pytest.fixture(scope="module")
def over_text(show: Show, text_link: Plug) -> Callable[[str], tuple[Vehicle, Picture]]:
    """The sweep of each kind over the serial text port, taken once."""
    taken: dict[str, tuple[Vehicle, Picture]] = {}

    def get(name: str) -> tuple[Vehicle, Picture]:
        if name not in taken:
            vehicle = show(f"lessons/kinds/{name}")
            taken[name] = vehicle, take(vehicle, text_link(vehicle))
        return taken[name]

    return get


Taken = Callable[[str], tuple[Vehicle, Picture]]


@pytest.mark.parametrize("name", NAMES)
def test_every_pid_on_offer_is_read(over_text: Taken, name: str) -> None:
    vehicle, seen = over_text(name)
    rest = vehicle.lesson.rest
    for label in ("ECM", "TCM"):
        said = module(seen, vehicle, label)
        held = {int(pid, 16) for pid in (*rest.readings.get(label, {}), *rest.live.get(label, ()))}
        assert held and held <= set(said.data)
        assert said.troubles == []


@pytest.mark.parametrize("name", NAMES)
def test_every_test_result_and_counter_is_read(over_text: Taken, name: str) -> None:
    vehicle, seen = over_text(name)
    rest = vehicle.lesson.rest
    told = module(seen, vehicle, "ECM")
    off_can = not told.target.framing.is_can
    planted = rest.limit_test if off_can else rest.monitor_test
    assert planted and len(told.tests) == sum(test.module == "ECM" for test in planted)
    assert tuple(told.counters.values()) == rest.in_use.get("ECM", ())


@pytest.mark.parametrize("name", NAMES)
def test_what_was_read_has_names_and_units(over_text: Taken, name: str) -> None:
    """No PID of the classroom is without a layout, and the profile names the snapshots."""
    vehicle, seen = over_text(name)
    for data in module_data(seen, vehicle.lesson.profile):
        lines = [*data.readings, *(line for kept in data.kept for line in kept.readings)]
        assert [line for line in lines if line.text == line.raw] == []


@pytest.mark.parametrize("name", ["tisca", "lumo"])
def test_can_and_text_bring_the_same(over_text: Taken, name: str) -> None:
    vehicle, by_text = over_text(name)
    link = open_link(f"{(KINDS / name).as_posix()}.lesson.toml?wait=no")
    try:
        by_can = take(vehicle, link)
    finally:
        link.close()
    assert set(by_can.modules) == set(by_text.modules)
    laid_out = vehicle.lesson.profile.data
    clocks = {item.did for item in laid_out if any(signal.means == "clock" for signal in item.signal)}
    for target, said in by_can.modules.items():
        other = by_text.modules[target]
        assert set(said.data) == set(other.data)
        assert (said.tests, said.counters, said.info) == (other.tests, other.counters, other.info)
        assert said.options == other.options
        assert set(said.identifiers) == set(other.identifiers)
        # A clock tells when it was asked: the two ways take their own time.
        assert said.identifiers == {
            did: said.identifiers[did] if did in clocks else raw for did, raw in other.identifiers.items()
        }
        assert [(k.dtc, k.record, k.extended) for k in said.kept] == [
            (k.dtc, k.record, k.extended) for k in other.kept
        ]


def test_a_deep_sweep_reads_oxygen_sensors_and_further_identification(show: Show, text_link: Plug) -> None:
    old = show("lessons/kinds/denby")
    said = module(take(old, text_link(old), Depth.DEEP), old, "ECM")
    held = [test for test in old.lesson.rest.oxygen_test if test.module == "ECM"]
    assert held and len(said.tests) == len(old.lesson.rest.limit_test) + len(held)
    assert any(isinstance(result, OxygenTest) for result in said.tests)
    new = show("lessons/kinds/tisca")
    seen = take(new, text_link(new), Depth.DEEP)
    keys = {int(key, 16) for key in new.lesson.rest.identification["ECM"]}
    assert keys <= set(module(seen, new, "ECM").identifiers)
    memory = module(seen, new, "BCM")
    assert memory.supported and {code.memory for code in memory.codes} >= {"user"}
