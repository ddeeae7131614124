"""Which code came first, over all modules."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.triage.ages import Age, ages
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.values import finding_limit
from dtctriage.triage.view import View


def find(view: View) -> Iterator[Finding | Abstained]:
    """By distance, else by engine time; codes of one moment have no first among them."""
    told = ages(view)
    by_distance = [age for age in told if age.km is not None]
    by_time = [age for age in told if age.minutes is not None]
    if len(by_distance) >= max(2, len(by_time)):
        yield from _order(view, by_distance, [age.km or 0.0 for age in by_distance], "km", "chain_km")
    elif len(by_time) >= 2:
        yield from _order(view, by_time, [age.minutes or 0.0 for age in by_time], "min", "chain_minutes")
    else:
        yield Abstained("order_in_time", "fewer than two codes tell when they were stored")


def _order(view: View, told: list[Age], ago: list[float], unit: str, key: str) -> Iterator[Finding]:
    ranked = sorted(zip(ago, told, strict=True), key=lambda pair: (-pair[0], str(pair[1].dtc)))
    limit = finding_limit(key)
    oldest = ranked[0][0]
    first = [age for when, age in ranked if oldest - when <= limit.value]
    later = [(when, age) for when, age in ranked if oldest - when > limit.value]
    names = ", ".join(f"{age.dtc} in {age.label}" for age in first)
    if later:
        title = f"Came first: {names}, {oldest:g} {unit} ago"
        followed = ", ".join(f"{age.dtc} in {age.label} {when:g} {unit} ago" for when, age in later)
        detail = f"Then {followed}."
    else:
        title = f"Stored at one moment, {oldest:g} {unit} ago: {names}"
        detail = "Codes of one moment have one cause more often than several."
    yield Finding(
        "order_in_time",
        Weight.NOTE,
        title,
        detail,
        tuple(view.ledger.cite(EvidenceKind.CODE, age.label, str(age)) for _, age in ranked),
        "SAE J1979 PIDs 31, 4E and A6; common practice, no source",
        "Start with the earliest; a later one may only follow from it." if later else "",
    )
