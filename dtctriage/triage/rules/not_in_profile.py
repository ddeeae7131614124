"""A lost-communication code names a module that the vehicle profile does not hold."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.codes.network import roles
from dtctriage.triage import lacking
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.view import View, now_words

RULE = "not_in_profile"


def find(view: View) -> Iterator[Finding | Abstained]:
    """One finding for each such module; without a profile there is nothing to miss."""
    if view.profile is None or view.seen is None:
        yield Abstained(RULE, lacking.NO_PROFILE)
        return
    yield from lacking.codes(view, RULE)
    held = {module.id for module in view.profile.module}
    strangers = dict.fromkeys(t.lost for t in view.seen.testimonies if t.present and t.lost not in held)
    for stranger in strangers:
        told = [t for t in view.seen.testimonies if t.lost == stranger and t.present]
        words = roles()[stranger].words
        cited = [
            view.ledger.cite(EvidenceKind.WITNESS, t.witness, f"{t.code} names {words}, {now_words(t.now)}")
            for t in told
        ]
        yield Finding(
            RULE,
            Weight.LOOK,
            f"{words} is missed, and the profile does not hold it",
            f"Missed by {', '.join(dict.fromkeys(t.witness for t in told))}.",
            tuple(cited),
            "SAE J2012, U01xx to U02xx",
            "Is it fitted? Then the profile is of another variant: check it by the wiring diagram.",
        )
