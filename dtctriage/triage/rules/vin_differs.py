"""Two modules, or a module and the repair order, hold different VINs."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.view import View
from dtctriage.vin import mistyped, places_apart

RULE = "vin_differs"
ORDER = "repair order"
_FOREIGN = "A module from another vehicle may lack coding or key data: ask the owner, check part numbers."
_PAPER = (
    "Compare the VIN plate: where it was mistyped, take the intake with the right --vin and --correct-vin; "
    "where it was not, this is another vehicle, or its modules are another's."
)


def find(view: View) -> Iterator[Finding | Abstained]:
    """A module with another VIN usually comes from another vehicle; where all agree, the paper is wrong."""
    holders: dict[str, list[str]] = {}
    for label, said in view.modules:
        for vin in dict.fromkeys(_plain(text) for text in said.vins.values()):
            if vin:
                holders.setdefault(vin, []).append(label)
    if view.vin_entered:
        holders.setdefault(_plain(view.vin_entered), []).insert(0, ORDER)
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
    on_paper = len(holders) == 2 and [ORDER] in holders.values()
    yield Finding(
        RULE,
        Weight.LOOK,
        f"VINs differ: {ORDER if on_paper else odd}",
        f"{detail}{_apart(*holders) if on_paper else ''}",
        tuple(cited),
        "SAE J1979 service 09; ISO 14229-1 identifier F190",
        _PAPER if on_paper else _FOREIGN,
    )


def _apart(one: str, other: str) -> str:
    """Where two VINs look like one of them mistyped, the places."""
    if not mistyped(one, other):
        return ""
    return f"; they differ at position {' and '.join(map(str, places_apart(one, other)))} alone"


def _plain(text: str) -> str:
    """However it was typed or padded."""
    return "".join(text.split()).replace("-", "").upper()
