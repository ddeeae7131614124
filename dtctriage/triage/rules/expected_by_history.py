"""An address that answers on nearly every like vehicle, and not on this one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from dtctriage.link import Framing, Target, id_text
from dtctriage.sweep.events import Stage
from dtctriage.triage import lacking
from dtctriage.triage.history import History, LastVisit, address_of
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.values import finding_limit
from dtctriage.triage.view import View

RULE = "expected_by_history"
_AREA = 0x700
"""The hundreds of an 11-bit identifier."""


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
        if history.last is None:
            yield from _by_likeness(view, history, silent)
        else:
            yield from _by_last_visit(view, history, history.last, silent)


def _in_profile(view: View, target: Target) -> bool:
    """The profile misses it by itself, and knows its wiring."""
    return view.profile is not None and view.profile.module_at(target) is not None


def _by_last_visit(
    view: View, history: History, last: LastVisit, silent: frozenset[Target]
) -> Iterator[Finding | Abstained]:
    present = frozenset(map(address_of, view.picture.modules))
    absent = [target for target in sorted(last.answered - present) if not _in_profile(view, target)]
    not_asked = [target for target in absent if target not in silent]
    unheard = [target for target in absent if target in silent and _unheard(view, last, target)]
    if not_asked:
        yield Abstained(RULE, f"{_labels(not_asked)} answered on {last.when}, not asked here")
    if unheard:
        answers = ", ".join(id_text(each.framing, last.answer_ids[each]) for each in unheard)
        yield Abstained(RULE, f"{_labels(unheard)} answered then on {answers}, where nobody listened here")
    gone = [target for target in absent if target in silent and target not in unheard]
    if gone:
        sources = ["This vehicle's own records"]
        if history.vehicles:
            sources += [f"{each.label} {_share(history, each)}" for each in gone]
        yield _finding(
            view,
            gone,
            f"answered on {last.when}",
            Weight.LOOK,
            f"{'; '.join(sources)}.",
            f"Ask what was removed; else look at {_its(gone)} supply, ground and bus.",
        )


def _unheard(view: View, last: LastVisit, target: Target) -> bool:
    """Whether it was called without knowing where it answers, far from where answers are looked for.

    On a bus with other traffic a text adapter listens to the hundreds of the request alone.
    """
    answer = last.answer_ids.get(target)
    if answer is None or target.framing is not Framing.CAN11 or answer & _AREA == target.request & _AREA:
        return False
    return Target(target.framing, target.request, answer) not in view.picture.silent


def _finding(
    view: View, gone: Sequence[Target], told: str, weight: Weight, detail: str, advice: str
) -> Finding:
    """One finding for all that are missing alike: `told` is what the records say of each."""
    cited = []
    for target in gone:
        cited.append(view.ledger.cite(EvidenceKind.RECORD, target.label, told))
        cited.append(view.ledger.cite(EvidenceKind.SILENCE, target.label, "no answer in this intake"))
    title = f"{_labels(gone)} {told} and {'does' if len(gone) == 1 else 'do'} not answer now"
    return Finding(RULE, weight, title, detail, tuple(cited), "the shop's records", advice)


def _labels(targets: Sequence[Target]) -> str:
    return ", ".join(target.label for target in targets)


def _its(targets: Sequence[Target]) -> str:
    return "its" if len(targets) == 1 else "their"


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
    for count in sorted({_count(history, target) for target in usual}, reverse=True):
        alike = [target for target in usual if _count(history, target) == count]
        not_asked = [target for target in alike if target not in silent]
        if not_asked:
            was = "was" if len(not_asked) == 1 else "were"
            yield Abstained(
                RULE, f"{_labels(not_asked)} answered on {count} of {total}, and {was} not asked here"
            )
        gone = [target for target in alike if target in silent]
        if gone and variant:
            yield Abstained(RULE, f"{_labels(gone)}: {same} like vehicles have just these addresses")
        elif gone:
            fitted = "Is it fitted? Then" if len(gone) == 1 else "Are they fitted? Then"
            yield _finding(
                view,
                gone,
                _share(history, gone[0]),
                Weight.LOOK if count == total >= finding_limit("like_habit").value else Weight.NOTE,
                "Known by the shop's records alone; it may be a variant of other equipment.",
                f"{fitted} look at {_its(gone)} supply, ground and bus.",
            )


def _count(history: History, target: Target) -> int:
    return sum(target in vehicle.answered for vehicle in history.vehicles)


def _share(history: History, target: Target) -> str:
    return f"answered on {_count(history, target)} of {len(history.vehicles)} like vehicles"
