"""What a check says to expect: the figures of the trade or of the profile, each with its own source."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pytest

from dtctriage.triage.checks import battery_offer, supply_offers
from dtctriage.triage.choose import Offer
from dtctriage.triage.circuit_checks import offers_at
from dtctriage.triage.suspects import suspects
from dtctriage.triage.suspicion import Hypothesis
from dtctriage.triage.tables import limit
from dtctriage.triage.trouble import Trouble
from dtctriage.wiring.faults import Fault, FaultKind, possible_faults, section
from dtctriage.wiring.power import Wiring
from dtctriage.wiring.profile import Profile
from dtctriage.wiring.profile_file import parse_profile


def with_changed(demo: Path, old: str, new: str) -> Profile:
    text = (demo / "kavo.vehicle.toml").read_text(encoding="utf-8")
    assert old in text
    return parse_profile(text.replace(old, new, 1), "changed")


def offers(profile: Profile) -> list[Offer]:
    places = frozenset(fault.at for fault in possible_faults(profile))
    found = [battery_offer(profile), *supply_offers(Wiring(profile), places)]
    for part in (*profile.circuit, *profile.sensor):
        found += offers_at(profile, part)
    return found


def the(found: Iterable[Offer], text: str) -> Offer:
    return next(offer for offer in found if text in offer.what)


def test_a_supplied_sensor_is_judged_by_its_reference_too(bench: Any) -> None:
    found = offers(bench.profile)
    offer = the(found, "back-probe the throttle angle sensor")
    assert "(supply, signal, return)" in offer.what
    assert [part.split(" on the ")[1] for part in offer.expect.split("; ")] == ["supply", "signal", "return"]
    assert limit("reference_volts").expect in offer.expect
    # Without a supply there is nothing to be read of it.
    assert "on the supply" not in the(found, "back-probe the coolant temperature sensor").expect


@pytest.mark.parametrize(
    ("text", "row"),
    [
        ("of the starter relay coil against battery minus", "driver_off"),
        ("test lamp from its feed wire", "feed_lamp"),
        ("back-probe the throttle angle sensor", "sensor_return"),
        ("of the harness to the battery's minus cable", "harness_to_ground"),
    ],
)
def test_a_figure_stands_beside_its_own_source(bench: Any, text: str, row: str) -> None:
    offer, rule = the(offers(bench.profile), text), limit(row)
    assert rule.expect in offer.expect and rule.source in offer.source


def test_the_words_at_a_connector_fit_a_circuit_without_current(bench: Any) -> None:
    """Ohm's law: without current corrosion drops nothing; an open pin parts the two voltages at once."""
    expect = the(offers(bench.profile), "back-probe connector X402").expect
    assert "open" in expect and "corrosion shows only while current flows" in expect


def test_a_bus_with_other_terminations_is_judged_by_them(demo: Path) -> None:
    profile = with_changed(demo, 'terminated_in = ["ECM', 'termination_ohms = 100\nterminated_in = ["ECM')
    found = offers(profile)
    assert the(found, "CAN low of bus PT (pins").expect.startswith("about 50 ohm; 100 ohm: one")
    assert the(found, "CAN low of bus PT at the plug of ABS").expect.startswith("about 50 ohm; 100 ohm: one")
    assert the(found, "CAN low of bus BODY at").expect.startswith("about 60 ohm; 120 ohm: one")


def test_two_batteries_in_series_are_judged_as_two(demo: Path) -> None:
    """A lead-acid cell has 2.1 V full: 12 of them 25.3 V."""
    offer = battery_offer(with_changed(demo, "nominal_volts = 12", "nominal_volts = 24"))
    assert offer.expect.startswith("24.8 V or more at rest; 25.3 V full")


def test_a_cut_in_a_bus_is_where_the_bus_runs(bench: Any) -> None:
    """Not at the diagnostic connector, where the bus as a whole is measured."""
    cut = Fault(FaultKind.BUS_OPEN, section("PT", "TCM", "ABS"))
    gone = Fault(FaultKind.TERMINATION_MISSING, "PT:ECM")
    places = {module.id: module.place for module in bench.profile.module}
    for fault, place in ((cut, f"between {places['TCM']} and {places['ABS']}"), (gone, places["ECM"])):
        (first,) = suspects(bench.suspicion, [Hypothesis((fault,), 1.0, Trouble())])
        assert first.place == place
