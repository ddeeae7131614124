"""What testimony tells of a network that nobody has a diagram of."""

from __future__ import annotations

from collections.abc import Iterator
from enum import StrEnum

from dtctriage.triage.view import Accusations, View
from dtctriage.triage.who import Answer, Who


class Layout(StrEnum):
    """What who misses whom tells of the network."""

    ALL_SILENT = "nobody answers"
    CUT_OFF = "one module misses the others"
    SHARED = "every module misses others"
    MISSED = "some modules are missed"
    WHOLE = "nobody is missed"


def missed_now(view: View) -> Accusations:
    """Who is missed by codes that are not history, and by whom."""
    found = view.accusations()
    return {role: who for role, who in found.items() if any(now is not False for *_, now in who)}


def layout_of(view: View, missed: Accusations, who: Who) -> Layout:
    """What who misses whom tells of the network."""
    if not view.picture.modules:
        return Layout.ALL_SILENT
    if not missed:
        return Layout.WHOLE
    if centre_of(view, missed, who):
        return Layout.CUT_OFF
    return Layout.SHARED if _everyone_misses(view, missed, who) else Layout.MISSED


def centre_of(view: View, missed: Accusations, who: Who) -> str:
    """The module that has part in every loss and misses somebody itself, "" where there is none.

    It is cut off only where the others are there: they answer, as far as is known, and are two or more.
    """
    if len(view.read_modules) < 2 or any(
        who.answer_of(role) not in (Answer.YES, Answer.MAYBE) for role in missed
    ):
        return ""
    losses = list(_losses(missed, who))
    for label in dict.fromkeys(witness for witness, _ in losses):
        partners = {lost if witness == label else witness for witness, lost in losses}
        if len(partners) >= 2 and all(label in loss for loss in losses):
            return label
    return ""


def _losses(missed: Accusations, who: Who) -> Iterator[tuple[str, str]]:
    """Who misses now, and the label of whom; the role where nobody is known to be it."""
    for role, accusers in missed.items():
        for label, _, now in accusers:
            if now is not False:
                yield label, who.label_of(role) or role


def _everyone_misses(view: View, missed: Accusations, who: Who) -> bool:
    """Two modules or more, each of which misses two others or more that are not silent themselves."""
    there = [accusers for role, accusers in missed.items() if who.answer_of(role) is not Answer.NO]
    losses = [
        sum(any(label == view.label(said) for label, *_ in accusers) for accusers in there)
        for said in view.read_modules
    ]
    return len(losses) >= 2 and min(losses) >= 2
