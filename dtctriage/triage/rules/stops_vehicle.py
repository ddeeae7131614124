"""Codes that keep the engine from starting, or the vehicle from becoming ready."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.meaning import Meaning
from dtctriage.triage import lacking
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.seen import failing, strongest
from dtctriage.triage.tables import source_words
from dtctriage.triage.view import View, now_words
from dtctriage.triage.watched import codes_of_part, watched
from dtctriage_reference import Row, rows

RULE = "stops_vehicle"


def find(view: View) -> Iterator[Finding | Abstained]:
    """By the profile where it knows the code, else by the catalogue; a code in history stops nothing."""
    yield from lacking.codes(view, RULE)
    for label, said in view.modules:
        for entry in strongest(said):
            now = failing(entry)
            if now is False:
                continue
            profiled = _by_profile(view, label, entry.dtc)
            row = stopping_row(view.meaning(entry.dtc))
            if profiled is True:
                yield _finding(view, label, entry.dtc, now, row, "the vehicle profile")
            elif profiled is None and row is not None:
                yield _finding(view, label, entry.dtc, now, row, "the catalogue of codes")


def _by_profile(view: View, label: str, dtc: Dtc) -> bool | None:
    """Whether the profile says that the code's part is needed; None where it knows no such code."""
    if view.profile is None:
        return None
    mine = [part for part in watched(view.profile) if part.module == label]
    known = [part for part in mine if any(code.number == dtc.number for code in codes_of_part(part))]
    return any(part.starts for part in known) if known else None


@cache
def _table() -> dict[str, list[Row]]:
    found: dict[str, list[Row]] = {}
    for row in rows("stops"):
        found.setdefault(row["subject"], []).append(row)
    return found


def stopping_row(told: Meaning) -> Row | None:
    """The row of the table stops that a code falls under, by the catalogue of codes."""
    rows_of_it = _table().get(told.subject, [])
    fitting = (row for row in rows_of_it if row["kinds"] == "*" or told.kind in row["kinds"].split())
    return next(fitting, None)


def _finding(view: View, label: str, dtc: Dtc, now: bool | None, row: Row | None, how: str) -> Finding:
    sure = row is None or row["sure"] == "stops" or how == "the vehicle profile"
    aim = "becoming ready" if row is not None and row["what"] == "ready" else "starting"
    verb = "keeps" if sure else "may keep"
    why = row["why"] if row is not None else "the profile marks this part as needed"
    return Finding(
        RULE,
        Weight.STOPS if sure else Weight.LOOK,
        f"{dtc} in {label} {verb} the vehicle from {aim}",
        f"{view.meaning(dtc).text}: {why}. Known by {how}; {now_words(now)}.",
        (view.ledger.cite(EvidenceKind.CODE, label, f"{dtc} is stored"),),
        source_words(row["source"]) if row is not None else "vehicle profile",
        "High voltage: only qualified people, by the maker's procedure."
        if aim == "becoming ready"
        else f"Follow {dtc} first: measure its circuit before a part is replaced.",
        explains=(f"{label} {dtc}",),
    )
