"""From a picture to an assessment: the situation, the problems, the findings and the lines of the sheet."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.meaning import NO_SHOP, ShopMeanings, hazard_of
from dtctriage.codes.network import roles
from dtctriage.link import NoticeKind
from dtctriage.sweep.events import Stage
from dtctriage.sweep.picture import Picture
from dtctriage.triage import problems as profiled
from dtctriage.triage import unprofiled
from dtctriage.triage.generic import Basis, basis_of
from dtctriage.triage.hazards import RESTRAINT, is_airbag
from dtctriage.triage.history import History, OwnClearing
from dtctriage.triage.layout import missed_now
from dtctriage.triage.lines import code_lines, module_lines
from dtctriage.triage.model import (
    Abstained,
    Assessment,
    CodeLine,
    EvidenceKind,
    Finding,
    Problem,
    Situation,
    Weight,
)
from dtctriage.triage.ranking import RAISING, Ranking, ranking
from dtctriage.triage.rules import ALL, explained, name_of
from dtctriage.triage.rules.low_supply import too_low
from dtctriage.triage.seen import seen_by
from dtctriage.triage.suspicion import Suspicion
from dtctriage.triage.tables import limit, percent
from dtctriage.triage.usual import usual_words
from dtctriage.triage.view import NOTHING_TOLD, STAGES, Ledger, Told, View
from dtctriage.triage.who import Answer, who_answers
from dtctriage.wiring.bench import Observation
from dtctriage.wiring.threads import one_thread

SHARING = "shared_part"
"""The rule that names what parts with a code hang on."""


def assess(
    picture: Picture,
    suspicion: Suspicion | None = None,
    vin_entered: str | None = None,
    history: History | None = None,
    told: Told = NOTHING_TOLD,
    observations: Sequence[Observation] = (),
    shop: ShopMeanings = NO_SHOP,
    basis: Basis | None = None,
    clearings: Sequence[OwnClearing] = (),
    usual: Sequence[str] = (),
    settled: Collection[tuple[str, int]] = (),
) -> Assessment:
    """Judge a picture, with a profile's wiring, the shop's records and the technician's word where given.

    `observations` are the readings taken since, in the words of the profile's wiring; `shop` are its own
    meanings of codes. Without a profile `basis` is the generic vehicle; unless given it is laid out here.
    `clearings` are those of this vehicle by the shop itself, the latest first. `usual` are modules that the
    profile gives no wires, so that usual ones stand for them. `settled`: codes, by module and number, that
    failed before a repair: one that does not now is no fault that comes and goes.
    """
    profile = suspicion.wiring.profile if suspicion else None
    seen = seen_by(picture, profile) if profile else None
    known = (history, told, tuple(observations), shop, tuple(clearings))
    view = View(picture, profile, seen, vin_entered, Ledger(), *known)
    situation = _situation(view, suspicion)
    found: tuple[Problem, ...] = ()
    if situation not in (Situation.NO_SUPPLY, Situation.LOW_SUPPLY, Situation.NOT_ASKED):
        with one_thread():
            every = (item for item in _problems(view, suspicion, basis) if not _settled(item, settled))
            found = tuple(sorted(every, key=_not_stopping))
        found = tuple(_marked_usual(item, usual) for item in found)
        situation = _refine(view, situation, found)
    view = replace(view, explained=tuple(map(_explained, found)))
    verdicts = tuple(_verdicts(view, situation))
    spoken = (explained(item) for item in verdicts if isinstance(item, Finding))
    wired = [item for item in found if not _generic(view, item)]
    weighed = sorted((item for item in spoken if not _said_already(item, wired)), key=_weight)
    order = ranking(view, wired, weighed)
    findings = [item for item in weighed if not _said_already(item, found)]
    codes = tuple(_demoted(line, order) for line in code_lines(view, found))
    vin, vin_from = _vin(view)
    return Assessment(
        situation,
        _headline(situation, found, codes),
        vin,
        vin_from,
        view.ledger.all,
        module_lines(view, found),
        found,
        tuple(findings),
        codes,
        tuple(_cautions(view, codes)),
        tuple(_missing(picture)),
        tuple(_readiness(view)),
        order.ranked,
        tuple(item for item in verdicts if isinstance(item, Abstained)),
    )


def _marked_usual(problem: Problem, usual: Sequence[str]) -> Problem:
    names = [name for name in problem.modules if name in usual]
    if not names:
        return problem
    return replace(problem, open_end=f"{usual_words(names)} {problem.open_end}".strip())


def _not_stopping(problem: Problem) -> bool:
    return not problem.stops_vehicle


def _settled(problem: Problem, settled: Collection[tuple[str, int]]) -> bool:
    """Whether a problem is only about codes in history that a repair has put there."""
    codes = problem.trouble.codes if problem.trouble else ()
    return problem.past and all((module, dtc.number) in settled for module, dtc in codes)


def _explained(problem: Problem) -> frozenset[str]:
    about = problem.trouble.codes if problem.trouble else ()
    return frozenset({*problem.explains, *(f"{module} {dtc}" for module, dtc in about)})


def _problems(view: View, suspicion: Suspicion | None, basis: Basis | None) -> Iterator[Problem]:
    if suspicion is not None:
        yield from profiled.find_problems(view, suspicion)
    else:
        yield from unprofiled.find_problems(view, basis or basis_of(view.picture, shop=view.shop))


# -- situation and headline -----------------------------------------------------------------------------


def _situation(view: View, suspicion: Suspicion | None) -> Situation:
    picture = view.picture
    if not picture.modules and _no_supply(picture):
        return Situation.NO_SUPPLY
    if view.passed(Stage.ROLL_CALL) and too_low(view):
        return Situation.LOW_SUPPLY
    if not picture.modules:
        return Situation.ALL_SILENT if view.passed(Stage.ROLL_CALL) else Situation.NOT_ASKED
    silent = view.seen.silent if view.seen is not None else frozenset[str]()
    if suspicion is not None:
        silent &= suspicion.sound.answering  # while cranking, a sound radio is silent
    if silent:
        return Situation.ONE_SILENT if len(silent) == 1 else Situation.SOME_SILENT
    if any(said.codes for said in picture.modules.values()):
        return Situation.CODES_ONLY
    if not view.read_modules:
        return Situation.CODES_NOT_READ
    return Situation.NOTHING_FOUND


def _no_supply(picture: Picture) -> bool:
    """Whoever answers has supply, whatever the adapter's voltmeter says."""
    if any(given.notice is NoticeKind.NO_SUPPLY for given in picture.notices):
        return True
    return picture.supply is not None and picture.supply < (limit("no_supply").low or 0)


def _refine(view: View, situation: Situation, found: Sequence[Problem]) -> Situation:
    """Testimony can turn "codes only" into a module cut off, or, without a profile, into silent ones.

    Silent is who was asked and does not answer; others are only missed.
    """
    if situation is not Situation.CODES_ONLY:
        return situation
    losses = [item for item in found if _is_loss(item, view)]
    missed = [item for item in losses if item.known_by]
    if view.profile is None and missed:
        who = who_answers(view)
        silent = [role for role in missed_now(view) if who.answer_of(role) is Answer.NO]
        if not silent:
            return Situation.MISSED
        return Situation.ONE_SILENT if len(silent) == 1 else Situation.SOME_SILENT
    return Situation.ONE_CUT_OFF if losses else situation


def _generic(view: View, problem: Problem) -> bool:
    """About a circuit that nobody has a diagram of: its codes stand in the list by themselves."""
    return view.profile is None and problem.trouble is not None and not problem.trouble.silence


def _is_loss(problem: Problem, view: View) -> bool:
    kinds = {item.id: item.kind for item in view.ledger.all}
    return any(kinds[cited] is EvidenceKind.WITNESS for cited in problem.evidence)


def _headline(situation: Situation, found: Sequence[Problem], codes: Sequence[CodeLine]) -> str:
    if situation is Situation.NO_SUPPLY:
        return "No supply at the diagnostic connector: nothing can be read before it is sound."
    if situation is Situation.LOW_SUPPLY:
        return "The supply is too low to judge who is silent: nothing else is suspected before it is sound."
    if situation is Situation.NOT_ASKED:
        return "The sweep broke off before the roll call was done: nothing is known about the modules."
    if found:
        first = found[0]
        text = f"{first.title[:1].upper()}{first.title[1:]}"
        if first.suspects:
            top = first.suspects[0]
            text += f": suspect first {top.title} ({percent(top.share)})"
        more = f"; {len(found) - 1} more below" if len(found) > 1 else ""
        return f"{text}{more}."
    if situation is Situation.ALL_SILENT:
        return "No module answers."
    if codes:
        alone = sum(not line.because for line in codes)
        return f"Every module that was asked answers; {alone} code{'s' if alone != 1 else ''} to follow up."
    if situation is Situation.CODES_NOT_READ:
        return "Modules answer, but no codes were read: their absence proves nothing."
    return "Every module that was asked answers and no code is stored."


# -- identity, cautions, what is missing ----------------------------------------------------------------


def _vin(view: View) -> tuple[str | None, str]:
    """The engine module's VIN, else the one most modules hold, else the repair order's."""
    for label, said in view.modules:
        vin = next((vin for vin in said.vins.values() if vin), "")
        if vin and view.is_engine(said):
            return vin, f"engine module {label}"
    holders: dict[str, list[str]] = {}
    for label, said in view.modules:
        for vin in dict.fromkeys(said.vins.values()):
            if vin:
                holders.setdefault(vin, []).append(label)
    if holders:
        vin, labels = max(holders.items(), key=lambda pair: len(pair[1]))
        return vin, f"module {labels[0]}" + (f" and {len(labels) - 1} more" if len(labels) > 1 else "")
    if view.vin_entered:
        return view.vin_entered, "repair order"
    return None, ""


def _demoted(line: CodeLine, order: Ranking) -> CodeLine:
    """The line with what its code follows from, a problem's own word first."""
    return replace(line, because=line.because or order.demoted.get(f"{line.module} {line.code}", ""))


def _said_already(finding: Finding, found: Sequence[Problem]) -> bool:
    """Whether a problem holds all the codes that a finding groups, and says no less about them."""
    if not finding.explains:
        return False
    holding = [item for item in found if set(finding.evidence) <= set(item.evidence)]
    return any(not _says_less(item, finding) for item in holding)


def _says_less(problem: Problem, finding: Finding) -> bool:
    if finding.rule == RAISING:
        return not problem.stops_vehicle
    # Suspects are told place by place; only this rule names what several of them have in common.
    return finding.rule == SHARING and len(problem.suspects) > 1


def _weight(finding: Finding) -> int:
    return list(Weight).index(finding.weight)


def _verdicts(view: View, situation: Situation) -> Iterator[Finding | Abstained]:
    if situation is Situation.NO_SUPPLY:
        shown = view.picture.supply
        text = f"{shown:.1f} V at pin 16" if shown is not None else "the adapter says it has no supply"
        yield Finding(
            "no_supply",
            Weight.STOPS,
            "No supply at the diagnostic connector",
            "Pin 16 carries battery voltage at all times, pins 4 and 5 are its grounds.",
            (view.ledger.cite(EvidenceKind.SUPPLY, "", text),),
            "SAE J1962",
            "Check the fuse of pin 16 (often shared with the power socket or lighter), then pins 4 and 5.",
        )
        yield from (
            Abstained(name_of(rule), "the connector has no supply: nothing was asked") for rule in ALL
        )
        return
    for rule in ALL:
        yield from rule(view)


def _cautions(view: View, codes: Sequence[CodeLine]) -> Iterator[str]:
    profile = view.profile
    hazards = {hazard_of(view.meaning(Dtc.parse(line.code)).subject) for line in codes}
    if profile is not None and profile.high_voltage is not None:
        yield (
            f"High voltage ({profile.high_voltage.volts:g} V, {profile.high_voltage.where}): only qualified "
            "people, made safe by the maker's procedure. No check on this sheet goes near it."
        )
    elif "high_voltage" in hazards or _drives_on_high_voltage(view):
        yield (
            "High voltage may be fitted: orange cables are for qualified people with the maker's procedure."
        )
    if _has_airbag(view):
        yield (
            "Airbags and belt tensioners: follow the maker's procedure before unplugging; "
            "never an ohmmeter or a lamp on their circuits."
        )
    yield (
        "Battery off before ohms; keep clear of belts, fans and driven wheels; park brake on, no running "
        "engine indoors without extraction. The maker's procedure and local rules go first."
    )


def _drives_on_high_voltage(view: View) -> bool:
    known = roles()
    return any(known[role].group == "hybrid_ev" for role in view.accusations())


def _has_airbag(view: View) -> bool:
    known = roles()
    if any(known[role].group == RESTRAINT for role in view.accusations()):
        return True
    return view.profile is not None and any(is_airbag(module) for module in view.profile.module)


def _missing(picture: Picture) -> Iterator[str]:
    if picture.finished:
        return
    reached = STAGES.index(picture.stage) if picture.stage in STAGES else 0
    why = picture.broken or "the program was stopped"
    yield f"The sweep broke off during {STAGES[reached]}: {why}"
    for stage in STAGES[reached + 1 :]:
        yield f"{stage}: not read"


def _readiness(view: View) -> Iterator[tuple[str, str]]:
    for label, said in view.modules:
        state = said.readiness
        if state is None:
            continue
        waiting = [item.name for item in state.monitors if item.monitored and not item.complete]
        lamp = "lamp on" if state.mil_on else "lamp off"
        monitors = f"not complete: {', '.join(waiting)}" if waiting else "all monitors complete"
        yield label, f"{lamp}, {state.code_count} codes, {monitors}"
