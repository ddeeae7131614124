"""Lost-communication codes in history, about modules that answer now."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.codes.network import roles
from dtctriage.triage import lacking
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.view import View, now_words

RULE = "history_of_loss"


def find(view: View) -> Iterator[Finding | Abstained]:
    """History alone condemns no part: weak battery, a plug pulled while awake, an earlier repair."""
    yield from lacking.codes(view, RULE)
    accused = view.accusations()
    past = {role: who for role, who in accused.items() if all(now is False for _, _, now in who)}
    undecided = (who for who in accused.values() if not any(now for _, _, now in who))
    untold = [f"{code} in {label}" for who in undecided for label, code, now in who if now is None]
    if untold:
        yield Abstained(RULE, f"{', '.join(untold)}: no status tells whether it is history")
    if not past:
        return
    words = ", ".join(roles()[role].words for role in past)
    cited = [
        view.ledger.cite(EvidenceKind.WITNESS, label, f"{code} names {roles()[role].words}, {now_words(now)}")
        for role, who in past.items()
        for label, code, now in who
    ]
    yield Finding(
        RULE,
        Weight.NOTE,
        f"Lost-communication codes in history only: {words}",
        "Not failing now: a low battery, a plug pulled with the bus awake, or modules that wake apart.",
        tuple(cited),
        "vehicle makers' service literature; common practice",
        "Do not condemn a part on these; note them and see whether they come back.",
    )
