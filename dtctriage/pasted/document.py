"""What was made of pasted text, as plain JSON values."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.failure import failure_type
from dtctriage.codes.meaning import NO_SHOP, ShopMeanings, hazard_of, meaning
from dtctriage.pasted.items import Item, Mark, PastedCode, PastedMessage, PastedNotice, PastedSpn, PastedVin
from dtctriage.vin import Vin


def document(items: Iterable[Item], shop: ShopMeanings = NO_SHOP) -> list[dict[str, Any]]:
    """One object an item; `text` is what was pasted, `taken_for` what it was taken for."""
    return [{"text": item.text, "taken_for": item.taken_for, **_told(item, shop)} for item in items]


def code_document(dtc: Dtc, shop: ShopMeanings = NO_SHOP) -> dict[str, Any]:
    """A code with everything that is known of it."""
    told = meaning(dtc, shop)
    found: dict[str, Any] = {
        "code": str(dtc),
        "control": dtc.control.value,
        "system": dtc.system,
        "area": dtc.area,
        "meaning": told.text,
        "known": told.known,
        "subject": told.subject,
        "place": told.place.text,
        "kind": told.kind,
        "origin": told.origin.value,
        "quality": told.quality,
        "source": told.source,
        "hazard": hazard_of(told.subject),
    }
    if dtc.failure_type is not None:
        failure = failure_type(dtc.failure_type)
        found["failure_type"] = {
            "hex": f"{failure.value:02X}",
            "category": failure.category,
            "meaning": failure.meaning,
            "known": failure.known,
        }
    return found


def _told(item: Item, shop: ShopMeanings) -> dict[str, Any]:
    if isinstance(item, PastedCode):
        return {"bytes": _marks(item.marks), "codes": [code_document(item.dtc, shop)]}
    if isinstance(item, PastedMessage):
        parts = [
            {"offset": part.offset, "hex": part.data.hex().upper(), "meaning": part.meaning}
            for part in item.explanation.parts
        ]
        return {
            "title": item.explanation.title,
            "framing": _marks(item.framing),
            "payload": parts,
            "codes": [code_document(dtc, shop) for dtc in item.explanation.codes],
            "vin": None if item.vin is None else _vin(item.vin),
        }
    if isinstance(item, PastedVin):
        return {"vin": _vin(item.vin)}
    if isinstance(item, PastedSpn):
        return {"spn": item.code.spn, "fmi": item.code.fmi, "meaning": item.code.failure_mode}
    if isinstance(item, PastedNotice):
        return {"advice": item.advice}
    return {"problem": item.problem, "framing": _marks(item.framing)}


def _marks(marks: Iterable[Mark]) -> list[dict[str, Any]]:
    return [
        {"written": mark.written, "meaning": mark.meaning, "behind_payload": mark.behind} for mark in marks
    ]


def _vin(vin: Vin) -> dict[str, Any]:
    return {
        "vin": vin.text,
        "region": vin.region,
        "maker_identifier": vin.maker_identifier,
        "model_years": list(vin.model_years),
        "check_digit_holds": vin.check_digit_holds,
        "warnings": list(vin.warnings),
    }
