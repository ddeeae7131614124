"""Hypotheses in the words of the workshop: faults of one thing, which one hand reaches for, together."""

from __future__ import annotations

from collections.abc import Sequence

from dtctriage.triage.model import Suspect
from dtctriage.triage.suspicion import Hypothesis, Suspicion
from dtctriage.wiring.faults import Fault, FaultKind
from dtctriage.wiring.parts import PartKind
from dtctriage.wiring.profile import Profile

SHOWN_SHARE = 0.9
"""Suspects are listed until they hold this share of the suspicion."""
MOST_SUSPECTS = 5
LEAST_SHARE = 1e-4
"""Below this a hypothesis is not mentioned."""


def suspects(suspicion: Suspicion, ranked: Sequence[Hypothesis]) -> tuple[Suspect, ...]:
    """Hypotheses as suspects, likeliest first; the last one stands for the rest."""
    groups: dict[str, list[Hypothesis]] = {}
    for item in ranked:
        if item.share > LEAST_SHARE:
            groups.setdefault(thing(suspicion, item.fault), []).append(item)
    last = ranked[-1].fault if ranked and ranked[-1].outside else None
    ordered = sorted(
        groups.items(), key=lambda pair: (pair[1][0].fault == last, -sum(item.share for item in pair[1]))
    )
    shown: list[Suspect] = []
    total = 0.0
    for name, items in ordered:
        if len(shown) >= MOST_SUSPECTS or total >= SHOWN_SHARE:
            break
        share = sum(item.share for item in items)
        total += share
        shown.append(_suspect(suspicion, name, items, share))
    rest = [name for name, _ in ordered[len(shown) :]]
    if rest and total < 0.99:
        shown.append(Suspect("something else", "", 1 - total, tuple(rest[:12]), ""))
    return tuple(shown)


def _suspect(suspicion: Suspicion, name: str, items: Sequence[Hypothesis], share: float) -> Suspect:
    part = suspicion.wiring.parts.get(items[0].fault.at)
    place = part.place if part else _module_place(suspicion.wiring.profile, items[0].fault)
    members = tuple(fault_words(suspicion, item.fault) for item in items)
    return Suspect(name, place, share, members, _because(items[0]))


def _because(item: Hypothesis) -> str:
    if item.effects is None:
        return "the profile's single faults do not fit the evidence well"
    losses = len(item.effects.losses)
    silent = len(item.effects.volts) - len(item.effects.answering)
    codes = ", ".join(f"{dtc} in {module}" for module, dtc in sorted(item.effects.codes, key=str))
    effects = [f"silence {silent} module{'s' if silent != 1 else ''}"] if silent else []
    effects += [f"cause {losses} lost-communication code{'s' if losses != 1 else ''}"] if losses else []
    effects += [f"store {codes}"] if codes else []
    return f"would {' and '.join(effects)}" if effects else ""


def thing(suspicion: Suspicion, fault: Fault) -> str:
    """What a hand would go to: a fuse, a relay, a connector, a ground, a run of wire, a module, a bus.

    For a short that blows a fuse it is the wiring behind that fuse: one measurement tells of all of it.
    """
    part = suspicion.wiring.parts.get(fault.at)
    if part is None:
        return fault_words(suspicion, fault)
    blown = suspicion.effects_of(fault).power.blown if fault.kind is FaultKind.SHORT_TO_GROUND else ()
    if blown:
        return f"wiring behind fuse {', '.join(sorted(blown))}"
    if part.kind is PartKind.WIRE:
        return part.run
    if part.kind is PartKind.TERMINAL:
        return part.title.rpartition(" pin ")[0]
    if part.kind in (PartKind.CONTACT, PartKind.COIL):
        return part.title.partition(",")[0]
    return part.title


def fault_words(suspicion: Suspicion, fault: Fault) -> str:
    """A fault as the sheet names it."""
    if not fault.at:
        return "a cause outside the profile"
    part = suspicion.wiring.parts.get(fault.at)
    if part is not None:
        words = {PartKind.FUSE: "blown or missing", PartKind.SWITCH: "open, or not in the position needed"}
        return f"{part.title}: {words.get(part.kind, str(fault.kind))}"
    match fault.kind:
        case FaultKind.OFF_THE_BUS:
            module, _, bus = fault.at.partition("@")
            return f"branch of bus {bus} to {module} open"
        case FaultKind.BUS_OPEN:
            bus, _, ends = fault.at.partition(":")
            first, _, second = ends.partition("|")
            return f"bus {bus} open between {first} and {second}"
        case FaultKind.BUS_SHORTED:
            return f"bus {fault.at} shorted (wires together, to ground or to supply, or by a module)"
        case FaultKind.KEY_POSITION:
            return f"the key: in {fault.at}, not in run"
        case FaultKind.NOT_FITTED:
            return f"{fault.at} not fitted in this vehicle"
        case _:
            return f"{fault.at} itself faulty"


def _module_place(profile: Profile, fault: Fault) -> str:
    name = fault.at.partition("@")[0].partition(":")[0]
    for item in (*profile.module, *profile.bus):
        if item.id == name:
            return item.place
    return ""
