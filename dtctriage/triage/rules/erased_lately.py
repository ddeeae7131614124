"""Codes were erased, or a module lost its memory, a short while ago."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from dtctriage.services.readiness import Monitor
from dtctriage.sweep.picture import ModuleSaid
from dtctriage.triage.history import OwnClearing
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.own_clearings import cleared_here
from dtctriage.triage.values import Value, finding_limit, value
from dtctriage.triage.view import View

DISTANCE, WARM_UPS, MINUTES = 0x31, 0x30, 0x4E
"""Since codes were erased (SAE J1979); each counter stops at the end of its scale."""
_CONTINUOUS = frozenset({"misfire", "fuel system", "components"})
"""Monitors that are complete at once and tell nothing of driving (SAE J1979 PID 01, bytes B)."""
_LIMITS = {DISTANCE: "erased_km", WARM_UPS: "erased_warm_ups", MINUTES: "erased_minutes"}


def find(view: View) -> Iterator[Finding | Abstained]:
    """By the counters since erasing; by the monitors alone only where no module has counters."""
    judged = False
    for label, said in view.modules:
        counters = [found for pid in _LIMITS if (found := value(said, pid, label=label))]
        waiting, having = _monitors(said)
        if not counters and not having:
            continue
        judged = True
        none_ran = len(waiting) == len(having) >= finding_limit("monitors_waiting").value
        if _small(said) if counters else none_ran:
            erased = _finding(view, label, counters, waiting, having)
            ours = cleared_here(view, said)
            yield erased if ours is None else _by_us(view, label, erased, ours, counters)
    if not judged:
        yield Abstained("erased_lately", "no module tells PID 30, 31 or 4E, or its monitors")


def _small(said: ModuleSaid) -> bool:
    """Whether every counter the module has is below its limit; engine time speaks only by itself."""
    told = {pid: found.number for pid in _LIMITS if (found := value(said, pid))}
    if len(told) > 1:
        told.pop(MINUTES, None)
    return all(number < finding_limit(_LIMITS[pid]).value for pid, number in told.items())


def _monitors(said: ModuleSaid) -> tuple[list[Monitor], list[Monitor]]:
    """The monitors that still wait, and all that need driving."""
    state = said.readiness
    having = [m for m in state.monitors if m.monitored and m.name not in _CONTINUOUS] if state else []
    return [monitor for monitor in having if not monitor.complete], having


def _finding(
    view: View, label: str, counters: list[Value], waiting: list[Monitor], having: list[Monitor]
) -> Finding:
    cited = [found.cite(view) for found in counters]
    if waiting:
        names = ", ".join(monitor.name for monitor in waiting)
        cited.append(view.ledger.cite(EvidenceKind.READING, label, f"monitors not complete: {names}"))
    ago = _ago(counters)
    proof = "missing codes prove nothing yet" if waiting else "its monitors have run since"
    told = f"{len(waiting)} of {len(having)} monitors have not run since: {proof}."
    return Finding(
        "erased_lately",
        Weight.LOOK if waiting else Weight.NOTE,
        f"{label}: codes erased lately{f', {ago}' if ago else ' or memory lost: no monitor has run'}",
        told if having else "Whether its monitors have run since is not known.",
        tuple(cited),
        finding_limit("erased_km").source,
        ADVICE if waiting else "",
    )


def _by_us(view: View, label: str, found: Finding, ours: OwnClearing, counters: list[Value]) -> Finding:
    """What was found, when it is this shop's own doing: no suspicion, but still a thing to drive for."""
    cited = view.ledger.cite(EvidenceKind.RECORD, label, str(ours))
    return replace(
        found,
        weight=Weight.NOTE,
        title=f"{label}: {ours}",
        detail=f"{_ago(counters)}. {found.detail}" if counters else found.detail,
        evidence=(*found.evidence, cited),
        advice=DRIVE if found.advice else "",
    )


def _ago(counters: list[Value]) -> str:
    told = ", ".join(f"{found.number:g} {_word(found)}" for found in counters)
    return f"{told} ago" if told else ""


def _word(counter: Value) -> str:
    one, several = _WORDS[counter.name]
    return one if counter.number == 1 else several


DRIVE = "Drive until the monitors have run, then read again."
ADVICE = "Ask who erased them and why; drive until the monitors have run, then read again."
_WORDS = {
    "distance since clear": ("km", "km"),
    "warm-ups since clear": ("warm-up", "warm-ups"),
    "time since clear": ("minute of engine time", "minutes of engine time"),
}
