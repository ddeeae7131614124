"""A VIN that cannot be right, or whose check digit fails."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.triage.model import EvidenceKind, Finding, Weight
from dtctriage.triage.view import View
from dtctriage.vin import Vin, VinError


def find(view: View) -> Iterator[Finding]:
    """A warning beside the VIN, never a reason to refuse it: outside North America position 9 is free."""
    seen: set[str] = set()
    for label, said in view.modules:
        for vin in said.vins.values():
            if not vin or vin in seen:
                continue
            seen.add(vin)
            warnings = _warnings(vin)
            if warnings:
                cited = view.ledger.cite(EvidenceKind.IDENTITY, label, f"VIN {vin}")
                yield Finding(
                    "vin_doubtful",
                    Weight.NOTE,
                    f"VIN from {label}: {warnings[0]}",
                    "; ".join(warnings),
                    (cited,),
                    "49 CFR 565; ISO 3779",
                    "Compare with the VIN plate.",
                )


def _warnings(text: str) -> tuple[str, ...]:
    """What speaks against a VIN; a check digit that need not be one is no evidence."""
    try:
        vin = Vin.parse(text)
    except VinError as error:
        return (error.message,)
    free = not vin.check_digit_holds and not vin.check_digit_binds
    return vin.warnings[1:] if free else vin.warnings
