"""One low supply that explains a crowd of codes."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.meaning import meaning
from dtctriage.codes.network import invalid_data_module, lost_module
from dtctriage.triage import lacking
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.seen import strongest
from dtctriage.triage.values import finding_limit
from dtctriage.triage.view import View

SUPPLY = frozenset({"system voltage", "battery", "control module input power", "engine module power input"})
LOW = frozenset({"low", "unstable", "malfunction", "by_failure_type"})
TOO_LOW = frozenset({0x16, 0x1C, 0x00})
"""Failure types of a supply code that fit a low supply: below threshold, out of range, none told."""


def find(view: View) -> Iterator[Finding | Abstained]:
    """Low-supply codes in several modules: their other supply and network codes follow until proved."""
    yield from lacking.codes(view, "low_supply_crowd")
    told = {
        label: [entry.dtc for entry in strongest(said) if is_low_supply(entry.dtc)]
        for label, said in view.modules
    }
    complaining = {label: codes for label, codes in told.items() if codes}
    if len(complaining) < finding_limit("crowd").value:
        if complaining:
            yield Abstained("low_supply_crowd", f"only {next(iter(complaining))} complains of its supply")
        return
    following = tuple(
        f"{label} {entry.dtc}"
        for label, said in view.modules
        for entry in strongest(said)
        if lost_module(entry.dtc) or invalid_data_module(entry.dtc) or entry.dtc in told[label]
    )
    others = len(following) - sum(len(codes) for codes in complaining.values())
    yield Finding(
        "low_supply_crowd",
        Weight.LOOK,
        f"{len(complaining)} modules stored low-supply codes: {', '.join(complaining)}",
        f"One weak battery or feed makes all of these, and {others} network codes beside them.",
        tuple(
            view.ledger.cite(EvidenceKind.CODE, label, f"{dtc} is stored")
            for label, codes in complaining.items()
            for dtc in codes
        ),
        "vehicle makers' service literature; common practice",
        "Test battery, charging and the main grounds under load before any module.",
        explains=following,
    )


def is_low_supply(dtc: Dtc) -> bool:
    """Whether a code complains of too little supply."""
    told = meaning(dtc)
    if told.subject not in SUPPLY or told.kind not in LOW:
        return False
    return dtc.failure_type is None or dtc.failure_type in TOO_LOW
