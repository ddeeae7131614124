"""Which code came first, over all modules."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.triage import lacking
from dtctriage.triage.ages import SCALES, Age, Scale, ages
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.seen import strongest
from dtctriage.triage.values import finding_limit
from dtctriage.triage.view import View

RULE = "order_in_time"


def find(view: View) -> Iterator[Finding | Abstained]:
    """By the scale that dates most codes; codes of one moment have no first among them."""
    told = ages(view)
    by_scale = {scale: [age for age in told if scale in age.ago] for scale in SCALES}
    scale, dated = max(by_scale.items(), key=lambda item: len(item[1]))
    yield from lacking.codes(view, RULE)
    if len(dated) < 2:
        if sum(len(strongest(said)) for _, said in view.modules) > 1:
            yield Abstained(RULE, "fewer than two codes tell when they were stored")
        return
    yield _order(view, dated, scale)


def _order(view: View, dated: list[Age], scale: Scale) -> Finding:
    ranked = sorted(((age.ago[scale], age) for age in dated), key=lambda pair: (-pair[0], str(pair[1].dtc)))
    limit = finding_limit(scale.limit).value
    oldest = ranked[0][0]
    first = [age for when, age in ranked if oldest - when <= limit]
    later = [(when, age) for when, age in ranked if oldest - when > limit]
    names = ", ".join(f"{age.dtc} in {age.label}" for age in first)
    if later:
        title = f"Came first: {names}, {scale.text(oldest)}"
        followed = ", ".join(f"{age.dtc} in {age.label} {scale.text(when)}" for when, age in later)
        detail = f"Then {followed}."
    else:
        title = f"Stored at one moment{f', {scale.text(oldest)}' if oldest else ''}: {names}"
        detail = "Codes of one moment have one cause more often than several."
    return Finding(
        RULE,
        Weight.NOTE,
        title,
        detail,
        tuple(view.ledger.cite(EvidenceKind.CODE, age.label, str(age)) for _, age in ranked),
        "SAE J1979 PIDs 31, 4E and A6; ISO 14229-1 service 19 04",
        "Start with the earliest; a later one may only follow from it." if later else "",
    )
