"""What a code means: subject, place and fault kind from the catalogue, never invented.

A code that nobody here knows is shown as what its digits tell: who controls it, which system, which area.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from functools import cache, lru_cache

from dtctriage.codes.dtc import LETTERS, Control, Dtc
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


_ORIGINS = {
    Control.ISO_SAE: Origin.CONTROLLED,
    Control.MANUFACTURER: Origin.MANUFACTURER,
    Control.RESERVED: Origin.RESERVED,
}

ShopMeanings = Mapping[Dtc, Meaning]
"""A shop's own meanings for one make (see `dtctriage.codes.shop`)."""

NO_SHOP: ShopMeanings = {}


def meaning(dtc: Dtc, shop: ShopMeanings = NO_SHOP) -> Meaning:
    """The meaning of a code. The shop's own comes first, for the failure type before the code alone."""
    return shop.get(dtc) or shop.get(dtc.base) or generic_meaning(dtc.number)


@lru_cache(maxsize=1 << 16)
def generic_meaning(number: int) -> Meaning:
    """The meaning of a sixteen-bit code number without any shop's table."""
    if number == 0:
        return Meaning("", Place(), "", "Padding, not a code", Origin.PADDING)
    entry = block(f"{LETTERS[number >> 14]}{number >> 12 & 3}").get(number)
    if entry is None:
        return _not_known(number >> 8)
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


@cache
def _not_known(group: int) -> Meaning:
    """What the letter and the first two digits tell: authority and area change nowhere else."""
    dtc = Dtc(group << 8)
    area = f", {dtc.area}" if dtc.area else ""
    origin = _ORIGINS[dtc.control]
    text = {
        Origin.MANUFACTURER: f"Vehicle maker's own {dtc.system} code{area}: see the maker's information",
        Origin.RESERVED: f"Reserved {dtc.system} code: no meaning is assigned",
        Origin.CONTROLLED: f"ISO/SAE {dtc.system} code{area}: not in the catalogue",
    }[origin]
    return Meaning("", Place(), "", text, origin)


@cache
def _kinds() -> dict[str, dict[str, str]]:
    return {row["kind"]: row for row in rows("fault_kinds")}


@cache
def _subjects() -> dict[str, tuple[str, str]]:
    return {row["subject"]: (row["circuit"], row["hazard"]) for row in rows("subjects")}
