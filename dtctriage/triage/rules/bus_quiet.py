"""No traffic at all while the key is on."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.tables import limit
from dtctriage.triage.view import View

RULE = "bus_quiet"


def find(view: View) -> Iterator[Finding | Abstained]:
    """Tells a bus without traffic from a bus with traffic and no answers, and from error frames."""
    activity = view.picture.activity
    why = _unheard(view)
    if activity is None or why:
        yield Abstained(RULE, why)
        return
    if activity.errors:
        cited = view.ledger.cite(
            EvidenceKind.BUS, "", f"{activity.errors} error frames in {activity.seconds:g} s"
        )
        yield Finding(
            RULE,
            Weight.LOOK,
            "Error frames on the bus",
            f"{activity.errors} error frames in {activity.seconds:g} s of listening.",
            (cited,),
            "ISO 11898-1 (from memory)",
            "Wrong rate, a short, or a module that disturbs: measure the pair, then unplug branch by branch.",
        )
    elif activity.frames and not view.picture.modules:
        total = sum(activity.frames.values())
        cited = view.ledger.cite(EvidenceKind.BUS, "", f"{total} frames in {activity.seconds:g} s, no answer")
        yield Finding(
            RULE,
            Weight.LOOK,
            "Traffic on the bus, but no answers",
            f"{len(activity.frames)} identifiers were heard: the pair works up to the connector.",
            (cited,),
            "common practice, no source",
            "The gateway may not pass requests on: check its supply and whether the key is in run.",
        )
    elif not activity.frames and not view.picture.modules:
        cited = view.ledger.cite(EvidenceKind.BUS, "", f"no frame in {activity.seconds:g} s")
        yield Finding(
            RULE,
            Weight.LOOK,
            "No traffic on the bus",
            f"Nothing was heard in {activity.seconds:g} s. Sound: {limit('recessive_volts').expect}.",
            (cited,),
            limit("recessive_volts").source,
            "A gateway may hide traffic from the connector; else the bus is asleep, cut or shorted.",
        )


def _unheard(view: View) -> str:
    """Why nothing is known of a live bus; empty where it was listened to."""
    activity = view.picture.activity
    if view.picture.recorded:
        return "a recording is not a live bus"
    if activity is None:
        return "the bus was not listened to"
    return "" if activity.heard else "this link cannot listen to the bus"
