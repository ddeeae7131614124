"""A VIN that cannot be right, or whose check digit fails."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.view import View
from dtctriage.vin import Vin, VinError

RULE = "vin_doubtful"


def find(view: View) -> Iterator[Finding | Abstained]:
    """A warning beside the VIN, never a reason to refuse it: in most of the world position 9 is free.

    There a wrong sign goes unseen, and where it is bound, one in ten keeps the check digit.
    """
    holders: dict[str, str] = {}
    for label, said in view.modules:
        for vin in filter(None, said.vins.values()):
            holders.setdefault(vin, label)
    if not holders:
        yield Abstained(RULE, "no module tells a VIN")
    if view.vin_entered:
        holders.setdefault(view.vin_entered, "the repair order")
    for vin, label in holders.items():
        warnings = _warnings(vin)
        if warnings:
            yield Finding(
                RULE,
                Weight.NOTE,
                f"VIN from {label}: {warnings[0]}",
                "; ".join(warnings),
                (view.ledger.cite(EvidenceKind.IDENTITY, label, f"VIN {vin}"),),
                "49 CFR 565; ISO 3779; GB 16735",
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
