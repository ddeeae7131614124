"""A code for bad data names a module that is therefore speaking."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.codes.network import invalid_data_module
from dtctriage.triage.model import EvidenceKind, Finding, Weight
from dtctriage.triage.seen import strongest
from dtctriage.triage.view import View


def find(view: View) -> Iterator[Finding]:
    """U04xx and U05xx: data came and were bad, so the named module was not silent."""
    for label, said in view.modules:
        for entry in strongest(said):
            role = invalid_data_module(entry.dtc)
            if role is None:
                continue
            cited = view.ledger.cite(EvidenceKind.CODE, label, f"{entry.dtc} names {role.words}")
            yield Finding(
                "speaking_after_all",
                Weight.NOTE,
                f"{role.words} was speaking: {entry.dtc} in {label}",
                "Bad data came from it, so it had power, ground and bus when the code was set.",
                (cited,),
                "SAE J2012, U04xx and U05xx",
                "Look at that module's own codes and sensors, not at its wiring.",
            )
