"""Circuits that stored codes speak of, each with the generic circuit that mostly stands behind it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.meaning import Meaning, hazard_of
from dtctriage.triage.rules.stops_vehicle import stopping_row
from dtctriage.triage.seen import failing, strongest
from dtctriage.triage.view import View
from dtctriage.wiring.templates import HAZARD, Template, findings_of, template_for

HIGH_VOLTAGE = "high_voltage"
"""The hazard at which nobody measures."""


@dataclass(frozen=True, slots=True)
class CodedCircuit:
    """A circuit that codes of one module speak of: `name` as its id, `codes` as they are stored."""

    module: str
    name: str
    codes: tuple[Dtc, ...]
    template: Template
    told: tuple[tuple[str, str], ...]
    """The code for each finding of the circuit."""
    hazard: str
    """Of working there: a key of the table hazards, or empty."""
    dangerous: bool
    """Nobody measures there."""


def circuits_of(view: View) -> Iterator[CodedCircuit]:
    """Circuits that codes speak of and a template fits; codes of one part together."""
    groups: dict[tuple[str, str], list[Dtc]] = {}
    for label, said in view.modules:
        for entry in sorted(strongest(said), key=lambda item: (failing(item) is False, str(item.dtc))):
            told = view.meaning(entry.dtc)
            if template_for(told.subject) is not None:
                groups.setdefault((label, _named(told)), []).append(entry.dtc)
    taken: set[str] = set()
    for (label, name), codes in groups.items():
        subject = view.meaning(codes[0]).subject
        template = template_for(subject)
        title = plain(name)
        title = f"{title} of {label}" if title in taken else title
        taken.add(title)
        if template is None:
            continue
        hazard = hazard_of(subject)
        dangerous = hazard == HIGH_VOLTAGE or template.shape == HAZARD
        found = _by_finding(view, template, codes)
        if dangerous or found:
            yield CodedCircuit(label, title, tuple(codes), template, found, hazard, dangerous)


def starts(view: View, item: CodedCircuit) -> bool:
    """Whether no vehicle starts without what the circuit drives or senses."""
    rows_ = [stopping_row(view.meaning(dtc)) for dtc in item.codes]
    return any(row is not None and row["sure"] == "stops" for row in rows_)


def _named(told: Meaning) -> str:
    """The part as the meaning of its code names it: engine coolant temperature sensor 1."""
    subject, place = told.subject, told.place.text
    if subject.endswith("sensor"):
        place = place.removeprefix("sensor ")
    return place if place.startswith(f"{subject} ") else f"{subject} {place}".strip()


def plain(words: str) -> str:
    """Words as an id may hold them."""
    return re.sub(r" +", " ", re.sub(r"[^A-Za-z0-9 ._+-]", " ", words)).strip()[:50].strip()


def _by_finding(view: View, template: Template, codes: Sequence[Dtc]) -> tuple[tuple[str, str], ...]:
    """One that tells little gives way to one that tells more."""
    told: dict[str, str] = {}
    for dtc in sorted(codes, key=lambda dtc: len(_findings(view, template, dtc))):
        for finding in _findings(view, template, dtc):
            told.setdefault(finding, str(dtc))
    return tuple(told.items())


def _findings(view: View, template: Template, dtc: Dtc) -> tuple[str, ...]:
    return findings_of(dtc, view.meaning(dtc).kind, template.shape)
