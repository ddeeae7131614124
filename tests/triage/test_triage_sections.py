"""The side of a suspect: power, ground, bus, module. How the trade asks first: common practice, no source."""

from __future__ import annotations

from typing import Any

import pytest

from dtctriage.triage.sections import Sections
from dtctriage.wiring.faults import Fault, FaultKind, possible_faults

Bench = Any


@pytest.mark.parametrize(
    ("fault", "side"),
    [
        (Fault(FaultKind.OPEN, "F21"), "power"),
        (Fault(FaultKind.OPEN, "K1 contact"), "power"),
        (Fault(FaultKind.OPEN, "K1 coil"), "power"),
        (Fault(FaultKind.OPEN, "pin X301:2"), "power"),
        (Fault(FaultKind.OPEN, "pin ECM/C1:1"), "power"),
        (Fault(FaultKind.HIGH_RESISTANCE, "G203"), "ground"),
        (Fault(FaultKind.OPEN, "wire RAD/C1:8< > G203"), "ground"),
        (Fault(FaultKind.OFF_THE_BUS, "ABS@PT"), "bus"),
        (Fault(FaultKind.BUS_TO_GROUND, "PT"), "bus"),
        (Fault(FaultKind.MODULE_DEAD, "ABS"), "module"),
        (Fault(FaultKind.SENSE_FALSE, "ECM P0443-13"), "module"),
        (Fault(FaultKind.OPEN, "purge valve load"), "part"),
        (Fault(FaultKind.OPEN, "wire purge valve- > ECM/C2:21<"), "wire to the module"),
        (Fault(FaultKind.OPEN, "pin X301:8"), "ground"),
        (Fault(FaultKind.KEY_POSITION, "off"), "key"),
        (Fault(FaultKind.NOT_FITTED, "TBC"), "not fitted"),
    ],
)
def test_sides(bench: Bench, fault: Fault, side: str) -> None:
    assert Sections(bench.suspicion.wiring).of((fault,)) == side


def test_every_fault_has_a_side_and_two_have_both(bench: Bench) -> None:
    sections = Sections(bench.suspicion.wiring)
    sides = {sections.of((fault,)) for fault in possible_faults(bench.profile)}
    assert sides == {"power", "ground", "bus", "module", "part", "wire to the module", "not fitted"}
    both = (Fault(FaultKind.OPEN, "F21"), Fault(FaultKind.MODULE_DEAD, "ABS"))
    assert sections.of(both) == "power and module" and sections.of(()) == "outside the profile"


def test_the_true_side_of_a_silent_module_is_among_the_first_three(bench: Bench) -> None:
    """Of every fault that silences a module, as often as it happens. Measured: 0.971."""
    sections = Sections(bench.suspicion.wiring)
    total = found = 0.0
    for fault in bench.showing:
        seen = bench.seen(fault)
        trouble = bench.suspicion.trouble(seen)
        if not trouble.silent:
            continue
        shares = sections.shares(bench.suspicion.weigh(seen, trouble))
        weight = bench.suspicion.prior(fault)
        total += weight
        found += weight * (sections.of((fault,)) in [name for name, _ in shares[:3]])
        assert sum(share for _, share in shares) == pytest.approx(1)
    assert found / total > 0.95
