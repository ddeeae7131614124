"""What no vehicle can be: references that lead nowhere, and statements that cannot both hold."""

from __future__ import annotations

from dtctriage.wiring.bus_contradictions import bus_contradictions
from dtctriage.wiring.circuit_contradictions import circuit_contradictions
from dtctriage.wiring.data_contradictions import data_contradictions
from dtctriage.wiring.feed_contradictions import feed_contradictions
from dtctriage.wiring.network import REFERENCE
from dtctriage.wiring.problems import Problems
from dtctriage.wiring.profile import BATTERY, BATTERY_MINUS, Profile

_TABLES = (
    "fuse",
    "relay",
    "switch",
    "splice",
    "ground",
    "connector",
    "module",
    "bus",
    "circuit",
    "reference",
    "sensor",
)
_OWN_NAMES = {
    "fuse": ("{}.in",),
    "switch": ("{}.in",),
    "relay": ("{}.30", "{}.86", "{}.85", "{} coil", "{} contact"),
    "module": ("{}/ground",),
    "circuit": ("{}+", "{}-", "{} load"),
    "sensor": ("{}+", "{}.signal", "{}-", "{} element", "{} upper", "{} lower"),
}
"""Names that the wiring model gives to the ends and parts of an element."""


def contradictions(profile: Profile) -> Problems:
    """Each problem with the path of its entry."""
    yield from _ids(profile)
    yield from feed_contradictions(profile)
    yield from circuit_contradictions(profile)
    yield from bus_contradictions(profile)
    yield from data_contradictions(profile)


def _ids(profile: Profile) -> Problems:
    seen = dict.fromkeys((BATTERY, BATTERY_MINUS, REFERENCE), "the battery")
    for table, forms in _OWN_NAMES.items():
        for item in getattr(profile, table):
            seen |= {form.format(item.id): f'a part of {table} "{item.id}"' for form in forms}
    for table in _TABLES:
        for index, item in enumerate(getattr(profile, table)):
            if item.id in seen:
                yield f'{table} "{item.id}": the id is taken by {seen[item.id]}', (table, index, "id")
            seen[item.id] = f"a {table}"
