"""Which code came first, over all modules, of those that were stored near each other."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from dtctriage.triage import lacking
from dtctriage.triage.ages import SCALES, Age, Scale, ages
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.seen import failing, strongest
from dtctriage.triage.values import finding_limit
from dtctriage.triage.view import View

RULE = "order_in_time"


def find(view: View) -> Iterator[Finding | Abstained]:
    """By the scale that dates most codes; codes of one moment have no first among them.

    Codes far apart have no order that tells anything: an old one that is history started nothing today.
    """
    told = ages(view)
    by_scale = {scale: [age for age in told if scale in age.ago] for scale in SCALES}
    scale, dated = max(by_scale.items(), key=lambda item: len(item[1]))
    yield from lacking.codes(view, RULE)
    if len(dated) < 2:
        if sum(len(strongest(said)) for _, said in view.modules) > 1:
            yield Abstained(RULE, "fewer than two codes tell when they were stored")
        return
    for chain in _chains(dated, scale):
        if len(chain) > 1 and not _one_problem(view, chain):
            yield _order(view, chain, scale)


def _chains(dated: Sequence[Age], scale: Scale) -> list[list[Age]]:
    """The codes from the oldest to the latest, parted where the time between two is beyond reach."""
    reach = finding_limit(scale.reach).value
    chains: list[list[Age]] = []
    for age in sorted(dated, key=lambda age: (-age.ago[scale], str(age.dtc))):
        if chains and chains[-1][-1].ago[scale] - age.ago[scale] <= reach:
            chains[-1].append(age)
        else:
            chains.append([age])
    return chains


def _one_problem(view: View, chain: Sequence[Age]) -> bool:
    """Whether one problem explains them all: then it says already what they have in common."""
    names = {f"{age.label} {age.dtc}" for age in chain}
    return any(names <= explained for explained in view.explained)


def _order(view: View, chain: Sequence[Age], scale: Scale) -> Finding:
    limit = finding_limit(scale.limit).value
    oldest = chain[0].ago[scale]
    first = [age for age in chain if oldest - age.ago[scale] <= limit]
    later = chain[len(first) :]
    names = ", ".join(f"{age.dtc} in {age.label}" for age in first)
    advice = ""
    if later:
        title = f"Came first: {names}, {scale.text(oldest)}"
        followed = ", ".join(f"{age.dtc} in {age.label} {scale.text(age.ago[scale])}" for age in later)
        detail = f"Then {followed}."
        if not _past(view, first):
            advice = "Start with the earliest; a later one may only follow from it."
    else:
        title = f"Stored at one moment{f', {scale.text(oldest)}' if oldest else ''}: {names}"
        detail = "Codes of one moment have one cause more often than several."
    return Finding(
        RULE,
        Weight.NOTE,
        title,
        detail,
        tuple(_cited(view, chain)),
        "SAE J1979 PIDs 31, 4E and A6; ISO 14229-1 service 19 04",
        advice,
    )


def _past(view: View, first: Sequence[Age]) -> bool:
    """Whether all of them are history: nothing is found where a fault was, and is no more."""
    named = {(age.label, age.dtc) for age in first}
    stored = [(label, entry) for label, said in view.modules for entry in strongest(said)]
    return all(failing(entry) is False for label, entry in stored if (label, entry.dtc) in named)


def _cited(view: View, chain: Sequence[Age]) -> Iterator[str]:
    """One piece of evidence for all codes that are as old by every scale."""
    alike: dict[str, list[str]] = {}
    for age in chain:
        alike.setdefault(age.told, []).append(f"{age.dtc} in {age.label}")
    for told, names in alike.items():
        yield view.ledger.cite(EvidenceKind.CODE, "", f"{', '.join(names)}: {told}")
