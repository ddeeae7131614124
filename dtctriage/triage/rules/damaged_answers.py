"""Answers that came damaged or are not what their standard says."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.triage import lacking
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.view import View

RULE = "damaged_answers"


def find(view: View) -> Iterator[Finding | Abstained]:
    """One finding a module, with the first damage in words and how many there were."""
    if not view.picture.troubles:
        yield from lacking.answers(view, RULE)
    holders = [(label, said.troubles) for label, said in view.modules]
    holders.append(("", view.picture.troubles))
    for label, troubles in holders:
        if not troubles:
            continue
        cited = dict.fromkeys(
            view.ledger.cite(EvidenceKind.PROBLEM, label, f"{item.question.hex(' ').upper()}: {item.text}")
            for item in troubles
        )
        first = troubles[0]
        count = f"{len(troubles)} answers" if len(troubles) > 1 else "1 answer"
        yield Finding(
            RULE,
            Weight.NOTE,
            f"{label or 'Unknown sender'}: {count} damaged",
            f"To {first.question.hex(' ').upper()}: {first.text}. Nothing was filled in.",
            tuple(cited),
            "ISO 15765-2; SAE J1979; ISO 14229-1",
            "Repeat the intake; if it stays, look at bus wiring and the adapter.",
        )
