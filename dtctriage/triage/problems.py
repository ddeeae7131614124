"""Problems with a profile: what is silent, cut off or reported, and which single faults explain it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial

from dtctriage.codes.dtc import Dtc
from dtctriage.triage.checks import KEY_ON, POWER_OFF, battery_offer, key_offer, supply_offers, terminated
from dtctriage.triage.choose import CLEAR, LEAST_SHARE, Offer, choose
from dtctriage.triage.circuit_checks import offers_at
from dtctriage.triage.hazards import left_to_the_trained, touches_high_voltage, warned
from dtctriage.triage.model import Check, EvidenceKind, Problem
from dtctriage.triage.proof import proved
from dtctriage.triage.sections import Sections
from dtctriage.triage.seen import Seen
from dtctriage.triage.suspects import suspects, things
from dtctriage.triage.suspicion import Hypothesis, Suspicion
from dtctriage.triage.tables import default_minutes, limit
from dtctriage.triage.trouble import Trouble
from dtctriage.triage.view import View, now_words
from dtctriage.triage.watched import Watched, buses_reported, codes_of_part, watched
from dtctriage.triage.wording import listed
from dtctriage.wiring.bench import Observation
from dtctriage.wiring.faults import FaultKind
from dtctriage.wiring.profile import Profile

MOST_CAUSES = 6
"""Independent causes looked for in one vehicle."""
ENOUGH_ROUNDS = 10
"""Roll calls after which a missing answer is taken for more than a lost frame. Common practice, no source."""
COMES_AND_GOES = "Not failing now: the fault comes and goes. Look while the harness is moved."


def find_problems(view: View, suspicion: Suspicion) -> Iterator[Problem]:
    """One problem for each cause, the one that explains most first; past circuit codes at the end."""
    if view.seen is None:
        return
    yield from causes(view, suspicion, view.seen, suspicion.trouble(view.seen))
    yield from past_causes(view, suspicion, view.seen)


def past_causes(view: View, suspicion: Suspicion, seen: Seen) -> Iterator[Problem]:
    """The problems behind circuit codes that are stored and not failing now: they stop nothing."""
    for problem in causes(view, suspicion, seen, suspicion.past_trouble(seen)):
        words = f"{COMES_AND_GOES} {problem.open_end}".strip()
        yield replace(problem, open_end=words, stops_vehicle=False, past=True)


def causes(view: View, suspicion: Suspicion, seen: Seen, trouble: Trouble) -> Iterator[Problem]:
    """One problem for each cause of a trouble, the one that explains most first."""
    for part, ranked in divided(suspicion, seen, trouble, view.observations):
        about = _silence if part.silence else _circuit
        yield replace(about(view, suspicion, part, ranked), trouble=part)


def divided(
    suspicion: Suspicion, seen: Seen, trouble: Trouble, observations: Sequence[Observation] = ()
) -> Iterator[tuple[Trouble, list[Hypothesis]]]:
    """The trouble of each independent cause with its suspects, the cause that explains most first."""
    for _ in range(MOST_CAUSES):
        if not trouble:
            return
        part = _part(suspicion, suspicion.weigh(seen, trouble, observations)[0], trouble)
        # Whatever else is wrong has its own problem: it must not colour the suspicion here.
        yield part, suspicion.weigh(seen, part, observations)
        trouble = trouble.without(part)


def offers_for(suspicion: Suspicion, part: Trouble, ranked: Sequence[Hypothesis]) -> list[Offer]:
    """Every check that may be done about a trouble."""
    profile = suspicion.wiring.profile
    supplies = supply_offers(suspicion.wiring, _places(ranked))
    if part.silence:
        return [key_offer(), battery_offer(profile), *supplies]
    at_circuits = [offer for item in _circuits_of(profile, part) for offer in offers_at(profile, item)]
    return [*at_circuits, *supplies]


def _part(suspicion: Suspicion, cause: Hypothesis, trouble: Trouble) -> Trouble:
    """What belongs to one cause. Of two faults each has its own problem where each explains something."""
    if cause.outside:
        return _lump(trouble)
    alone = [suspicion.explains(fault, trouble) for fault in cause.faults]
    if len(alone) > 1 and all(alone):
        return max(alone, key=len)
    return cause.explains


def _lump(trouble: Trouble) -> Trouble:
    """What no single fault explains: all silence together, or the codes of one module."""
    if trouble.silence:
        return trouble.silence
    first = min(module for module, _ in trouble.codes)
    return Trouble(codes=frozenset(code for code in trouble.codes if code[0] == first))


# -- silence --------------------------------------------------------------------------------------------


def _silence(view: View, suspicion: Suspicion, part: Trouble, ranked: list[Hypothesis]) -> Problem:
    profile = suspicion.wiring.profile
    modules = _modules(part, ranked[0])
    concerned = [module for module in profile.module if module.id in modules]
    proof = proved(suspicion, view.seen, ranked, view.observations)
    checks = () if proof else _checks(view, suspicion, part, ranked)
    return Problem(
        title=_title(part, modules),
        modules=modules,
        evidence=tuple(_evidence(view, part)),
        suspects=suspects(suspicion, ranked),
        sides=Sections(suspicion.wiring).shares(ranked),
        checks=warned(
            profile,
            any(module.high_voltage for module in concerned),
            (*_again(view, part), *checks, *_by_hand(profile, ranked), *left_to_the_trained(concerned)),
        ),
        stops_vehicle=any(module.starts for module in concerned),
        known_by=tuple(_known_by(view.seen, part)) if view.seen else (),
        explains=tuple(_consequences(view, part)),
        open_end="" if proof else _open_end(ranked),
        proved=proof,
    )


def _checks(view: View, suspicion: Suspicion, part: Trouble, ranked: list[Hypothesis]) -> tuple[Check, ...]:
    offers = offers_for(suspicion, part, ranked)
    return choose(suspicion.bench, left(view, offers), ranked, partial(things, suspicion))


def _again(view: View, part: Trouble) -> Iterator[Check]:
    """Who is only unsteady is called again before anything is measured: a lost frame looks the same."""
    if not part.unsteady or part.silent or part.missed or view.picture.rounds >= ENOUGH_ROUNDS:
        return
    names = listed(sorted(part.unsteady))
    yield Check(
        f"call the roll {ENOUGH_ROUNDS} times more while plug, fuse and ground of {names} are moved by hand",
        f"intake with --rounds {ENOUGH_ROUNDS}",
        KEY_ON,
        f"{ENOUGH_ROUNDS} of {ENOUGH_ROUNDS}: a frame was lost on the way, and nothing is wrong",
        "common practice, no source",
        default_minutes("key"),
        0.0,
    )


def _by_hand(profile: Profile, ranked: Sequence[Hypothesis]) -> Iterator[Check]:
    """Where on a shorted bus the short is, no single reading tells."""
    shares = {bus.id: sum(item.share for item in ranked if _all_at(item, bus.id)) for bus in profile.bus}
    bus = max(profile.bus, key=lambda item: shares[item.id], default=None)
    if bus is None or shares[bus.id] < CLEAR:
        return
    yield Check(
        f"leave the meter on the pair and unplug the modules of bus {bus.id} one after the other",
        "the diagnostic connector, then each module's plug; airbag modules last, by the maker's procedure",
        POWER_OFF,
        f"sound again when the culprit is off, be it a module or its branch; {terminated(bus)}",
        limit("pair_ohms").source,
        default_minutes("module"),
        0.0,
    )


def _all_at(item: Hypothesis, place: str) -> bool:
    return not item.outside and all(fault.at == place for fault in item.faults)


def left(view: View, offers: Sequence[Offer]) -> list[Offer]:
    """The offers that were not measured yet."""
    taken = {item.probe for item in view.observations}
    return [offer for offer in offers if not offer.probes or not taken.issuperset(offer.probes)]


def _modules(part: Trouble, top: Hypothesis) -> tuple[str, ...]:
    """Whom the problem is about: the silent, else the unsteady, else the one cut off, else all missed."""
    if part.silent or part.unsteady:
        return tuple(sorted(part.silent or part.unsteady))
    lost = {lost for _, lost in part.missed}
    cut_off = "" if top.outside else top.fault.at.partition("@")[0]
    if (
        not top.outside
        and top.fault.kind is FaultKind.OFF_THE_BUS
        and cut_off in lost | {who for who, _ in part.missed}
    ):
        return (cut_off,)
    return tuple(sorted(lost))


def _title(part: Trouble, modules: Sequence[str]) -> str:
    one = len(modules) == 1
    if part.silent:
        return f"{listed(modules)} {'does' if one else 'do'} not answer"
    if part.unsteady:
        return f"{listed(modules)} {'answers' if one else 'answer'} only now and then"
    return f"{listed(modules)} {'answers but is' if one else 'answer but are'} not heard by partners"


def _evidence(view: View, part: Trouble) -> Iterator[str]:
    seen = view.seen
    if seen is None:
        return
    for module in sorted(part.silent | part.unsteady):
        answered, asked = seen.answers[module]
        kind = EvidenceKind.UNSTEADY if answered else EvidenceKind.SILENCE
        text = (
            f"answered {answered} of {asked} roll calls" if answered else f"no answer in {asked} roll calls"
        )
        yield view.ledger.cite(kind, module, text)
    for item in seen.testimonies:
        if (item.witness, item.lost) in part.missed:
            text = f"{item.code} names {item.lost}, {now_words(item.now)}"
            yield view.ledger.cite(EvidenceKind.WITNESS, item.witness, text)
    yield from (view.ledger.cite(EvidenceKind.CODE, m, f"{d} is stored") for m, d in _in_order(part))
    heard = sorted(seen.answering - part.unsteady)
    if heard:
        yield view.ledger.cite(EvidenceKind.ANSWER, "", f"answering: {', '.join(heard)}")


def _places(ranked: Sequence[Hypothesis]) -> frozenset[str]:
    return frozenset(fault.at for item in ranked if item.share > LEAST_SHARE for fault in item.faults)


def _known_by(seen: Seen, part: Trouble) -> Iterator[str]:
    for module in sorted(part.silent):
        witnesses = sorted({t.witness for t in seen.testimonies if t.lost == module and t.present})
        named = f"; missed by {', '.join(witnesses)}" if witnesses else "; no other module misses it by code"
        yield f"{module}: in the vehicle profile{named}"


def _consequences(view: View, part: Trouble) -> Iterator[str]:
    """The codes that only say what the problem says, "MODULE CODE" each."""
    for item in view.seen.testimonies if view.seen else ():
        if (item.witness, item.lost) in part.missed or item.lost in part.silent:
            yield f"{item.witness} {item.code}"
    yield from (f"{module} {dtc}" for module, dtc in _in_order(part))


def _in_order(part: Trouble) -> list[tuple[str, Dtc]]:
    return sorted(part.codes, key=str)


def _open_end(ranked: list[Hypothesis]) -> str:
    outside = sum(item.share for item in ranked if item.outside)
    if ranked[0].outside:
        return (
            "No fault of the profile, nor two of them, explain this: the profile may differ from the vehicle."
        )
    if outside > 0.1:
        return f"{round(100 * outside)} % that the cause lies outside the profile."
    return ""


# -- circuits -------------------------------------------------------------------------------------------


def _circuit(view: View, suspicion: Suspicion, part: Trouble, ranked: list[Hypothesis]) -> Problem:
    profile = suspicion.wiring.profile
    circuits = _circuits_of(profile, part)
    proof = proved(suspicion, view.seen, ranked, view.observations)
    checks = () if proof else _checks(view, suspicion, part, ranked)
    in_order = _in_order(part)
    codes = ", ".join(f"{dtc} in {module}" for module, dtc in in_order)
    names = [circuit.name or circuit.id for circuit in circuits] + _buses_of(profile, part)
    return Problem(
        title=f"{listed(names)}: {codes}",
        modules=tuple(dict.fromkeys(module for module, _ in in_order)),
        evidence=tuple(view.ledger.cite(EvidenceKind.CODE, m, f"{d} is stored") for m, d in in_order),
        suspects=suspects(suspicion, ranked),
        sides=Sections(suspicion.wiring).shares(ranked),
        checks=warned(profile, any(touches_high_voltage(profile, c) for c in circuits), checks),
        stops_vehicle=any(circuit.starts for circuit in circuits),
        open_end="" if proof else _open_end(ranked),
        proved=proof,
    )


def _buses_of(profile: Profile, part: Trouble) -> list[str]:
    numbers = {(module, dtc.number) for module, dtc in part.codes}
    found = (
        bus.called("bus") for bus, module, dtc in buses_reported(profile) if (module, dtc.number) in numbers
    )
    return list(dict.fromkeys(found))


def _circuits_of(profile: Profile, part: Trouble) -> list[Watched]:
    numbers = {(module, dtc.number) for module, dtc in part.codes}
    return [
        circuit
        for circuit in watched(profile)
        if any((circuit.module, dtc.number) in numbers for dtc in codes_of_part(circuit))
    ]
