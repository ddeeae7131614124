"""Every reading that a check of any demo vehicle asks for can be said, and typed as it was said."""

from __future__ import annotations

from pathlib import Path

import pytest

from dtctriage.triage.checks import supply_offers
from dtctriage.triage.circuit_checks import offers_at
from dtctriage.wiring.faults import possible_faults
from dtctriage.wiring.power import Wiring
from dtctriage.wiring.probe_text import ProbeText
from dtctriage.wiring.profile_file import load_profile

DEMO = Path(__file__).parents[2] / "demo"
VEHICLES = sorted(DEMO.rglob("*.vehicle.toml"))


@pytest.mark.parametrize("file", VEHICLES, ids=lambda path: path.name)
def test_probes_of_every_check_read_back(file: Path) -> None:
    profile = load_profile(file)
    spoken = ProbeText(profile)
    offers = list(supply_offers(Wiring(profile), {fault.at for fault in possible_faults(profile)}))
    offers += [offer for part in (*profile.circuit, *profile.sensor) for offer in offers_at(profile, part)]
    probes = {probe for offer in offers for probe in offer.probes}
    assert len(probes) > 20
    assert {probe: spoken.parse(spoken.words(probe)) for probe in probes} == {
        probe: probe for probe in probes
    }
