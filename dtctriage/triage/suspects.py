"""Hypotheses in the words of the workshop: faults of one thing, which one hand reaches for, together."""

from __future__ import annotations

from collections.abc import Sequence

from dtctriage.triage.model import REST, Suspect
from dtctriage.triage.suspicion import Hypothesis, Suspicion, in_steps
from dtctriage.wiring.faults import Fault, FaultKind
from dtctriage.wiring.parts import PartKind
from dtctriage.wiring.profile import Circuit, Profile
from dtctriage.wiring.states import Case

SHOWN_SHARE = 0.9
"""Suspects are listed until they hold this share of the suspicion."""
MOST_SUSPECTS = 5
LEAST_OF_FIRST = 0.01
"""Of faults of one thing those are told that have this part of the first one's share. Common practice."""
LEAST_SHARE = 1e-4
"""Below this a hypothesis is not mentioned."""


def suspects(suspicion: Suspicion, ranked: Sequence[Hypothesis]) -> tuple[Suspect, ...]:
    """Hypotheses as suspects, likeliest first; the last one stands for the rest."""
    groups: dict[str, list[Hypothesis]] = {}
    for item in ranked:
        if item.share > LEAST_SHARE:
            groups.setdefault(things(suspicion, item.faults), []).append(item)
    last = bool(ranked) and ranked[-1].outside
    ordered = sorted(
        groups.items(),
        key=lambda pair: (last and pair[1][0].outside, -in_steps(sum(item.share for item in pair[1]))),
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
        shown.append(Suspect(REST, "", 1 - total, tuple(rest[:12]), ""))
    return tuple(shown)


def _suspect(suspicion: Suspicion, name: str, items: Sequence[Hypothesis], share: float) -> Suspect:
    places = dict.fromkeys(_place(suspicion, fault) for fault in items[0].faults)
    first = items[0]
    members = tuple(
        case_words(suspicion, item.faults)
        for item in items
        # Whatever explains less, or fits a reading far worse, is told from the first already.
        if item.explains == first.explains and item.share >= LEAST_OF_FIRST * first.share
    )
    place, origin = "; ".join(filter(None, places)), suspicion.before.origin(items[0].faults)
    return Suspect(name, place, share, members, _because(suspicion, items[0]), origin)


def _place(suspicion: Suspicion, fault: Fault) -> str:
    part = suspicion.wiring.parts.get(fault.at)
    return part.place if part else _module_place(suspicion.wiring.profile, fault)


def _because(suspicion: Suspicion, item: Hypothesis) -> str:
    if item.outside:
        return "the profile's faults do not fit the evidence well"
    shown = suspicion.effects_of_case(item.faults)
    losses = len(shown.losses)
    silent = len(shown.volts) - len(shown.answering)
    codes = ", ".join(f"{dtc} in {module}" for module, dtc in sorted(shown.codes, key=str))
    effects = [f"silence {silent} module{'s' if silent != 1 else ''}"] if silent else []
    effects += [f"cause {losses} lost-communication code{'s' if losses != 1 else ''}"] if losses else []
    effects += [f"store {codes}"] if codes else []
    return f"would {' and '.join(effects)}" if effects else ""


def things(suspicion: Suspicion, case: Case) -> str:
    """`thing` of one fault, or of two together."""
    if not case:
        return "a cause outside the profile"
    return " together with ".join(dict.fromkeys(thing(suspicion, fault) for fault in case))


def case_words(suspicion: Suspicion, case: Case) -> str:
    """One fault, or two together, as the sheet names them."""
    if not case:
        return "a cause outside the profile"
    return " together with ".join(fault_words(suspicion, fault) for fault in case)


def thing(suspicion: Suspicion, fault: Fault) -> str:
    """What a hand would go to: a fuse, a relay, a connector, a ground, a run of wire, a module, a bus.

    For a short that blows a fuse it is the wiring behind that fuse: one measurement tells of all of it.
    """
    if fault.kind is FaultKind.SHORT_TO_NEIGHBOUR:
        pin = suspicion.wiring.parts[f"pin {fault.at.partition('|')[0]}"]
        return pin.title.rpartition(" pin ")[0]
    part = suspicion.wiring.parts.get(fault.at)
    if part is None:
        return _inner_thing(suspicion, fault)
    blown = suspicion.effects_of(fault).power.blown if fault.kind is FaultKind.SHORT_TO_GROUND else ()
    if blown:
        fuses = [fuse.called("fuse") for fuse in suspicion.wiring.profile.fuse if fuse.id in blown]
        return f"wiring behind {', '.join(sorted(fuses))}"
    if part.kind is PartKind.WIRE:
        return part.run
    if part.kind is PartKind.TERMINAL:
        return part.title.rpartition(" pin ")[0]
    if part.kind in (PartKind.CONTACT, PartKind.COIL, PartKind.SENSOR):
        return part.title.partition(",")[0]
    return part.title


def _inner_thing(suspicion: Suspicion, fault: Fault) -> str:
    """Faults of modules, buses and the key: those that the same hand reaches for under one name."""
    match fault.kind:
        case FaultKind.MODULE_DEAD | FaultKind.MODULE_ASLEEP:
            return f"{fault.at} itself"
        case FaultKind.DRIVER_ON | FaultKind.DRIVER_OFF:
            return f"{_circuit(suspicion.wiring.profile, fault.at).module} itself"
        case FaultKind.SENSE_FALSE:
            return f"{fault.at.rpartition(' ')[0]} itself"
        case FaultKind.BUS_SHORTED | FaultKind.BUS_TO_GROUND | FaultKind.BUS_TO_SUPPLY:
            return f"bus {fault.at} shorted"
        case _:
            return fault_words(suspicion, fault)


def _circuit(profile: Profile, circuit_id: str) -> Circuit:
    return next(item for item in profile.circuit if item.id == circuit_id)


def fault_words(suspicion: Suspicion, fault: Fault) -> str:
    """A fault as the sheet names it."""
    if fault.kind is FaultKind.SHORT_TO_NEIGHBOUR:
        first, _, second = fault.at.partition("|")
        ends = f"{first.rpartition(':')[2]} and {second.rpartition(':')[2]}"
        return f"{thing(suspicion, fault)}: pins {ends} touch"
    part = suspicion.wiring.parts.get(fault.at)
    if part is not None:
        words = {
            PartKind.FUSE: "blown or missing",
            PartKind.SWITCH: "open, or not in the position needed",
            PartKind.BATTERY: "flat, or a clamp loose or corroded",
        }
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
            return f"bus {fault.at} shorted: its wires touch, or a module holds them together"
        case FaultKind.BUS_TO_GROUND:
            return f"bus {fault.at} shorted: a wire touches ground"
        case FaultKind.BUS_TO_SUPPLY:
            return f"bus {fault.at} shorted: a wire touches battery plus"
        case FaultKind.TERMINATION_MISSING:
            bus, _, entry = fault.at.partition(":")
            return f"termination of bus {bus} in {entry} missing"
        case FaultKind.MODULE_ASLEEP:
            return f"{fault.at} asleep: sound, and nothing has woken it"
        case FaultKind.DRIVER_ON:
            return f"{_circuit(suspicion.wiring.profile, fault.at).module}: output of {fault.at} always on"
        case FaultKind.DRIVER_OFF:
            return f"{_circuit(suspicion.wiring.profile, fault.at).module}: output of {fault.at} never on"
        case FaultKind.SENSE_FALSE:
            module, _, code = fault.at.rpartition(" ")
            return f"{module} stores {code} although the circuit is sound"
        case FaultKind.KEY_POSITION:
            return f"the key: in {fault.at}, not in run"
        case FaultKind.NOT_FITTED:
            return f"{fault.at} not fitted in this vehicle"
        case _:
            return f"{fault.at} itself faulty"


def _module_place(profile: Profile, fault: Fault) -> str:
    """Where a module is; of a bus its place at the connector, of a part of it that of its ends."""
    places = {item.id: item.place for item in (*profile.bus, *profile.connector, *profile.module)}
    bus, _, rest = fault.at.partition(":")
    if fault.kind is FaultKind.BUS_OPEN:
        known = [place for end in rest.split("|") if (place := places.get(end, ""))]
        return f"between {' and '.join(known)}" if len(known) > 1 else ""
    entry = rest if fault.kind is FaultKind.TERMINATION_MISSING else bus.partition("@")[0]
    return places.get(entry, "")
