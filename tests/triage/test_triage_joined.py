"""A circuit entered beside a profile that lacks it: what is the profile's stays so, and clashes are told."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

import pytest

from dtctriage.codes.dtc import Dtc
from dtctriage.services.uds import DtcStatus
from dtctriage.sweep.events import Stage
from dtctriage.sweep.picture import ModuleSaid, Picture, StoredCode
from dtctriage.triage.joined import joined_of
from dtctriage.triage.seen import seen_by
from dtctriage.triage.suspicion import Suspicion
from dtctriage.wiring.contradictions import contradictions
from dtctriage.wiring.entered import EntryError, parse_line
from dtctriage.wiring.faults import Fault, FaultKind
from dtctriage.wiring.power import Wiring
from dtctriage.wiring.profile import Profile
from dtctriage.wiring.profile_file import load_profile

NOW = 0x2F
"""Failing and confirmed (ISO 14229-1 Annex D)."""
RELAY, PEDAL = "starter relay", "throttle or pedal position sensor A"


@pytest.fixture(scope="module")
def profile(demo: Path) -> Profile:
    """It watches P0645 in ECM, and neither P0615 nor P0122."""
    return load_profile(demo / "lessons" / "kinds" / "tisca.vehicle.toml")


def taken(profile: Profile, codes: Mapping[str, Iterable[str]], silent: Iterable[str] = ()) -> Picture:
    """A finished sweep: codes by module; `silent` ones were asked and did not answer."""
    picture = Picture(rounds=3, supply=12.6, stage=Stage.STATE, finished=True)
    for module in profile.module:
        stored = [StoredCode(Dtc.parse(code), "stored", DtcStatus(NOW)) for code in codes.get(module.id, ())]
        answered = 0 if module.id in silent else 3
        said = ModuleSaid(module.target, module.target.request + 8, answered, 3, codes=stored)
        said.codes_read = bool(answered)
        if answered:
            picture.modules[module.target] = said
        else:
            picture.silent[module.target] = 3
    return picture


def test_only_what_the_profile_does_not_watch_can_be_entered(profile: Profile) -> None:
    joined = joined_of(taken(profile, {"ECM": ["P0615", "P0645", "P0122"]}), profile, {})
    assert {item.name for item in joined.circuits} == {RELAY, PEDAL}
    assert joined.profile is profile and joined.watcher_of("P0645") == "compressor relay"


def test_the_circuit_is_weighed_with_the_profiles_own_feed(profile: Profile) -> None:
    """F11 feeds the engine module too, which answers: behind it only this circuit's own wire can be open."""
    line = parse_line("pin=B:12 fuse=F11:15A connector=X12:9")
    picture = taken(profile, {"ECM": ["P0615-13"]})
    joined = joined_of(picture, profile, {RELAY: line})
    circuit = joined.profile.circuit[-1]
    assert (circuit.id, circuit.driver_pin) == (RELAY, "B:12")
    assert circuit.feed is not None and circuit.feed.source == "F11"
    assert joined.profile.fuse == profile.fuse and joined.profile.switch == profile.switch
    assert list(contradictions(joined.profile)) == []
    suspicion, seen = Suspicion(Wiring(joined.profile)), seen_by(picture, joined.profile)
    ranked = suspicion.weigh(seen, suspicion.trouble(seen))
    shares = {item.fault: item.share for item in ranked if item.faults}
    assert shares[Fault(FaultKind.OPEN, "pin X12:9")] > 50 * shares.get(Fault(FaultKind.OPEN, "F11"), 0.0)


def test_a_sensor_takes_the_profiles_reference_and_ground(profile: Profile) -> None:
    line = parse_line("pin=B:30 supply=B:20 second=B:21")
    sensor = joined_of(taken(profile, {"ECM": ["P0122"]}), profile, {PEDAL: line}).profile.sensor[-1]
    assert sensor.supply is not None and sensor.supply.source == "REF-A"
    assert (sensor.ground, sensor.return_pin) == ("SGN-A", None)


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("pin=B:12 fuse=F11:10A", "Fuse F11 has 15 A in the profile"),
        ("pin=B:12 fuse=F11:15A relay=K4", "Fuse F11 comes from IGN in the profile"),
        ("pin=B:7 fuse=F11:15A", "pin B:7 of module ECM is used twice"),
        ("pin=B:12 fuse=G1:15A", 'ground "G1": the id is taken by a fuse'),
    ],
)
def test_clashes_are_told_and_left_out(profile: Profile, line: str, message: str) -> None:
    picture = taken(profile, {"ECM": ["P0615"]})
    with pytest.raises(EntryError, match=message):
        joined_of(picture, profile, {}).tried(RELAY, parse_line(line))
    kept = joined_of(picture, profile, {RELAY: parse_line(line)})
    assert kept.profile is profile and kept.refused == {RELAY: message}


def test_a_circuit_of_that_name(profile: Profile) -> None:
    """The profile's own one is watched by other codes."""
    own = profile.circuit[0].model_copy(update={"id": RELAY})
    named = profile.model_copy(update={"circuit": (own,)})
    joined = joined_of(taken(named, {"ECM": ["P0615"]}), named, {})
    with pytest.raises(EntryError, match='The profile has a circuit "starter relay" of its own'):
        joined.tried(RELAY, parse_line("pin=B:12 fuse=F19:15A"))


def test_a_silent_module_without_wires_gets_them(profile: Profile) -> None:
    """As a profile begun from a sweep has every module: its fuse and ground then are suspects."""
    bare = tuple(
        item.model_copy(update={"supply": (), "ground": ()}) if item.id == "TCM" else item
        for item in profile.module
    )
    begun = profile.model_copy(update={"module": bare})
    picture = taken(begun, {"ECM": ["U0101-87"]}, silent=["TCM"])
    line = parse_line("pin=A:1 fuse=F12:10A second=A:8 ground=G1 busconnector=X7")
    joined = joined_of(picture, begun, {"TCM": line})
    assert [module.id for module in joined.lost] == ["TCM"] and joined.codes_of(bare[1]) == ("U0101-87",)
    module = joined.profile.module_named("TCM")
    assert (module.supply[0].source, module.ground[0].ground) == ("F12", "G1")
    assert joined.profile.bus[0].line == ("ECM", "X7", "TCM", "ABS", "X11", "BCM")
    seen = seen_by(picture, joined.profile)
    suspicion = Suspicion(Wiring(joined.profile))
    best = suspicion.weigh(seen, suspicion.trouble(seen))[0]
    assert best.fault == Fault(FaultKind.OPEN, "F12")


# What nobody entered ---------------------------------------------------------------------------------------


def begun_from_a_sweep(profile: Profile) -> Profile:
    """As `profile from-sweep` leaves it: no module has wires, and none says whom it hears."""
    bare = {"supply": (), "ground": (), "hears": ()}
    return profile.model_copy(update={"module": tuple(m.model_copy(update=bare) for m in profile.module)})


def weighed(picture: Picture, profile: Profile) -> dict[FaultKind, float]:
    """Shares by kind of fault."""
    seen, suspicion = seen_by(picture, profile), Suspicion(Wiring(profile))
    shares: dict[FaultKind, float] = {}
    for item in suspicion.weigh(seen, suspicion.trouble(seen)):
        for fault in item.faults:
            shares[fault.kind] = shares.get(fault.kind, 0.0) + item.share
    return shares


def test_a_silent_module_without_wires_is_not_condemned(profile: Profile) -> None:
    """Common practice: fuse, relay and ground before the module; it is fitted where others miss it now."""
    begun = begun_from_a_sweep(profile)
    codes = {"ECM": ["U0101-87"], "ABS": ["U0101-87"], "BCM": ["U0101-87"]}
    picture = taken(begun, codes, silent=["TCM"])
    joined = joined_of(picture, begun, {})
    assert joined.usual == ("TCM",) and list(contradictions(joined.profile)) == []
    shares = weighed(picture, joined.profile)
    assert shares.get(FaultKind.NOT_FITTED, 0.0) < 0.001
    assert shares[FaultKind.OPEN] > shares.get(FaultKind.MODULE_DEAD, 0.0)
    bare = weighed(picture, begun)
    assert bare[FaultKind.MODULE_DEAD] + bare[FaultKind.NOT_FITTED] > 0.5, "the profile alone condemns it"


def test_several_without_wires_are_looked_for_in_what_they_share(profile: Profile) -> None:
    begun = begun_from_a_sweep(profile)
    picture = taken(begun, {"BCM": ["U0101-87", "U0121-87"]}, silent=["TCM", "ABS"])
    joined = joined_of(picture, begun, {})
    fuses = {module.supply[0].source for module in joined.profile.module if module.supply}
    assert fuses == {"their fuse"} and set(joined.usual) == {"TCM", "ABS"}


def test_what_was_entered_stands_and_the_rest_is_usual(profile: Profile) -> None:
    begun = begun_from_a_sweep(profile)
    picture = taken(begun, {"BCM": ["U0101-87", "U0121-87"]}, silent=["TCM", "ABS"])
    joined = joined_of(picture, begun, {"TCM": parse_line("pin=A:1 fuse=F12:10A second=A:8 ground=G1")})
    assert joined.usual == ("ABS",)
    sources = {module.id: module.supply[0].source for module in joined.profile.module if module.supply}
    assert sources == {"TCM": "F12", "ABS": "ABS fuse"}


def test_whom_a_profile_says_a_module_hears_it_hears(profile: Profile) -> None:
    """Only one that says nothing of it is taken to hear whom it misses, and history says nothing."""
    picture = taken(profile, {"ABS": ["U0140-87"]})
    assert joined_of(picture, profile, {}).profile is profile
    old = taken(begun_from_a_sweep(profile), {"ABS": ["U0101-87"]})
    next(said for said in old.modules.values() if said.codes).codes[0] = StoredCode(
        Dtc.parse("U0101-87"), "stored", DtcStatus(0x28)
    )
    begun = begun_from_a_sweep(profile)
    assert joined_of(old, begun, {}).profile is begun
