"""What the adapter or interface says about the bus."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.link import NoticeKind
from dtctriage.sweep.events import NoticeGiven
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.view import View

RULE = "notices"
_QUIET = frozenset({NoticeKind.NO_ANSWER, NoticeKind.INTERRUPTED, NoticeKind.NOT_UNDERSTOOD})
_HEAVY = frozenset(
    {
        NoticeKind.BUS_ERROR,
        NoticeKind.BUS_BUSY,
        NoticeKind.CAN_ERROR,
        NoticeKind.CAN_BLOCKED,
        NoticeKind.NO_ACKNOWLEDGE,
        NoticeKind.NO_SUPPLY,
        NoticeKind.OWN_SIGNAL_LOST,
    }
)


def find(view: View) -> Iterator[Finding | Abstained]:
    """One finding for each kind of notice, however often it came."""
    if not view.picture.adapter:
        yield Abstained(RULE, "no adapter was reached")
    counts: dict[NoticeKind, int] = {}
    for given in view.picture.notices:
        counts[given.notice] = counts.get(given.notice, 0) + 1
    for kind, count in counts.items():
        if kind in _QUIET:
            continue
        first = next(given for given in view.picture.notices if given.notice is kind)
        times = f", {count} times" if count > 1 else ""
        cited = view.ledger.cite(EvidenceKind.NOTICE, "", f"adapter: {first.text}{times}")
        yield Finding(
            RULE,
            Weight.LOOK if kind in _HEAVY else Weight.NOTE,
            f"The adapter says: {kind.value}{times}",
            first.text,
            (cited,),
            "interface chip data sheet",
            _advice(view, first),
        )


def _advice(view: View, given: NoticeGiven) -> str:
    """The adapter's, unless what followed has shown that it is not that."""
    count = len(view.picture.modules)
    if given.notice is not NoticeKind.NO_PROTOCOL or not count:
        return given.advice
    who = f"{count} modules answer" if count > 1 else "A module answers"
    return (
        f"{who} all the same, called by address: the connector's supply and grounds and the data wires work. "
        "No emission module answered the search: see why the engine module is silent."
    )
