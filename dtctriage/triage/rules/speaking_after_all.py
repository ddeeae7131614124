"""A code for bad data or foreign software names a module that is therefore speaking."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.network import ModuleRole, invalid_data_module, software_module
from dtctriage.triage import lacking
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.seen import strongest
from dtctriage.triage.view import View

RULE = "speaking_after_all"


def find(view: View) -> Iterator[Finding | Abstained]:
    """U03xx, U04xx and U05xx: something came and was not as wanted, so the named module was not silent."""
    yield from lacking.codes(view, RULE)
    for label, said in view.modules:
        for entry in strongest(said):
            role, what, advice = _speaker(entry.dtc)
            if role is None:
                continue
            cited = view.ledger.cite(EvidenceKind.CODE, label, f"{entry.dtc} names {role.words}")
            yield Finding(
                RULE,
                Weight.NOTE,
                f"{role.words} was speaking: {entry.dtc} in {label}",
                f"{what} came from it, so it had power, ground and bus when the code was set.",
                (cited,),
                "SAE J2012, U03xx to U05xx",
                advice,
            )


def _speaker(dtc: Dtc) -> tuple[ModuleRole | None, str, str]:
    software = software_module(dtc)
    if software is not None:
        return software, "An answer about its software", "Compare its part and calibration numbers first."
    bad = invalid_data_module(dtc)
    return bad, "Bad data", "Look at that module's own codes and sensors, not at its wiring."
