"""A vehicle of each kind, swept over the serial link in memory: what it has to say comes through."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest

from dtctriage.guard import GuardedLink
from dtctriage.link import BusProtocol, Link, Reply, Request, Target, functional, physical
from dtctriage.services.kwp import decode_kwp_codes
from dtctriage.services.kwp_data import decode_identification
from dtctriage.sweep.picture import ModuleSaid, Picture, picture
from dtctriage.sweep.questions import Language
from dtctriage.sweep.run import Plan, sweep
from dtctriage.triage.module_data import stored_with
from dtctriage.vin import Vin
from dtctriage_adapters.classroom import open_link
from dtctriage_adapters.classroom.conditions import conditions_at
from dtctriage_adapters.classroom.vehicle import Vehicle

KINDS = Path(__file__).parents[2] / "demo/lessons/kinds"
Show = Callable[[str], Vehicle]
Plug = Callable[[Vehicle], Link]


@dataclass(frozen=True, slots=True)
class Kind:
    """What a sweep of a vehicle must bring, by module; `names` are those that modules give themselves."""

    protocol: BusProtocol
    languages: dict[str, set[Language]]
    codes: dict[str, set[str]]
    names: dict[str, str]
    assumed: bool = False


EXPECTED = {
    "tisca": Kind(
        BusProtocol.CAN29_500,
        {"ECM": {Language.J1979, Language.UDS}, "TCM": {Language.J1979, Language.UDS}},
        {"ECM": {"P0646", "P0646-11"}, "ABS": {"C0035"}, "TCM": set(), "BCM": set()},
        {"ECM": "ECM-EngineControl", "TCM": "TCM-TransmissionCon", "BCM": "body control"},
    ),
    "lumo": Kind(
        BusProtocol.CAN11_500,
        {"ECM": {Language.OBD_ON_UDS, Language.UDS}, "TCM": {Language.OBD_ON_UDS, Language.UDS}},
        {"ECM": {"P0443-13"}, "TCM": set(), "GW": set()},
        {"ECM": "ECM-EngineControl", "TCM": "TCM-TransmissionCon", "GW": "gateway"},
        assumed=True,
    ),
    "orro": Kind(
        BusProtocol.ISO14230_FAST,
        {"ECM": {Language.J1979, Language.KWP}, "TCM": {Language.J1979, Language.KWP}},
        {"ECM": {"P0403"}, "TCM": set(), "ABS": set(), "SRS": {"B1318"}},
        {"ECM": "ECM-EngineControl", "TCM": "TCM-TransmissionCon"},
    ),
    "denby": Kind(
        BusProtocol.J1850_VPW,
        {"ECM": {Language.J1979}, "TCM": {Language.J1979}},
        {"ECM": {"P0420"}, "TCM": {"P0750"}},
        {"ECM": "ECM-EngineControl", "TCM": "TCM-TransmissionCon"},
    ),
}
FAULTY = {"tisca": "ECM", "lumo": "ECM", "orro": "ECM", "denby": "TCM"}
"""The module whose circuit is broken."""


@pytest.fixture(scope="module")
def swept(show: Show, text_link: Plug) -> Callable[[str], tuple[Vehicle, Picture]]:
    """The picture of a vehicle after a sweep with its profile, each taken once."""
    taken: dict[str, tuple[Vehicle, Picture]] = {}

    def take(name: str) -> tuple[Vehicle, Picture]:
        if name not in taken:
            vehicle = show(f"lessons/kinds/{name}")
            expected = tuple(module.target for module in vehicle.lesson.profile.module)
            link = GuardedLink(text_link(vehicle))
            taken[name] = vehicle, picture(sweep(link, Plan(rounds=1, expected=expected)), expected)
        return taken[name]

    return take


Swept = Callable[[str], tuple[Vehicle, Picture]]


def said(vehicle: Vehicle, seen: Picture) -> Iterator[tuple[str, ModuleSaid]]:
    """What each module of the profile said that was heard."""
    for module in vehicle.lesson.profile.module:
        if module.target in seen.modules:
            yield module.id, seen.modules[module.target]


@pytest.mark.parametrize("name", EXPECTED)
def test_a_sweep_finds_the_bus_and_every_module_that_it_asks(swept: Swept, name: str) -> None:
    vehicle, seen = swept(name)
    kind = EXPECTED[name]
    assert seen.finished and seen.broken is None
    assert (seen.protocol, seen.assumed) == (kind.protocol, kind.assumed)
    modules = dict(said(vehicle, seen))
    assert set(modules) == set(kind.codes)
    for module_id, languages in kind.languages.items():
        assert modules[module_id].languages == languages
    assert seen.troubles == [] and all(module.troubles == [] for module in modules.values())


@pytest.mark.parametrize("name", EXPECTED)
def test_emission_modules_tell_the_vin(swept: Swept, name: str) -> None:
    vehicle, seen = swept(name)
    modules = dict(said(vehicle, seen))
    for module_id in EXPECTED[name].languages:
        assert set(modules[module_id].vins.values()) == {vehicle.lesson.vin}
    assert Vin.parse(vehicle.lesson.vin).check_digit_holds


@pytest.mark.parametrize("name", EXPECTED)
def test_modules_tell_their_names(swept: Swept, name: str) -> None:
    modules = dict(said(*swept(name)))
    for module_id, text in EXPECTED[name].names.items():
        assert text in modules[module_id].identity.values()


@pytest.mark.parametrize("name", EXPECTED)
def test_codes_are_those_that_the_wiring_stores(swept: Swept, name: str) -> None:
    vehicle, seen = swept(name)
    modules = dict(said(vehicle, seen))
    told = {module_id: {str(code.dtc) for code in module.codes} for module_id, module in modules.items()}
    assert told == EXPECTED[name].codes
    assert all(module.codes_read for module in modules.values())
    ((owner, dtc),) = vehicle.effects.codes
    assert owner == FAULTY[name]
    assert dtc.base.code in {text[:5] for text in told[owner]}


@pytest.mark.parametrize("name", EXPECTED)
def test_readiness_is_told_with_the_lamp_on(swept: Swept, name: str) -> None:
    vehicle, seen = swept(name)
    modules = dict(said(vehicle, seen))
    for module_id in EXPECTED[name].languages:
        readiness = modules[module_id].readiness
        assert readiness is not None
        monitored = {monitor.name for monitor in readiness.monitors if monitor.monitored}
        assert monitored == set(vehicle.lesson.rest.monitors[module_id])
        assert readiness.mil_on == (module_id == FAULTY[name])


@pytest.mark.parametrize("name", EXPECTED)
def test_what_was_stored_with_the_code_is_told(swept: Swept, name: str) -> None:
    vehicle, seen = swept(name)
    module = dict(said(vehicle, seen))[FAULTY[name]]
    ((_, dtc),) = vehicle.effects.codes
    lines = stored_with(module, dtc)
    soaked = conditions_at(vehicle.lesson.state, compression=False, seconds=0.0).coolant
    assert any(f"coolant temperature {soaked:.0f} degC" in line for line in lines)
    assert any("control module voltage 12.5" in line for line in lines)


# -- what a sweep does not ask --------------------------------------------------------------------------


def replies(link: Link, target: Target, *payloads: str) -> list[bytes]:
    asked: Sequence[Request] = [Request(target, bytes.fromhex(payload)) for payload in payloads]
    return [item.payload for item in link.exchange(asked) if isinstance(item, Reply)]


def test_a_k_line_module_of_no_concern_to_emissions_is_read_after_its_start(
    show: Show, text_link: Plug
) -> None:
    vehicle = show("lessons/kinds/orro")
    link = GuardedLink(text_link(vehicle))
    link.open_bus(BusProtocol.ISO14230_FAST)
    assert len(replies(link, functional(BusProtocol.ISO14230_FAST.framing), "0100")) == 2
    airbag = physical(BusProtocol.ISO14230_FAST.framing, 0x58)
    assert replies(link, airbag, "1A91") == []
    started, hardware, codes = replies(link, airbag, "81", "1A91", "1800FF00")
    assert started[0] == 0xC1
    assert decode_identification(hardware, 0x91).data == b"RR22-5609-A"
    assert [str(record.dtc) for record in decode_kwp_codes(codes).records] == ["B1318"]


def test_kwp2000_on_can_is_read_by_address(show: Show, text_link: Plug) -> None:
    vehicle = show("lessons/kinds/tisca")
    link = GuardedLink(text_link(vehicle))
    link.open_bus(BusProtocol.CAN29_500)
    brakes = vehicle.lesson.profile.module_named("ABS").target
    vin, codes = replies(link, brakes, "1A90", "1800FF00")
    assert decode_identification(vin, 0x90).data == vehicle.lesson.vin.encode()
    assert [str(record.dtc) for record in decode_kwp_codes(codes).records] == ["C0035"]


@pytest.mark.parametrize("name", ["tisca", "lumo"])
def test_the_can_link_brings_what_the_serial_link_brings(swept: Swept, name: str) -> None:
    """The same vehicle as nodes on a bus, every module at once."""
    vehicle, over_text = swept(name)
    expected = tuple(module.target for module in vehicle.lesson.profile.module)
    link = open_link(f"{(KINDS / name).as_posix()}.lesson.toml")
    try:
        over_can = picture(sweep(GuardedLink(link), Plan(rounds=1, expected=expected)), expected)
    finally:
        link.close()
    assert over_can.finished
    mine, theirs = dict(said(vehicle, over_can)), dict(said(vehicle, over_text))
    assert set(mine) == set(theirs)
    for module_id, module in mine.items():
        other = theirs[module_id]
        assert (module.vins, module.identity) == (other.vins, other.identity)
        assert {str(code.dtc) for code in module.codes} == {str(code.dtc) for code in other.codes}
        assert module.readiness == other.readiness
