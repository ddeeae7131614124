"""A module's in-use counters began anew: it was replaced or programmed, or lost its memory.

Erasing codes leaves these counters, and every module counts the ignition cycles of the same vehicle. Only the
loss of the memory that they are kept in sets them to zero; at its end the counter of ignition cycles goes on
from zero, while those of the monitors are halved (13 CCR 1968.2 (d)(4) and (5), from memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from dtctriage.sweep.picture import ModuleSaid
from dtctriage.triage.ages import DISTANCE
from dtctriage.triage.history import IGNITION_CYCLES, LastVisit, address_of, ignition_cycles
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.odometer import odometer_of
from dtctriage.triage.values import Value, finding_limit, value
from dtctriage.triage.view import View

SOURCE = "SAE J1979 service 09, info types 08 and 0B; 13 CCR 1968.2 (d)(4) and (5)"
ADVICE = (
    "Ask whether it was replaced or programmed, or without supply: codes and learned values from before "
    "are gone with its memory."
)


@dataclass(frozen=True, slots=True)
class _Count:
    """A module's ignition cycles with what they are held against: distances driven, an earlier count."""

    label: str
    cycles: int
    driven: tuple[Value, ...]
    earlier: int | None

    def cite(self, view: View) -> str:
        return Value(self.label, IGNITION_CYCLES, self.cycles, "").cite(view)


def find(view: View) -> Iterator[Finding | Abstained]:
    """Each module against the distance and its last visit; then those that pass, against each other."""
    last = view.history.last if view.history else None
    counts: list[_Count] = []
    for label, said in view.modules:
        cycles = ignition_cycles(said)
        if cycles is not None and _went_past_its_end(said, cycles):
            yield _abstained(f"{label}: ignition cycles that lie below other counters have been all through")
        elif cycles is not None:
            counts.append(_Count(label, cycles, _driven(view, label, said), _earlier(last, said)))
    if not counts:
        yield _abstained("no module tells ignition cycles that can be judged")
    elif len(counts) == 1 and not counts[0].driven and counts[0].earlier is None:
        yield _abstained(f"{counts[0].label}: no other module, distance or visit to hold its counter against")
    restarted = {count.label: found for count in counts if (found := _restarted(view, last, count))}
    yield from restarted.values()
    yield from _apart(view, [count for count in counts if count.label not in restarted])


def _abstained(why: str) -> Abstained:
    return Abstained("counters_restarted", why)


def _went_past_its_end(said: ModuleSaid, cycles: int) -> bool:
    """Nothing happens more often than the ignition is on, until that counter begins again."""
    return any(cycles < number < 0xFFFF for number in said.counters.values())


def _driven(view: View, label: str, said: ModuleSaid) -> tuple[Value, ...]:
    """Distances in km that the vehicle went at least, in all of which the counter was to count."""
    told = (odometer_of(view.modules, view.told.odometer), value(said, DISTANCE, label=label))
    return tuple(found for found in told if found)


def _earlier(last: LastVisit | None, said: ModuleSaid) -> int | None:
    return last.ignition_cycles.get(address_of(said.target)) if last else None


def _restarted(view: View, last: LastVisit | None, count: _Count) -> Finding | None:
    """By a distance that no vehicle drives in so few cycles, or because it counted more at the last visit."""
    most = finding_limit("cycle_km").value * max(count.cycles, 1)
    far = [driven for driven in count.driven if driven.number > most]
    fewer = last is not None and count.earlier is not None and count.cycles < count.earlier
    if not far and not fewer:
        return None
    why, cited = [], [count.cite(view)]
    for driven in far:
        each = f"would be {driven.number / count.cycles:.0f} km each" if count.cycles else "without one"
        why.append(f"{driven.number:.0f} km ({driven.name}) {each}.")
        cited.append(driven.cite(view))
    if last and fewer:
        before = f"{count.earlier} on {last.when}"
        why.append(f"It had counted {before}.")
        cited.append(view.ledger.cite(EvidenceKind.RECORD, count.label, f"{IGNITION_CYCLES} {before}"))
    ago = f"began anew, {count.cycles} ignition cycles ago" if count.cycles else "stand at zero"
    return Finding(
        "counters_restarted",
        Weight.NOTE,
        f"{count.label}: in-use counters {ago}",
        " ".join((*why, "Erasing codes leaves these counters.")),
        tuple(cited),
        SOURCE,
        ADVICE,
    )


def _apart(view: View, counts: Sequence[_Count]) -> Iterator[Finding]:
    """Modules that have counted very differently; nobody can tell which of them is the odd one."""
    told = sorted(counts, key=lambda count: count.cycles)
    if len(told) < 2:
        return
    least, most = told[0], told[-1]
    share, apart = finding_limit("cycles_share").value, finding_limit("cycles_apart").value
    if least.cycles >= share * most.cycles or most.cycles - least.cycles < apart:
        return
    yield Finding(
        "counters_restarted",
        Weight.NOTE,
        f"Ignition cycles differ: {least.label} {least.cycles}, {most.label} {most.cycles}",
        "Every module counts those of the same vehicle, and erasing codes leaves the counter: "
        f"{least.label} began anew, or {most.label} comes from another vehicle.",
        tuple(count.cite(view) for count in told),
        SOURCE,
        ADVICE,
    )
