"""Problems with a profile: what is silent, cut off or reported, and which single faults explain it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from dtctriage.codes.dtc import Dtc
from dtctriage.triage.checks import battery_offer, choose, circuit_offers, driver_offer, supply_offers
from dtctriage.triage.model import Check, EvidenceKind, Problem, Suspect
from dtctriage.triage.seen import Seen, Testimony
from dtctriage.triage.suspicion import Hypothesis, Suspicion, codes_of
from dtctriage.triage.view import View, now_words
from dtctriage.wiring.effects import Effects
from dtctriage.wiring.faults import Fault, FaultKind
from dtctriage.wiring.parts import PartKind
from dtctriage.wiring.profile import Profile

SHOWN_SHARE = 0.9
"""Suspects are listed until they hold this share of the suspicion."""
MOST_SUSPECTS = 5
MOST_CAUSES = 4
"""Independent causes looked for in one vehicle."""


def find_problems(view: View, suspicion: Suspicion) -> Iterator[Problem]:
    """First what is silent or cut off, then what circuits report; each cause explains what it can."""
    if view.seen is None:
        return
    seen = view.seen
    codes = _watched(suspicion.wiring.profile, seen)
    for _ in range(MOST_CAUSES):
        if not _disturbed(seen):
            break
        ranked = suspicion.weigh(seen, codes)
        problem, cause = _silence(view, suspicion, seen, ranked, codes)
        yield problem
        if cause is None:
            break
        codes -= cause.codes
        seen = _rest(seen, cause)
    calm = _calm(seen)
    for _ in range(MOST_CAUSES):
        if not codes:
            break
        ranked = suspicion.weigh(calm, codes)
        explained = frozenset(c for c in codes if _same(c, ranked[0].effects))
        if not explained:
            explained = frozenset(sorted(codes, key=str)[:1])
            ranked = suspicion.weigh(calm, explained)
        yield _circuit(view, suspicion, explained, ranked)
        codes -= explained


def _same(code: tuple[str, Dtc], expected: Effects | None) -> bool:
    return expected is not None and any(
        m == code[0] and d.number == code[1].number for m, d in expected.codes
    )


def _watched(profile: Profile, seen: Seen) -> frozenset[tuple[str, Dtc]]:
    watched = {(c.module, dtc.number) for c in profile.circuit for dtc in codes_of(c)}
    return frozenset((module, dtc) for module, dtc in seen.codes if (module, dtc.number) in watched)


def _present(item: Testimony) -> bool:
    return item.now is not False


def _disturbed(seen: Seen) -> bool:
    unsteady = any(0 < answered < asked for answered, asked in seen.answers.values())
    return bool(seen.silent) or unsteady or any(_present(item) for item in seen.testimonies)


def _rest(seen: Seen, cause: Effects) -> Seen:
    """What a cause leaves unexplained: its silent modules and testimonies are taken out."""
    known = {(loss.witness, loss.lost) for loss in cause.losses}
    return replace(
        seen,
        answers={m: pair for m, pair in seen.answers.items() if m in cause.answering},
        testimonies=tuple(
            item
            for item in seen.testimonies
            if (item.witness, item.lost) not in known and item.lost in cause.answering
        ),
    )


def _calm(seen: Seen) -> Seen:
    """The answering modules alone, for problems that are not about silence."""
    return replace(
        seen,
        answers={module: pair for module, pair in seen.answers.items() if pair[0]},
        testimonies=tuple(item for item in seen.testimonies if not _present(item)),
    )


# -- silence --------------------------------------------------------------------------------------------


def _silence(
    view: View,
    suspicion: Suspicion,
    seen: Seen,
    ranked: list[Hypothesis],
    codes: frozenset[tuple[str, Dtc]],
) -> tuple[Problem, Effects | None]:
    profile = suspicion.wiring.profile
    cause = ranked[0].effects
    silent = sorted(seen.silent - (cause.answering if cause else frozenset()))
    if not silent and cause is None:
        silent = sorted(seen.silent)
    lost = sorted({item.lost for item in seen.testimonies if _present(item)} - set(silent))
    modules = tuple(silent) or tuple(_cut_off(ranked[0], lost))
    explained = tuple(f"{m} {d}" for m, d in sorted(codes, key=str) if _same((m, d), cause))
    offers = [battery_offer(profile), *supply_offers(suspicion.wiring)]
    problem = Problem(
        title=_silence_title(silent, modules),
        modules=modules,
        evidence=tuple(_silence_evidence(view, seen, set(modules))),
        suspects=suspects(suspicion, ranked),
        checks=with_cautions(profile, modules, choose(offers, ranked, suspicion.sound)),
        stops_vehicle=any(profile.module_named(m).starts for m in modules if _known(profile, m)),
        known_by=tuple(_known_by(seen, silent)),
        explains=explained,
        open_end=_open_end(ranked),
    )
    return problem, cause


def _cut_off(top: Hypothesis, lost: list[str]) -> list[str]:
    """The module that the likeliest fault takes off a bus, else every module that is missed."""
    module = top.fault.at.partition("@")[0]
    return [module] if top.fault.kind is FaultKind.OFF_THE_BUS and module in lost else lost


def _silence_title(silent: Sequence[str], modules: Sequence[str]) -> str:
    if not silent:
        verb = "answers but is" if len(modules) == 1 else "answer but are"
        return f"{_listed(modules)} {verb} not heard by partners"
    return f"{_listed(silent)} {'does' if len(silent) == 1 else 'do'} not answer"


def _listed(names: Sequence[str]) -> str:
    if len(names) <= 6:
        return ", ".join(names) or "the bus"
    return f"{', '.join(names[:5])} and {len(names) - 5} more"


def _known(profile: Profile, module_id: str) -> bool:
    return any(module.id == module_id for module in profile.module)


def _silence_evidence(view: View, seen: Seen, modules: set[str]) -> Iterator[str]:
    for module, (answered, asked) in seen.answers.items():
        if not answered:
            text = f"no answer in {asked} of {asked} roll calls"
            yield view.ledger.cite(EvidenceKind.SILENCE, module, text)
        elif answered < asked:
            text = f"answered {answered} of {asked} roll calls"
            yield view.ledger.cite(EvidenceKind.UNSTEADY, module, text)
    for item in seen.testimonies:
        text = f"{item.code} names {item.lost}, {now_words(item.now)}"
        yield view.ledger.cite(EvidenceKind.WITNESS, item.witness, text)
    heard = sorted(m for m in seen.answering if m not in modules)
    if heard:
        yield view.ledger.cite(EvidenceKind.ANSWER, "", f"answering: {', '.join(heard)}")


def _known_by(seen: Seen, silent: Sequence[str]) -> Iterator[str]:
    for module in silent:
        witnesses = sorted({t.witness for t in seen.testimonies if t.lost == module and _present(t)})
        named = f"; missed by {', '.join(witnesses)}" if witnesses else "; no other module misses it by code"
        yield f"{module}: in the vehicle profile{named}"


def _open_end(ranked: list[Hypothesis]) -> str:
    outside = sum(item.share for item in ranked if item.outside)
    if ranked[0].outside:
        return "No single fault of the profile explains this: suspect two faults, or a profile that differs."
    if outside > 0.1:
        return f"{outside:.0%} that the cause lies outside the profile."
    return ""


# -- circuits -------------------------------------------------------------------------------------------


def _circuit(
    view: View, suspicion: Suspicion, explained: frozenset[tuple[str, Dtc]], ranked: list[Hypothesis]
) -> Problem:
    profile = suspicion.wiring.profile
    circuits = [
        circuit
        for circuit in profile.circuit
        if any(
            m == circuit.module and d.number in {c.number for c in codes_of(circuit)} for m, d in explained
        )
    ]
    offers = [offer for circuit in circuits for offer in circuit_offers(circuit)]
    offers += [
        driver_offer(circuit, profile.module_named(circuit.module))
        for circuit in circuits
        if not circuit.high_voltage
    ]
    offers += supply_offers(suspicion.wiring)
    listed = sorted(explained, key=str)
    names = ", ".join(circuit.name or circuit.id for circuit in circuits)
    return Problem(
        title=f"{names}: {', '.join(f'{dtc} in {module}' for module, dtc in listed)}",
        modules=tuple(dict.fromkeys(module for module, _ in listed)),
        evidence=tuple(view.ledger.cite(EvidenceKind.CODE, m, f"{d} is stored") for m, d in listed),
        suspects=suspects(suspicion, ranked),
        checks=choose(offers, ranked, suspicion.sound),
        stops_vehicle=any(circuit.starts for circuit in circuits),
        explains=tuple(f"{module} {dtc}" for module, dtc in listed),
        open_end=_open_end(ranked),
    )


# -- suspects -------------------------------------------------------------------------------------------


def suspects(suspicion: Suspicion, ranked: Sequence[Hypothesis]) -> tuple[Suspect, ...]:
    """Hypotheses as suspects: faults of one thing stand together, likeliest first."""
    groups: dict[str, list[Hypothesis]] = {}
    for item in ranked:
        if item.share > 1e-4:
            groups.setdefault(_thing(suspicion, item.fault), []).append(item)
    ordered = sorted(groups.items(), key=lambda pair: -sum(item.share for item in pair[1]))
    shown: list[Suspect] = []
    total = 0.0
    for thing, items in ordered:
        if len(shown) >= MOST_SUSPECTS or total >= SHOWN_SHARE:
            break
        share = sum(item.share for item in items)
        total += share
        shown.append(_suspect(suspicion, thing, items, share))
    rest = [name for name, _ in ordered[len(shown) :]]
    if rest and total < 0.99:
        shown.append(Suspect("something else on the same path", "", 1 - total, tuple(rest[:12]), ""))
    return tuple(shown)


def _suspect(suspicion: Suspicion, thing: str, items: Sequence[Hypothesis], share: float) -> Suspect:
    part = suspicion.wiring.parts.get(items[0].fault.at)
    place = part.place if part else _module_place(suspicion.wiring.profile, items[0].fault)
    members = tuple(fault_words(suspicion, item.fault) for item in items)
    return Suspect(thing, place, share, members, _because(items[0]))


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


def _thing(suspicion: Suspicion, fault: Fault) -> str:
    """What a hand would go to: a fuse, a relay, a connector, a ground, a wire, a module, a bus."""
    if not fault.at:
        return "a cause outside the profile"
    part = suspicion.wiring.parts.get(fault.at)
    if part is None:
        return fault_words(suspicion, fault)
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
        verb = "blown or missing" if part.kind is PartKind.FUSE else str(fault.kind)
        return f"{part.title}: {verb}"
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


def with_cautions(profile: Profile, modules: Sequence[str], checks: tuple[Check, ...]) -> tuple[Check, ...]:
    """High-voltage modules get no measuring check, only the hazard and who may go on."""
    if not any(_known(profile, m) and profile.module_named(m).high_voltage for m in modules):
        return checks
    warning = Check(
        "leave the high-voltage side to a qualified person with the maker's procedure",
        profile.high_voltage.where if profile.high_voltage else "high-voltage system",
        "before any work on it",
        "made safe and proven dead by the maker's procedure",
        "common practice, no source",
        1.0,
        0.0,
        "High voltage can kill.",
    )
    return (warning, *checks)
