"""Two modules, or a module and the repair order, hold different VINs."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.view import View

RULE = "vin_differs"


def find(view: View) -> Iterator[Finding | Abstained]:
    """A module with another VIN usually comes from another vehicle."""
    holders: dict[str, list[str]] = {}
    for label, said in view.modules:
        for vin in dict.fromkeys(_plain(text) for text in said.vins.values()):
            if vin:
                holders.setdefault(vin, []).append(label)
    if view.vin_entered:
        holders.setdefault(_plain(view.vin_entered), []).insert(0, "repair order")
    if sum(map(len, holders.values())) < 2:
        yield Abstained(RULE, "fewer than two VINs are known")
    if len(holders) < 2:
        return
    ranked = sorted(holders.items(), key=lambda pair: -len(pair[1]))
    detail = "; ".join(f"{vin}: {', '.join(labels)}" for vin, labels in ranked)
    cited = [
        view.ledger.cite(EvidenceKind.IDENTITY, who, f"VIN {vin}") for vin, labels in ranked for who in labels
    ]
    odd = ", ".join(label for _, labels in ranked[1:] for label in labels)
    yield Finding(
        RULE,
        Weight.LOOK,
        f"VINs differ: {odd}",
        detail,
        tuple(cited),
        "SAE J1979 service 09; ISO 14229-1 identifier F190",
        "A module from another vehicle may lack coding or key data: ask the owner, check part numbers.",
    )


def _plain(text: str) -> str:
    """However it was typed or padded."""
    return "".join(text.split()).replace("-", "").upper()
