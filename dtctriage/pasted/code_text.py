"""One trouble code as lines of 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from functools import cache
from typing import TYPE_CHECKING

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.meaning import NO_SHOP, Meaning, Origin, ShopMeanings, hazard_of, meaning
from dtctriage_reference import rows

if TYPE_CHECKING:
    from dtctriage.codes.network import ModuleRole

WIDTH = 80
_COLUMN = 12
_QUALITIES = {
    "read": "read in a source",
    "read_and_memory": "read in a source, memory agrees",
    "memory_checked": "from memory, open code sets agree",
    "memory": "from memory, not checked against a source",
    "memory_disputed": "from memory, open code sets do not all agree",
}
_CONTROLS = {"iso_sae": "ISO/SAE", "manufacturer": "vehicle maker's", "reserved": "reserved"}


def code_lines(dtc: Dtc, shop: ShopMeanings = NO_SHOP) -> Iterator[str]:
    """A code with its meaning, what its failure type and its digits tell, and the caution it calls for."""
    told = meaning(dtc, shop)
    yield from row(str(dtc), told.text)
    if dtc.failure_type is not None:
        from dtctriage.codes.failure import failure_type

        yield from row("", f"failure type {failure_type(dtc.failure_type)}")
    hazard = hazard_of(told.subject)
    for role, words in _named(dtc):
        yield from row("", f"{role.words} {words}")
        hazard = hazard or role.hazard
    yield from row("", _standing(dtc, told))
    caution = cautions().get(hazard)
    if caution:
        yield from row("", f"CAUTION {caution}")


@cache
def cautions() -> dict[str, str]:
    """What to print for each hazard."""
    return {row["hazard"]: row["caution"] for row in rows("hazards")}


def _standing(dtc: Dtc, told: Meaning) -> str:
    """Who controls the code, its system and area, and how its meaning is known."""
    place = f"{_CONTROLS[dtc.control.value]} {dtc.system} code" + (f", {dtc.area}" if dtc.area else "")
    if told.origin is Origin.SHOP:
        return f"{place}; meaning from the shop's own table for {told.source}"
    return f"{place}; {_QUALITIES[told.quality]}" if told.known else place


def _named(dtc: Dtc) -> Iterator[tuple[ModuleRole, str]]:
    """What a network code says about the module it names."""
    if dtc.letter != "U":
        return
    from dtctriage.codes.network import invalid_data_module, lost_module, software_module

    said = (
        (lost_module(dtc), "is not heard by the module that stored this code"),
        (invalid_data_module(dtc), "does speak, but sends data that cannot be used"),
        (software_module(dtc), "does speak, but its software does not fit"),
    )
    for role, words in said:
        if role:
            yield role, words


def row(head: str, words: str) -> list[str]:
    """Words beside a heading, wrapped."""
    wrapped = textwrap.wrap(words, WIDTH - _COLUMN) or [""]
    return [f"{head if at == 0 else '':{_COLUMN}}{line}".rstrip() for at, line in enumerate(wrapped)]
