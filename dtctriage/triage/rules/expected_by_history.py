"""An address that answers on nearly every like vehicle, and not on this one."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.link import Target
from dtctriage.sweep.events import Stage
from dtctriage.triage import lacking
from dtctriage.triage.history import History, address_of
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.values import finding_limit
from dtctriage.triage.view import View

RULE = "expected_by_history"


def find(view: View) -> Iterator[Finding | Abstained]:
    """By this vehicle's last visit, else by like vehicles, unless some of those are just like it.

    Few like vehicles make a note; an option that some lack, or fewer than five records, make nothing.
    """
    history = view.history
    if history is None:
        yield Abstained(RULE, "no records of like vehicles")
    elif not view.passed(Stage.ROLL_CALL) or not view.picture.modules:
        yield Abstained(RULE, "no roll call that was gone through and answered")
    elif view.picture.recorded:
        yield Abstained(RULE, lacking.RECORDED)
    else:
        silent = frozenset(map(address_of, view.picture.silent))
        for target in sorted((history.last.answered if history.last else frozenset[Target]()) & silent):
            if not _in_profile(view, target):
                yield _gone(view, history, target)
        if history.last is None:
            yield from _by_likeness(view, history, silent)


def _in_profile(view: View, target: Target) -> bool:
    """The profile misses it by itself, and knows its wiring."""
    return view.profile is not None and view.profile.module_at(target) is not None


def _gone(view: View, history: History, target: Target) -> Finding:
    when = history.last.when if history.last else ""
    label = target.label
    return Finding(
        RULE,
        Weight.LOOK,
        f"{label} answered on {when} and does not answer now",
        f"This vehicle's own records; {_share(history, target)}.",
        (
            view.ledger.cite(EvidenceKind.RECORD, label, f"answered on {when}"),
            view.ledger.cite(EvidenceKind.SILENCE, label, "no answer in this intake"),
        ),
        "the shop's records",
        "Ask what was removed; else look at its supply, ground and bus.",
    )


def _by_likeness(view: View, history: History, silent: frozenset[Target]) -> Iterator[Finding | Abstained]:
    total = len(history.vehicles)
    least = finding_limit("like_vehicles").value
    if total < least:
        yield Abstained(RULE, f"{total} of the {least:g} like vehicles needed on record")
        return
    present = frozenset(map(address_of, view.picture.modules))
    same = sum(vehicle.answered == present for vehicle in history.vehicles)
    answered = {target for vehicle in history.vehicles for target in vehicle.answered}
    absent = sorted(target for target in answered - present if not _in_profile(view, target))
    usual = [each for each in absent if _count(history, each) >= finding_limit("like_share").value * total]
    variant = same >= finding_limit("like_variant").value
    optional = [f"{each.label} on {_count(history, each)}" for each in absent if each not in usual]
    if optional and not variant:
        yield Abstained(RULE, f"the {total} like vehicles differ: {', '.join(optional)}")
    for target in usual:
        count = _count(history, target)
        if target not in silent:
            yield Abstained(RULE, f"{target.label} answered on {count} of {total}, and was not asked here")
            continue
        if variant:
            yield Abstained(RULE, f"{target.label}: {same} like vehicles have just these addresses")
            continue
        yield Finding(
            RULE,
            Weight.LOOK if count == total >= finding_limit("like_habit").value else Weight.NOTE,
            f"{target.label} answered on {count} of {total} like vehicles and does not answer now",
            "Known by the shop's records alone; it may be a variant without that module.",
            (
                view.ledger.cite(EvidenceKind.RECORD, target.label, _share(history, target)),
                view.ledger.cite(EvidenceKind.SILENCE, target.label, "no answer in this intake"),
            ),
            "the shop's records",
            "Is it fitted? Then look at its supply, ground and bus.",
        )


def _count(history: History, target: Target) -> int:
    return sum(target in vehicle.answered for vehicle in history.vehicles)


def _share(history: History, target: Target) -> str:
    return f"answered on {_count(history, target)} of {len(history.vehicles)} like vehicles"
