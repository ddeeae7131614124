"""Problems without a profile: what silence and testimony alone allow, with checks that fit any vehicle.

There is no wiring to solve, so suspects and checks come from the tables generic_suspects and generic_checks,
weighed as commonly as such things happen.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

from dtctriage.codes.network import roles
from dtctriage.triage.choose import DOUBT, Case, ranking
from dtctriage.triage.model import Check, EvidenceKind, Problem, Suspect
from dtctriage.triage.tables import limit, prior
from dtctriage.triage.view import Accusations, View, now_words
from dtctriage_reference import rows

ENGINE = "engine_control"
STARTING_ROLES = (ENGINE, "fuel_pump_control", "immobiliser", "drive_motor")
"""Roles without which no vehicle starts. Common practice, no source."""
NO_PROFILE = "No vehicle profile: shares are the trade's usual ones, not this vehicle's."


@dataclass(frozen=True, slots=True)
class _Advice:
    """Suspects and checks of a situation."""

    suspects: tuple[Suspect, ...]
    checks: tuple[Check, ...]


def find_problems(view: View) -> Iterator[Problem]:
    """Everything silent at once, or the modules that others miss."""
    if not view.picture.modules:
        yield _all_silent(view)
        return
    missed = {
        role: who for role, who in view.accusations().items() if any(now is not False for *_, now in who)
    }
    if not missed:
        return
    accusers = {label for who in missed.values() for label, _, now in who if now is not False}
    if len(missed) >= 2 and len(accusers) == 1 and len(view.read_modules) > 1:
        yield _cut_off(view, next(iter(accusers)), missed)
    elif _everyone_misses(view, missed):
        yield _shared(view, missed)
    else:
        yield _missed(view, missed)


def _all_silent(view: View) -> Problem:
    evidence = [
        view.ledger.cite(EvidenceKind.SILENCE, "", f"no module answered in {view.picture.rounds} roll calls")
    ]
    for notice in view.picture.notices:
        evidence.append(view.ledger.cite(EvidenceKind.NOTICE, "", f"adapter: {notice.text}"))
    advice = _advice("all silent", "")
    return Problem(
        "no module answers",
        (),
        tuple(dict.fromkeys(evidence)),
        advice.suspects,
        advice.checks,
        True,
        open_end=NO_PROFILE,
    )


def _cut_off(view: View, label: str, missed: Accusations) -> Problem:
    """One module misses several partners while others, who could, miss nobody."""
    advice = _advice("one misses the others", label)
    return Problem(
        f"{label} misses its partners while they hear each other",
        (label,),
        tuple(_cite(view, missed)),
        advice.suspects,
        advice.checks,
        False,
        explains=_consequences(missed),
        open_end=NO_PROFILE,
    )


def _everyone_misses(view: View, missed: Accusations) -> bool:
    """Two modules or more, each of which misses two others or more."""
    losses = [
        sum(any(label == view.label(said) for label, *_ in who) for who in missed.values())
        for said in view.read_modules
    ]
    return len(losses) >= 2 and min(losses) >= 2


def _shared(view: View, missed: Accusations) -> Problem:
    advice = _advice("everyone misses others", "")
    return Problem(
        "every module misses others: the bus or the supply that they share",
        tuple(view.label(said) for said in view.read_modules),
        tuple(_cite(view, missed)),
        advice.suspects,
        advice.checks,
        _stops(missed),
        explains=_consequences(missed),
        open_end=NO_PROFILE,
    )


def _missed(view: View, missed: Accusations) -> Problem:
    known = roles()
    names = tuple(known[key].words for key in missed)
    one = len(names) == 1
    answers = _all_answer(view, missed)
    advice = _advice("missed", names[0] if one else "them")
    return Problem(
        f"{', '.join(names)} {'is' if one else 'are'} missed by other modules"
        + (", and yet answers" if answers else ""),
        names,
        tuple(_cite(view, missed)),
        advice.suspects,
        advice.checks,
        _stops(missed),
        known_by=() if answers else tuple(_known_by(missed)),
        explains=_consequences(missed),
        open_end=NO_PROFILE if one else f"Whatever they share comes first. {NO_PROFILE}",
    )


def _all_answer(view: View, missed: Accusations) -> bool:
    """Without a profile only the engine module is known by its address."""
    return all(key.startswith(ENGINE) for key in missed) and any(
        view.is_engine(said) for said in view.picture.modules.values()
    )


def _stops(missed: Accusations) -> bool:
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


# -- tables ---------------------------------------------------------------------------------------------


@cache
def _advice(situation: str, module: str) -> _Advice:
    """The suspects of a situation, likeliest first, and the checks that tell them apart."""
    of_it = [row for row in rows("generic_suspects") if row["situation"] == situation]
    weights = [_weight(row["weight"]) for row in of_it]
    shares = {row["key"]: weight / sum(weights) for row, weight in zip(of_it, weights, strict=True)}
    suspects = [
        Suspect(row["title"].format(module=module), row["place"], shares[row["key"]], (), row["because"])
        for row in of_it
    ]
    checks = [row for row in rows("generic_checks") if row["situation"] == situation]
    cases = [Case("", DOUBT, ((0,),) * len(checks))]
    cases += [
        Case(key, share * (1 - DOUBT), tuple((int(key in row["finds"].split("+")),) for row in checks))
        for key, share in shares.items()
    ]
    ranked = ranking(cases, [float(row["minutes"]) for row in checks], len(checks))
    return _Advice(
        tuple(sorted(suspects, key=lambda item: -item.share)),
        tuple(_check(checks[place], module, settles) for place, settles in ranked),
    )


def _weight(sum_of: str) -> float:
    pairs = (term.partition("|") for term in sum_of.split("+"))
    return sum(prior(fault, part)[0] for fault, _, part in pairs)


def _check(row: dict[str, str], module: str, settles: float) -> Check:
    rule = limit(row["limit"])
    return Check(
        row["what"].format(module=module),
        row["where"],
        row["condition"],
        rule.expect,
        rule.source,
        float(row["minutes"]),
        settles,
    )
