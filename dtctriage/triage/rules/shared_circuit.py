"""Like faults of like circuits in one module: what they share comes before each of them."""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.meaning import circuit_of
from dtctriage.triage import lacking
from dtctriage.triage.model import Abstained, EvidenceKind, Finding, Weight
from dtctriage.triage.seen import failing, strongest
from dtctriage.triage.tables import source_words
from dtctriage.triage.view import View
from dtctriage_reference import Row, rows

RULE = "shared_circuit"
REFERENCE = "sensor reference voltage"


def find(view: View) -> Iterator[Finding | Abstained]:
    """A code for the reference itself counts as one of the family and proves it."""
    yield from lacking.codes(view, RULE)
    for label, said in view.modules:
        present = [entry.dtc for entry in strongest(said) if failing(entry) is not False]
        reference = [dtc for dtc in present if view.meaning(dtc).subject == REFERENCE]
        for row in rows("families"):
            family = _family(view, present, row)
            is_reference = row["circuit"] == "three_wire_sensor" and reference
            if len(family) + (len(reference) if is_reference else 0) >= int(row["least"]) and family:
                yield _finding(view, label, family, reference if is_reference else [], row)


def _family(view: View, present: list[Dtc], row: Row) -> list[Dtc]:
    """One code of each part: two codes of one sensor are no family."""
    found: dict[tuple[str, str], Dtc] = {}
    for dtc in present:
        told = view.meaning(dtc)
        if circuit_of(told.subject) == row["circuit"] and told.kind in row["kinds"].split():
            found.setdefault((told.subject, told.place.text), dtc)
    return list(found.values())


def _finding(view: View, label: str, family: list[Dtc], reference: list[Dtc], row: Row) -> Finding:
    codes = [*reference, *family]
    names = ", ".join(str(dtc) for dtc in codes)
    return Finding(
        RULE,
        Weight.LOOK,
        f"{label}: {names} point at {row['shares']}",
        "; ".join(view.meaning(dtc).text for dtc in codes),
        tuple(view.ledger.cite(EvidenceKind.CODE, label, f"{dtc} is stored") for dtc in codes),
        source_words(row["source"]),
        row["advice"],
        explains=tuple(f"{label} {dtc}" for dtc in codes),
    )
