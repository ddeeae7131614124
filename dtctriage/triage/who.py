"""Who is who where nobody has a profile: the role of each module that answers, and who was asked at all.

A module that is missed by its partners may answer the tester all the same, may not answer, may be one that
does not say who it is, or may never have been asked: four different things.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum

from dtctriage.codes.naming import names_another, role_of
from dtctriage.codes.network import aliases_of, roles
from dtctriage.link import Framing
from dtctriage.sweep import questions as q
from dtctriage.sweep.picture import ModuleSaid, Picture
from dtctriage.triage.view import ENGINE_IDS, View

ENGINE, TRANSMISSION = "engine_control_a", "transmission_control"
_TRANSMISSION_IDS = frozenset({0x7E1, 0x18DA18F1, 0x18})
"""Where the transmission module is asked: 7E1, node 18 (ISO 15765-4 habit; legacy addresses from memory)."""
_BY_ADDRESS = {ENGINE: ENGINE_IDS, TRANSMISSION: _TRANSMISSION_IDS}
_NAMED_BY = ("system name", "module name")
"""Identifier F197 (ISO 14229-1) and info type 0A (SAE J1979), as the sweep names them."""


class Answer(StrEnum):
    """Whether the module of a role answers the tester."""

    YES = "answers"
    NO = "does not answer"
    MAYBE = "may be one that does not say who it is"
    NOT_ASKED = "was not asked"


@dataclass(frozen=True)
class Who:
    """`labels`: who answers, by role. `unnamed`: names ("" for none) of those whose role is not known."""

    labels: Mapping[str, str]
    unnamed: Mapping[str, str]
    called: frozenset[int]
    everyone: bool
    """Whether every diagnostic address of the bus was called."""

    def label_of(self, role: str) -> str:
        """Where the module of a role answers, "" where that is not known."""
        group = ENGINE if role.startswith("engine_control") else role
        found = (self.labels.get(key, "") for key in (role, *sorted(aliases_of(role)), group))
        return next(filter(None, found), "")

    def could_be(self, role: str) -> tuple[str, ...]:
        """Modules that answer and may be the one of a role, for all that they say."""
        return tuple(label for label, name in self.unnamed.items() if not names_another(name, role))

    def answer_of(self, role: str) -> Answer:
        """Whether the module of a role answers the tester."""
        if self.label_of(role):
            return Answer.YES
        usual = _BY_ADDRESS.get(role, frozenset())
        if usual & self.called:
            return Answer.NO
        if not self.everyone:
            return Answer.NOT_ASKED
        return Answer.MAYBE if self.could_be(role) else Answer.NO


def who_answers(view: View) -> Who:
    """By the address that the standard gives, else by a module's own name where just one has it.

    A module that misses a role is not the one of that role, whatever its name or address.
    """
    told = {label: _role_told(said) for label, said in view.modules}
    labels: dict[str, str] = {}
    for label, said in view.modules:
        usual = next((role for role, ids in _BY_ADDRESS.items() if said.target.request in ids), "")
        if usual and told[label] in ("", usual):
            labels[usual] = label
    for role in roles():
        named = [label for label, own in told.items() if own == role]
        if role not in labels and len(named) == 1:
            labels[role] = named[0]
    for role, accusers in view.accusations().items():
        if labels.get(role) in {label for label, *_ in accusers}:
            del labels[role]
    known = set(labels.values())
    unnamed = {label: _name(said) for label, said in view.modules if label not in known}
    picture = view.picture
    called = frozenset(target.request for target in (*picture.silent, *picture.modules))
    return Who(labels, unnamed, called, _everyone_called(picture, called))


def _role_told(said: ModuleSaid) -> str:
    """The role by its own names, "" where they tell none, or two."""
    told = {role for name in _names(said) if (role := role_of(name))}
    return told.pop() if len(told) == 1 else ""


def _name(said: ModuleSaid) -> str:
    return " ".join(_names(said))


def _names(said: ModuleSaid) -> Iterator[str]:
    return (said.identity[key] for key in _NAMED_BY if said.identity.get(key))


def _everyone_called(picture: Picture, called: frozenset[int]) -> bool:
    framing = picture.protocol.framing if picture.protocol else None
    if framing not in (Framing.CAN11, Framing.CAN29):
        return False
    return all(target.request in called for target in q.all_targets(framing))
