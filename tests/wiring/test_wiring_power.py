"""Who gets how many volts in the demo vehicle: fuses, relays, switches, grounds and shorts."""

from __future__ import annotations

import pytest

from dtctriage.wiring.effects import effects
from dtctriage.wiring.faults import HIGH_OHMS, Fault, FaultKind
from dtctriage.wiring.parts import PartKind
from dtctriage.wiring.power import Wiring
from dtctriage.wiring.profile import BATTERY, Key, Profile
from dtctriage.wiring.profile_file import parse_profile
from dtctriage.wiring.states import BLOWS_AT


def fed_by(profile: Profile, *feeds: str) -> set[str]:
    """Modules with a main supply that comes from one of these feeds, however far upstream."""
    parent = {item.id: item.source for item in profile.feeds}

    def comes_from(source: str) -> bool:
        while source not in feeds and source in parent:
            source = parent[source]
        return source in feeds

    return {
        module.id
        for module in profile.module
        if any(comes_from(s.source) for s in module.supply if s.purpose == "main")
    }


def starved(wiring: Wiring, *faults: Fault, key: Key = Key.RUN) -> set[str]:
    """Modules whose supply is too low to work."""
    shown = effects(wiring, faults, key).volts
    return {m.id for m in wiring.profile.module if shown[m.id] < m.works_from}


def volts(wiring: Wiring, module: str, *faults: Fault, key: Key = Key.RUN) -> float:
    return effects(wiring, faults, key).volts[module]


def opened(at: str) -> Fault:
    return Fault(FaultKind.OPEN, at)


def worn(at: str) -> Fault:
    return Fault(FaultKind.HIGH_RESISTANCE, at)


def test_a_sound_vehicle_gives_every_module_nearly_battery_voltage(wiring: Wiring) -> None:
    """Within 0.5 V of the battery: voltage drop of a whole circuit (makers' service literature)."""
    power = wiring.solve()
    assert not power.blown and power.closed == {"K1"}
    for module in wiring.profile.module:
        assert power.at(BATTERY) - volts(wiring, module.id) < 0.5


def test_every_fuse_starves_exactly_what_it_feeds(wiring: Wiring) -> None:
    """K1's coil hangs on F10, so F10 and what feeds it take the relay along."""
    profile = wiring.profile
    for fuse in profile.fuse:
        feeds = [fuse.id]
        if fuse.id in ("FL1", "F3", "F10"):
            feeds.append("K1")
        assert starved(wiring, opened(fuse.id)) == fed_by(profile, *feeds), fuse.id


@pytest.mark.parametrize("part", ["K1 coil", "K1 contact", "wire F10 > K1.86", "wire K1.85 > G102"])
def test_a_relay_that_does_not_pull_in_starves_what_it_feeds(wiring: Wiring, part: str) -> None:
    assert starved(wiring, opened(part)) == fed_by(wiring.profile, "K1")
    assert ("K1" in wiring.solve([opened(part)]).closed) is (part == "K1 contact")


@pytest.mark.parametrize(
    ("key", "dead"),
    [(Key.OFF, ("IGN-RUN", "IGN-ACC", "K1")), (Key.ACCESSORY, ("IGN-RUN", "K1")), (Key.START, ("IGN-ACC",))],
)
def test_the_key_decides_what_is_hot(wiring: Wiring, key: Key, dead: tuple[str, ...]) -> None:
    assert starved(wiring, key=key) == fed_by(wiring.profile, *dead)


def test_always_hot_modules_work_with_the_key_off(wiring: Wiring) -> None:
    assert {"BCM", "GW", "IMM", "DDM", "PDM"}.isdisjoint(starved(wiring, key=Key.OFF))


def test_a_corroded_ground_takes_volts_from_all_that_share_it(wiring: Wiring) -> None:
    """Divider: 40 ohm in series with the three modules on G203; a tenth of a volt stays in the feeds."""
    sharing = {m.id for m in wiring.profile.module if {g.ground for g in m.ground} == {"G203"}}
    assert sharing == {"HVAC", "RAD", "PDM"}
    load = 1 / sum(1 / wiring.profile.module_named(m).draws_ohms for m in sharing)
    for module in sharing:
        seen = volts(wiring, module, worn("G203"))
        assert seen == pytest.approx(12.6 * load / (load + HIGH_OHMS), abs=0.1)
    assert starved(wiring, worn("G203")) == sharing


def test_a_ground_that_is_open_lets_the_modules_ground_rise(wiring: Wiring) -> None:
    power = wiring.solve([opened("G203")])
    assert power.at("HVAC/ground") > 12
    assert starved(wiring, opened("G203")) == {"HVAC", "RAD", "PDM"}


@pytest.mark.parametrize("ground", ["G101", "G102"])
def test_a_module_with_two_grounds_works_on_either(wiring: Wiring, ground: str) -> None:
    assert "ECM" not in starved(wiring, opened(ground))
    assert volts(wiring, "ECM", opened(ground)) == pytest.approx(volts(wiring, "ECM"), abs=0.1)
    assert "ECM" in starved(wiring, opened("G101"), opened("G102"))


@pytest.mark.parametrize("pin", ["pin FPC/C1:1", "pin FPC/C1:4"])
def test_a_module_needs_all_its_main_supplies(wiring: Wiring, pin: str) -> None:
    assert starved(wiring, opened(pin)) == {"FPC"}


def test_a_module_without_its_memory_supply_works(wiring: Wiring) -> None:
    assert starved(wiring, opened("F4")) == set()


def upstream_fuse(profile: Profile, feed: str) -> str:
    """The nearest fuse before a feed's output, "" where there is none."""
    fuses = {fuse.id for fuse in profile.fuse}
    parent = {item.id: item.source for item in profile.feeds}
    while feed not in fuses and feed in parent:
        feed = parent[feed]
    return feed if feed in fuses else ""


def test_a_short_to_ground_blows_the_fuse_before_it_and_only_that(wiring: Wiring) -> None:
    """Every wire between an element and the next, each with the fuse that its source hangs on."""
    profile = wiring.profile
    checked = 0
    for feed in profile.feeds:
        start = f"{feed.through[0]}<" if feed.through else None
        for part in wiring.parts.values():
            if (
                part.kind is PartKind.WIRE
                and part.a == feed.source
                and part.b in (start, f"{feed.id}.in", feed.id)
            ):
                blown = wiring.solve([Fault(FaultKind.SHORT_TO_GROUND, part.id)]).blown
                fuse = upstream_fuse(profile, feed.source)
                assert blown == ({fuse} if fuse else set()), part.id
                checked += 1
    assert checked > 20


@pytest.mark.parametrize(
    ("wire", "fuse"),
    [
        ("wire X301:1 > FPC/C1:1<", "F24"),
        ("wire S202 > X102:5<", "F13"),
        ("wire X101:1 > ECM/C1:1<", "F21"),
        ("wire S102 > X102:8<", "F23"),
    ],
)
def test_a_short_far_down_the_path_still_blows_the_nearest_fuse(wiring: Wiring, wire: str, fuse: str) -> None:
    assert wiring.solve([Fault(FaultKind.SHORT_TO_GROUND, wire)]).blown == {fuse}


def test_a_short_on_a_ground_wire_blows_nothing(wiring: Wiring) -> None:
    assert not wiring.solve([Fault(FaultKind.SHORT_TO_GROUND, "wire RAD/C1:8< > G203")]).blown


def test_no_fuse_carries_more_than_it_may_in_any_single_fault(wiring: Wiring) -> None:
    """The search has settled: whatever is overloaded has blown."""
    for part in list(wiring.parts.values())[::7]:
        if part.kind is not PartKind.WIRE:
            continue
        power = wiring.solve([Fault(FaultKind.SHORT_TO_GROUND, part.id)])
        for fuse in wiring.profile.fuse:
            if fuse.id not in power.blown:
                drop = abs(power.at(f"{fuse.id}.in") - power.at(fuse.id))
                assert drop / wiring.parts[fuse.id].ohms <= BLOWS_AT * fuse.rating + 1e-6


def test_a_module_that_is_not_fitted_draws_nothing(wiring: Wiring) -> None:
    with_it = wiring.solve().at("G301")
    without = wiring.solve([Fault(FaultKind.NOT_FITTED, "TBC")]).at("G301")
    assert without < with_it


CHATTER = """format = 1
vehicle = { make = "Ostrell", model = "Buzzer" }
fuse = [{ id = "F", from = "battery", rating = 10 }]
relay = [{ id = "K", from = "battery", coil = { from = "F", ground = "battery-" } }]
[[module]]
id = "M"
role = ""
request = 0x700
answer = 0x708
buses = ["B"]
supply = [{ from = "K", pin = "C:1" }]
[[bus]]
id = "B"
line = ["M"]
terminated_in = ["M", "M"]
at_connector = "M"
"""


def test_a_vehicle_without_grounds_is_grounded_by_its_case() -> None:
    wiring = Wiring(parse_profile(CHATTER, "buzzer"))
    assert volts(wiring, "M") == pytest.approx(12.6, abs=0.1)
    assert starved(wiring, opened("F")) == {"M"}


def test_a_relay_that_feeds_its_own_coil_comes_to_an_answer() -> None:
    """Held open by itself: nothing has pulled it in yet."""
    wiring = Wiring(parse_profile(CHATTER.replace('coil = { from = "F"', 'coil = { from = "K"'), "buzzer"))
    assert wiring.solve().closed == frozenset()


def test_a_module_without_supplies_in_the_profile_is_taken_as_powered() -> None:
    text = CHATTER.replace('supply = [{ from = "K", pin = "C:1" }]\n', "")
    assert starved(Wiring(parse_profile(text, "buzzer"))) == set()
