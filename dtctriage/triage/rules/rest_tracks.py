"""Two or three tracks of one pedal, or of one throttle, do not belong together."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from dtctriage.sweep.picture import ModuleSaid
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.state import engine_off, state_evidence
from dtctriage.triage.track_layouts import Layout, layouts_kept, pairs_of_like_vehicles, usual_layouts
from dtctriage.triage.values import Value, finding_limit, value
from dtctriage.triage.view import View

GROUPS = (("accelerator pedal", (0x49, 0x4A, 0x4B)), ("throttle", (0x11, 0x47, 0x48)))
"""PIDs of SAE J1979 that are tracks of one part."""


def find(view: View) -> Iterator[Finding | Abstained]:
    """At rest each track is inside its window and keeps to a usual layout, or to that of like vehicles.

    Without records of like vehicles any usual layout passes, and together they take up half of the scale.
    """
    why = engine_off(view)
    judged = False
    for label, said in view.modules if not why else ():
        for part, pids in GROUPS:
            tracks = {pid: found for pid in pids if (found := value(said, pid, label=label))}
            if len(tracks) >= 2:
                judged = True
                yield from _judge(view, said, part, tracks)
    if not judged:
        yield Abstained("rest_tracks", why or "no module tells two tracks of a pedal or throttle")


def _judge(view: View, said: ModuleSaid, part: str, tracks: Mapping[int, Value]) -> Iterator[Finding]:
    low, high = finding_limit("window_low").value, finding_limit("window_high").value
    told = list(tracks.values())
    outside = [track for track in told if not low <= track.number <= high]
    strange = [track for track in told[1:] if not _fits(usual_layouts(part), told[0], track)]
    if outside:
        yield _finding(view, part, told, outside, "is outside the window of a 5 V sensor")
    elif strange:
        yield _finding(view, part, told, strange, "is no usual partner of the first track")
    else:
        yield from _against_like_vehicles(view, said, part, tracks)


def _fits(layouts: Sequence[Layout], first: Value, second: Value) -> bool:
    return any(layout.fits((first.number, second.number)) for layout in layouts)


def _against_like_vehicles(
    view: View, said: ModuleSaid, part: str, tracks: Mapping[int, Value]
) -> Iterator[Finding]:
    (first, start), *others = tracks.items()
    for pid, track in others:
        pairs = pairs_of_like_vehicles(view.history, said, first, pid)
        kept = layouts_kept(part, pairs)
        if kept and not _fits(kept, start, track):
            usual = " or ".join(sorted({f"{layout.second(start.number):.0f} %" for layout in kept}))
            told = f"{usual} beside {start.name} {start.number:.0f} % on {len(pairs)} like vehicles"
            cited = view.ledger.cite(EvidenceKind.RECORD, start.label, f"{track.name} is {told}")
            what = f"would be {told}"
            yield _finding(view, part, [start, track], [track], what, cited)


def _finding(
    view: View, part: str, tracks: Sequence[Value], odd: Sequence[Value], what: str, *more: str
) -> Finding:
    values = ", ".join(f"{track.name} {track.number:.0f} %" for track in tracks)
    return Finding(
        "rest_tracks",
        Weight.LOOK,
        f"{tracks[0].label}: {part} tracks disagree at rest",
        f"{values}: {', '.join(track.name for track in odd)} {what}.",
        (*(track.cite(view) for track in tracks), *state_evidence(view), *more),
        finding_limit("rest_tracks").source,
        "Watch all tracks through one slow stroke; then reference voltage, ground and plug of that sensor.",
    )
