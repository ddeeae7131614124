"""Two or three tracks of one pedal, or of one throttle, do not belong together."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from dtctriage.sweep.picture import ModuleSaid
from dtctriage.triage.model import Abstained, Finding, Weight
from dtctriage.triage.state import engine_off, state_evidence
from dtctriage.triage.values import Value, finding_limit, value
from dtctriage.triage.view import View
from dtctriage_reference import rows

GROUPS = (("accelerator pedal", (0x49, 0x4A, 0x4B)), ("throttle", (0x11, 0x47, 0x48)))
"""PIDs of SAE J1979 that are tracks of one part."""


def find(view: View) -> Iterator[Finding | Abstained]:
    """At rest each track is inside its window, and keeps to one of the usual relations with the first."""
    why = engine_off(view)
    judged = False
    for label, said in view.modules if not why else ():
        for part, pids in GROUPS:
            tracks = _tracks(label, said, pids)
            if len(tracks) >= 2:
                judged = True
                yield from _judge(view, part, tracks)
    if not judged:
        yield Abstained("rest_tracks", why or "no module tells two tracks of a pedal or throttle")


def _tracks(label: str, said: ModuleSaid, pids: Sequence[int]) -> list[Value]:
    return [found for pid in pids if (found := value(said, pid, label=label))]


def _judge(view: View, part: str, tracks: list[Value]) -> Iterator[Finding]:
    low, high = finding_limit("window_low").value, finding_limit("window_high").value
    outside = [track for track in tracks if not low <= track.number <= high]
    first = tracks[0]
    odd = outside or [track for track in tracks[1:] if not _related(part, first.number, track.number)]
    if not odd:
        return
    what = "outside the window of a 5 V sensor" if outside else "no usual partner of the first track"
    values = ", ".join(f"{track.name} {track.number:.0f} %" for track in tracks)
    yield Finding(
        "rest_tracks",
        Weight.LOOK,
        f"{first.label}: {part} tracks disagree at rest",
        f"{values}: {', '.join(track.name for track in odd)} is {what}.",
        (*(track.cite(view) for track in tracks), *state_evidence(view)),
        finding_limit("rest_tracks").source,
        "Watch all tracks through one slow stroke; then reference voltage, ground and plug of that sensor.",
    )


def _related(part: str, first: float, other: float) -> bool:
    """Whether a track keeps to one of the ways in which makers lay out a second one."""
    usual = (
        float(row["factor"]) * first + float(row["offset"])
        for row in rows("track_relations")
        if row["part"] == part
    )
    return any(abs(other - each) <= finding_limit("rest_tracks").value for each in usual)
