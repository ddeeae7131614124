"""Modules that answer, but whose codes were not read: no codes on the sheet is then no all-clear."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.services.uds import nrc_plain
from dtctriage.sweep.picture import ModuleSaid
from dtctriage.triage import lacking
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.view import View

RULE = "codes_not_read"
_CODE_SERVICES = frozenset({0x03, 0x07, 0x0A, 0x13, 0x18, 0x19})


def find(view: View) -> Iterator[Finding | Abstained]:
    """Says for each such module whether its codes were refused, damaged, or never asked for."""
    yield from lacking.answers(view, RULE)
    unread = [(label, said) for label, said in view.modules if not said.codes_read]
    if not unread:
        return
    reasons = [(label, _reason(said)) for label, said in unread]
    cited = [view.ledger.cite(EvidenceKind.ANSWER, label, f"codes {reason}") for label, reason in reasons]
    yield Finding(
        RULE,
        Weight.NOTE,
        f"No codes read from {', '.join(label for label, _ in reasons)}",
        "; ".join(f"{label}: {reason}" for label, reason in reasons),
        tuple(cited),
        "SAE J1979 services 03, 07, 0A; ISO 14229-1 service 19",
        "That no code is shown for them proves nothing.",
    )


def _reason(said: ModuleSaid) -> str:
    refusals = [code for question, code in said.refused if question[0] in _CODE_SERVICES]
    if refusals:
        return f"refused ({nrc_plain(refusals[-1])})"
    if any(trouble.question[:1] and trouble.question[0] in _CODE_SERVICES for trouble in said.troubles):
        return "damaged on the way"
    return "not asked for, or not answered"
