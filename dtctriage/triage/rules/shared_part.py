"""Codes whose circuits or sensors hang on one feed, reference, ground or connector of the profile."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.codes.dtc import Dtc
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.seen import failing, strongest
from dtctriage.triage.values import finding_limit
from dtctriage.triage.view import View
from dtctriage.triage.watched import Watched, codes_of_part, hangs_on, watched
from dtctriage.wiring.profile import Profile

Coded = list[tuple[Watched, Dtc]]


def find(view: View) -> Iterator[Finding | Abstained]:
    """The one place that most of the coded parts hang on, and fewest of those without a code."""
    if view.profile is None:
        yield Abstained("shared_part", "no vehicle profile")
        return
    coded = _coded(view, view.profile)
    if len(coded) < finding_limit("family").value:
        return
    best = _best(view.profile, coded)
    if best is None:
        return
    place, mine, sound = best
    codes = [f"{part.module} {dtc}" for part, dtc in mine]
    without = f"; {sound} more hang on it without a code" if sound else ""
    yield Finding(
        "shared_part",
        Weight.LOOK,
        f"{', '.join(codes)} hang on {place}",
        f"{len(mine)} of {len(coded)} parts with a code share it{without}.",
        tuple(view.ledger.cite(EvidenceKind.CODE, part.module, f"{dtc} is stored") for part, dtc in mine),
        "vehicle profile",
        f"Measure at {place} before any of these parts.",
        explains=tuple(codes),
    )


def _coded(view: View, profile: Profile) -> Coded:
    """Parts with a code that is not history, each once."""
    present = {
        (label, entry.dtc.number): entry.dtc
        for label, said in view.modules
        for entry in strongest(said)
        if failing(entry) is not False
    }
    found: Coded = []
    for part in watched(profile):
        stored = [present.get((part.module, dtc.number)) for dtc in codes_of_part(part)]
        first = next((dtc for dtc in stored if dtc is not None), None)
        if first is not None:
            found.append((part, first))
    return found


def _best(profile: Profile, coded: Coded) -> tuple[str, Coded, int] | None:
    """Place, coded parts and number of sound ones; None where no place explains more than it excuses."""
    parts = watched(profile)
    ways = {part.id: hangs_on(profile, part) for part in parts}
    found = []
    for place in sorted(set[str]().union(*(ways[part.id] for part, _ in coded))):
        mine = [item for item in coded if place in ways[item[0].id]]
        sound = sum(place in ways[part.id] for part in parts) - len(mine)
        if len(mine) >= finding_limit("family").value and len(mine) > sound:
            found.append((len(mine) - sound, place, mine, sound))
    if not found:
        return None
    _, place, mine, sound = max(found, key=lambda item: item[0])
    return place, mine, sound
