"""What a code means: subject, place and fault kind from the catalogue, never invented.

A code that nobody here knows is shown as what its digits tell: who controls it, which system, which area.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from functools import cache, lru_cache

from dtctriage.codes.dtc import Control, Dtc
from dtctriage.codes.families import Entry, block
from dtctriage.codes.place import Place, parse_place
from dtctriage_reference import rows


class Origin(Enum):
    """Where a meaning comes from."""

    CATALOGUE = "catalogue"
    SHOP = "shop's own table"
    CONTROLLED = "ISO/SAE controlled, not in the catalogue"
    MANUFACTURER = "vehicle maker's own"
    RESERVED = "reserved by the document"
    PADDING = "padding"


@dataclass(frozen=True, slots=True)
class Meaning:
    """A code's meaning. `subject` and `kind` are empty where it is not known; `text` always says something.

    `kind` is a key of the table fault_kinds, `subject` one of the table subjects or a module's words.
    `quality` is how the row is known (read, read_and_memory, memory_checked, memory, memory_disputed, shop),
    `source` the keys of the table sources; for a shop's own meaning the file and make.
    """

    subject: str
    place: Place
    kind: str
    text: str
    origin: Origin
    quality: str = ""
    source: str = ""

    @property
    def known(self) -> bool:
        return self.origin in (Origin.CATALOGUE, Origin.SHOP)


NO_SHOP: Mapping[int, Meaning] = {}


def meaning(dtc: Dtc, shop: Mapping[int, Meaning] = NO_SHOP) -> Meaning:
    """The meaning of a code. `shop` holds the shop's own meanings by number and comes first."""
    return shop.get(dtc.number) or generic_meaning(dtc.number)


@lru_cache(maxsize=1 << 16)
def generic_meaning(number: int) -> Meaning:
    """The meaning of a sixteen-bit code number without any shop's table."""
    dtc = Dtc(number)
    if dtc.is_padding:
        return Meaning("", Place(), "", "Padding, not a code", Origin.PADDING)
    entry = block(dtc.code[:2]).get(number)
    if entry is None:
        return _not_known(dtc)
    place = parse_place(entry.place)
    text = compose(entry)
    return Meaning(entry.subject, place, entry.kind, text, Origin.CATALOGUE, entry.quality, entry.source)


def compose(entry: Entry) -> str:
    """One line in one style: "Engine coolant temperature sensor 1 circuit: signal low"."""
    kind = _kinds()[entry.kind]
    place = entry.place
    if entry.subject.endswith("sensor") and place.startswith("sensor "):
        place = place.removeprefix("sensor ")
    name = place if place.startswith(f"{entry.subject} ") else f"{entry.subject} {place}".strip()
    phrase = kind["phrase"]
    if kind["scope"] == "circuit":
        if circuit_of(entry.subject):
            name += " circuit"
        else:
            phrase = kind["phrase_function"] or phrase
    return f"{name[:1].upper()}{name[1:]}: {phrase}{entry.extra}"


def circuit_of(subject: str) -> str:
    """The kind of circuit behind a subject (thermistor, solenoid, switch_input, ...), empty for none."""
    return _subjects().get(subject, ("", ""))[0]


def hazard_of(subject: str) -> str:
    """What can hurt when working on a subject (high_voltage, fuel_under_pressure, ...), or empty."""
    return _subjects().get(subject, ("", ""))[1]


def kinds() -> frozenset[str]:
    """The closed vocabulary of fault kinds."""
    return frozenset(_kinds())


def _not_known(dtc: Dtc) -> Meaning:
    area = f", {dtc.area}" if dtc.area else ""
    if dtc.control is Control.MANUFACTURER:
        text = f"Vehicle maker's own {dtc.system} code{area}: see the maker's service information"
        return Meaning("", Place(), "", text, Origin.MANUFACTURER)
    if dtc.control is Control.RESERVED:
        return Meaning(
            "", Place(), "", f"Reserved {dtc.system} code: no meaning is assigned", Origin.RESERVED
        )
    text = f"ISO/SAE {dtc.system} code{area}: not in the catalogue"
    return Meaning("", Place(), "", text, Origin.CONTROLLED)


@cache
def _kinds() -> dict[str, dict[str, str]]:
    return {row["kind"]: row for row in rows("fault_kinds")}


@cache
def _subjects() -> dict[str, tuple[str, str]]:
    return {row["subject"]: (row["circuit"], row["hazard"]) for row in rows("subjects")}
