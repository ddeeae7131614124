"""Which codes modules store about a bus itself, for many vehicles at once: the table bus_findings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.network import bus_fault
from dtctriage.wiring.faults import Fault, FaultKind, branch
from dtctriage.wiring.profile import Profile
from dtctriage.wiring.states import Case, Flags
from dtctriage_reference import rows


def reported(profile: Profile, cases: Sequence[Case]) -> Iterator[tuple[str, str, Flags]]:
    """Every module on a bus with codes, each code, and which of H vehicles store it (H,)."""
    for bus in profile.bus:
        for code in bus.codes:
            kinds = faults_behind(Dtc.parse(code))
            for module in profile.module:
                if bus.id in module.buses:
                    hit = [any(_shows(fault, kinds, module.id, bus.id) for fault in case) for case in cases]
                    yield module.id, code, np.array(hit, dtype=bool)


def faults_behind(dtc: Dtc) -> frozenset[FaultKind]:
    """The kinds of fault that a code about a bus can stand for; none for another code."""
    told = bus_fault(dtc)
    row = next((row for row in rows("bus_findings") if told and row["told"] == told.kind), None)
    return frozenset(FaultKind(name) for name in row["faults"].split("|")) if row else frozenset()


def _shows(fault: Fault, kinds: frozenset[FaultKind], module: str, bus: str) -> bool:
    """A branch that is open shows to its own module, all else to whoever is on the bus."""
    if fault.kind not in kinds:
        return False
    if fault.kind is FaultKind.OFF_THE_BUS:
        return fault.at == branch(module, bus)
    return fault.at.partition(":")[0] == bus
