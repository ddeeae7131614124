"""Problems without a profile: silence and codes weighed on a generic vehicle, told in words that fit any.

The vehicle is that of `generic`; the same suspicion and the same choice of checks run on it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from functools import partial

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.network import roles
from dtctriage.triage import problems as profiled
from dtctriage.triage.checks import battery_offer
from dtctriage.triage.choose import choose
from dtctriage.triage.coded_circuits import CodedCircuit
from dtctriage.triage.generic import DRIVES, STARTING_ROLES, Basis
from dtctriage.triage.hazards import left_to_the_trained, warned
from dtctriage.triage.layout import Layout, centre_of
from dtctriage.triage.model import Check, EvidenceKind, Problem
from dtctriage.triage.suspects import suspects, things
from dtctriage.triage.tables import default_minutes, limit
from dtctriage.triage.trouble import Trouble
from dtctriage.triage.view import Accusations, View, now_words
from dtctriage.triage.who import Answer, Who
from dtctriage_reference import rows

NO_PROFILE = "No vehicle profile: shares are the trade's usual ones, not this vehicle's."
NO_READING = (
    "Its own transceiver, or its supply dipping while the vehicle starts, show in no reading at rest."
)
DIPS = "A supply that dips for all while the vehicle starts does the same: look at battery and main grounds."
PROFILE, USUAL = "vehicle profile", "common practice, no source"
"""Where a check's limits come from: a profile's own, and those of a circuit that is only usual."""
SHARED = "Whatever they share comes first."
BETWEEN_THEM = (
    "Who is reached by the tester has supply and ground: it is cut off between the gateway and its bus, or "
    "the module that misses it is."
)
OWN_WIRING = "Fuses, grounds and bus are this vehicle's own"
ENTER = "enter them: dtctriage circuit add ORDER {}."
PAIR = (
    "Generic pair: who is on it is this vehicle's own. Modules answer now, so the fault comes and goes, or "
    "this is not the pair that leads to the connector."
)
GENERIC = "Generic circuit: pins and colours are this vehicle's own"


def find_problems(view: View, basis: Basis) -> Iterator[Problem]:
    """Everything silent at once, or the modules that others miss; then circuits that codes speak of."""
    if not basis.tells:
        return
    seen, suspicion = basis.seen, basis.suspicion
    trouble = suspicion.trouble(seen)
    silence = trouble.silence
    if basis.layout is not Layout.WHOLE and silence:
        # Who reports the bus itself speaks of the same network.
        silence = replace(silence, codes=trouble.codes & basis.bus_codes)
        yield _silence(view, basis, silence)
    now = list(profiled.causes(view, suspicion, seen, trouble.without(silence)))
    past = list(profiled.past_causes(view, suspicion, seen))
    yield from (_reported(one) for one in (*now, *past) if _about_bus(basis, one))
    yield from (_dangerous(view, item) for item in basis.circuits if item.dangerous)
    yield from _by_weight(basis, now)
    yield from _by_weight(basis, past)


# -- silence --------------------------------------------------------------------------------------------


def _silence(view: View, basis: Basis, trouble: Trouble) -> Problem:
    suspicion = basis.suspicion
    ranked = suspicion.weigh(basis.seen, trouble, view.observations)
    told = _TOLD[basis.layout](view, basis)
    offers = profiled.left(view, profiled.offers_for(suspicion, trouble, ranked))
    named = partial(things, suspicion)
    # Where the adapter does not show the connector's supply, the battery comes first and then the connector.
    dark = basis.layout is Layout.ALL_SILENT and told.checks
    battery = [item for item in offers if dark and item.what == battery_offer(basis.profile).what]
    first = choose(suspicion.bench, battery, ranked, named)
    checks = choose(suspicion.bench, [item for item in offers if item not in battery], ranked, named)
    drives = any(roles()[role].group == DRIVES for role in basis.missed)
    missed = [module for module in basis.profile.module if module.role in basis.missed]
    codes = sorted(trouble.codes, key=str)
    cited = [view.ledger.cite(EvidenceKind.CODE, who, f"{dtc} is stored") for who, dtc in codes]
    return replace(
        told,
        evidence=(*told.evidence, *cited),
        suspects=suspects(suspicion, ranked),
        checks=warned(basis.profile, drives, (*first, *told.checks, *checks, *left_to_the_trained(missed))),
        trouble=trouble,
    )


def _all_silent(view: View, basis: Basis) -> Problem:
    evidence = [
        view.ledger.cite(EvidenceKind.SILENCE, "", f"no module answered in {view.picture.rounds} roll calls")
    ]
    if _supply_shown(view):
        text = f"{view.picture.supply:.1f} V at the connector: battery and pins 16, 4 and 5 are there"
        evidence.append(view.ledger.cite(EvidenceKind.SUPPLY, "", text))
    for notice in view.picture.notices:
        evidence.append(view.ledger.cite(EvidenceKind.NOTICE, "", f"adapter: {notice.text}"))
    return Problem(
        "no module answers",
        (),
        tuple(dict.fromkeys(evidence)),
        (),
        tuple(_connector(view)),
        True,
        open_end=NO_PROFILE,
    )


def _supply_shown(view: View) -> bool:
    """Whether the adapter itself shows that battery and connector are sound."""
    return view.picture.supply is not None and view.picture.supply >= (limit("pin16").low or 0.0)


def _connector(view: View) -> Iterator[Check]:
    """Pin 16, where the adapter does not show what it has."""
    if _supply_shown(view):
        return
    rule = limit("pin16")
    yield Check(
        "measure pin 16 against pins 4 and 5",
        "diagnostic connector",
        "key off",
        rule.expect,
        rule.source,
        default_minutes("diagnostic connector"),
        0.0,
    )


def _cut_off(view: View, basis: Basis) -> Problem:
    """One module and its partners do not hear each other, while others, who could, miss nobody."""
    missed, who = basis.missed, basis.who
    label = centre_of(view, missed, who)
    roles_of_it = [role for role in missed if who.label_of(role) == label]
    title = f"{label} misses its partners while they hear each other"
    if roles_of_it:
        named = _named(who, roles_of_it)
        title = f"{named} is reached by the tester, not by its partners, which hear each other"
    more = " ".join(filter(None, (NO_READING, _not_told(who, missed))))
    return replace(_told(view, missed, title, (label,), more), stops_vehicle=_stops(roles_of_it))


def _shared(view: View, basis: Basis) -> Problem:
    names = tuple(view.label(said) for said in view.read_modules)
    title = "every module misses others: the bus or the supply that they share"
    return replace(_told(view, basis.missed, title, names, DIPS), stops_vehicle=_stops(basis.missed))


def _missed(view: View, basis: Basis) -> Problem:
    missed, who = basis.missed, basis.who
    there = [role for role in missed if who.label_of(role)]
    gone = [role for role in missed if role not in there]
    names = tuple(_named(who, [key]) for key in missed)
    made = _told(view, missed, _missed_title(who, gone, there), names)
    own = [module for module in basis.lost if module.id not in basis.entered]
    code = next((Dtc.parse(code).code for module in own for _, code, _ in missed[module.role]), "")
    words = (
        SHARED if len(gone) > 1 else "",
        BETWEEN_THEM if there else "",
        _not_told(who, gone),
        made.open_end,
        f"{OWN_WIRING}; {ENTER.format(code)}" if code else "",
    )
    return replace(
        made,
        stops_vehicle=_stops(missed),
        known_by=tuple(_known_by({role: missed[role] for role in gone})),
        checks=tuple(_ask_first(view, who, gone)),
        open_end=" ".join(filter(None, words)),
    )


def _missed_title(who: Who, gone: Sequence[str], there: Sequence[str]) -> str:
    """Who is missed; whom the tester reaches all the same is not called silent."""
    if not gone:
        return f"{_named(who, there)} {_is(there)} reached by the tester, not by other modules"
    title = f"{_named(who, gone)} {_is(gone)} missed by other modules"
    if there:
        title += f"; {_named(who, there)} {_is(there)} missed, too, and yet reached by the tester"
    return title


def _is(missed: Sequence[str]) -> str:
    return "is" if len(missed) == 1 else "are"


def _named(who: Who, missed: Sequence[str]) -> str:
    """Roles in words, with the address of those that answer."""
    labels = {role: who.label_of(role) for role in missed}
    return ", ".join(
        f"{roles()[role].words} ({label})" if label else roles()[role].words for role, label in labels.items()
    )


def _not_told(who: Who, missed: Iterable[str]) -> str:
    """Whom nobody asked, and who may be one that answers without saying who it is."""
    by = {role: who.answer_of(role) for role in missed}
    words = []
    asked = [role for role, answer in by.items() if answer is Answer.NOT_ASKED]
    if asked:
        words.append(f"Not asked: {_named(who, asked)}; not every address was called.")
    for role in (role for role, answer in by.items() if answer is Answer.MAYBE):
        words.append(
            f"{_upper(roles()[role].words)} may be {' or '.join(who.could_be(role))}: "
            "there an answer comes that does not say whose it is."
        )
    return " ".join(words)


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def _ask_first(view: View, who: Who, gone: Sequence[str]) -> Iterator[Check]:
    """Whether a missed module answers is soon asked, before anybody unplugs anything."""
    asked = [role for role in gone if who.answer_of(role) is Answer.NOT_ASKED]
    protocol = view.picture.protocol
    if asked and protocol is not None and protocol.framing.is_can and not view.picture.recorded:
        yield Check(
            "take the intake to its end without --quick: it calls every address",
            "diagnostic connector",
            "key on, engine off",
            f"{'whether' if len(asked) == 1 else 'who of'} {_named(who, asked)} answers",
            USUAL,
            default_minutes("diagnostic connector"),
            0.0,
        )


_TOLD = {
    Layout.ALL_SILENT: _all_silent,
    Layout.CUT_OFF: _cut_off,
    Layout.SHARED: _shared,
    Layout.MISSED: _missed,
}


def _told(view: View, missed: Accusations, title: str, modules: tuple[str, ...], more: str = "") -> Problem:
    return Problem(
        title,
        modules,
        tuple(_cite(view, missed)),
        (),
        (),
        False,
        explains=_consequences(missed),
        open_end=f"{more} {NO_PROFILE}".strip(),
    )


def _stops(missed: Iterable[str]) -> bool:
    return any(key.startswith(STARTING_ROLES) for key in missed)


def _known_by(missed: Accusations) -> Iterator[str]:
    for key, who in missed.items():
        told = ", ".join(f"{label} ({code}, {now_words(now)})" for label, code, now in who)
        yield f"{roles()[key].words}: named lost by {told}"


def _consequences(missed: Accusations) -> tuple[str, ...]:
    return tuple(f"{who} {code}" for items in missed.values() for who, code, _ in items)


def _cite(view: View, missed: Accusations) -> Iterator[str]:
    for key, who in missed.items():
        for label, code, now in who:
            text = f"{code} names {roles()[key].words}, {now_words(now)}"
            yield view.ledger.cite(EvidenceKind.WITNESS, label, text)


# -- a bus that is reported itself ----------------------------------------------------------------------


def _about_bus(basis: Basis, problem: Problem) -> bool:
    return (
        problem.trouble is not None
        and bool(problem.trouble.codes)
        and problem.trouble.codes <= basis.bus_codes
    )


def _reported(problem: Problem) -> Problem:
    """Said to be generic: nobody knows this vehicle's pair."""
    checks = tuple(_usual(check) for check in problem.checks)
    return replace(problem, checks=checks, open_end=f"{PAIR} {problem.open_end}".strip())


def _usual(check: Check) -> Check:
    return replace(check, source=USUAL if check.source == PROFILE else check.source)


# -- circuits -------------------------------------------------------------------------------------------


def _by_weight(basis: Basis, problems: Iterable[Problem]) -> Iterator[Problem]:
    """Problems in the order of the circuits that they are about: the weightiest first."""
    places = {(item.module, dtc): n for n, item in enumerate(basis.circuits) for dtc in item.codes}
    found = [
        (min(places[code] for code in one.trouble.codes if code in places), one)
        for one in problems
        if one.trouble is not None and not one.trouble.codes.isdisjoint(places)
    ]
    for place, one in sorted(found, key=lambda pair: pair[0]):
        yield _marked(basis, basis.circuits[place], one)


def _marked(basis: Basis, item: CodedCircuit, problem: Problem) -> Problem:
    """Said to be generic, unless entered from the diagram; with the hazard of working there."""
    caution = _hazards().get(item.hazard, "")
    checks = tuple(
        replace(_usual(check), caution=f"{check.caution} {caution}".strip()) for check in problem.checks
    )
    if item.name in basis.entered:
        return replace(problem, checks=checks)
    words = (f"{GENERIC}; {ENTER.format(item.codes[0].code)}", item.template.note, problem.open_end)
    return replace(problem, checks=checks, open_end=" ".join(filter(None, words)))


def _dangerous(view: View, item: CodedCircuit) -> Problem:
    """A circuit at which nobody measures: the hazard, and who may go on."""
    codes = ", ".join(f"{dtc} in {item.module}" for dtc in item.codes)
    cited = [view.ledger.cite(EvidenceKind.CODE, item.module, f"{dtc} is stored") for dtc in item.codes]
    title = f"{item.name}: {codes}"
    trouble = Trouble(codes=frozenset((item.module, dtc) for dtc in item.codes))
    checks = warned(None, True, ())
    return Problem(title, (item.module,), tuple(cited), (), checks, False, trouble=trouble)


def _hazards() -> dict[str, str]:
    return {row["hazard"]: row["caution"] for row in rows("hazards")}
