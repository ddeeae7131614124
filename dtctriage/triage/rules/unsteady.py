"""A module answers some roll calls and not others."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.triage import lacking
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.view import View

RULE = "unsteady"


def find(view: View) -> Iterator[Finding | Abstained]:
    """k of n answers with 0 < k < n."""
    if view.picture.recorded:
        yield Abstained(RULE, lacking.RECORDED)
        return
    yield from lacking.answers(view, RULE)
    once = [label for label, said in view.modules if said.asked < 2]
    if once:
        yield Abstained(RULE, f"{', '.join(once)}: one roll call shows no contact that comes and goes")
    for label, said in view.modules:
        if said.answered >= said.asked:
            continue
        text = f"answered {said.answered} of {said.asked} roll calls"
        cited = view.ledger.cite(EvidenceKind.UNSTEADY, label, text)
        yield Finding(
            RULE,
            Weight.LOOK,
            f"{label} answers only {said.answered} of {said.asked} times",
            "A contact that comes and goes, a supply at its limit, or a module that restarts.",
            (cited,),
            "common practice, no source",
            "Wiggle its plug, its fuse and its ground while the roll call is repeated.",
        )
