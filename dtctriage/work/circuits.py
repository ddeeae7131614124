"""What a technician enters of a wiring diagram for an order; what like vehicles had."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from dtctriage.codes.dtc import CodeError, Dtc
from dtctriage.codes.network import lost_module
from dtctriage.errors import TriageError
from dtctriage.records import EnteredCircuit, Logged, Order, Records
from dtctriage.remembered import vin_of
from dtctriage.sweep.picture import Picture
from dtctriage.triage.coded_circuits import CodedCircuit
from dtctriage.triage.generic import Basis, basis_of
from dtctriage.triage.joined import Joined
from dtctriage.vin import Vin, VinError
from dtctriage.wiring.circuit_tables import Subject, circuit_tables, module_wires
from dtctriage.wiring.contradictions import contradictions
from dtctriage.wiring.entered import KEYS_OF, MODULE, Entered, EntryError, parse_line
from dtctriage.wiring.profile import Module
from dtctriage.wiring.toml_text import toml_text

SHOWN = 40
EnteredInto = Basis | Joined
"""What an entry joins: the generic vehicle, or a profile that lacks it."""


@dataclass(frozen=True, slots=True)
class Enterable:
    """Something of the vehicle that a diagram tells more of: a circuit, or a silent module's supply.

    `codes` are those that speak of it, `now` is what was entered of it for this order.
    """

    name: str
    shape: str
    codes: tuple[str, ...]
    now: Entered | None
    part: CodedCircuit | Module

    @property
    def keys(self) -> tuple[str, ...]:
        """What can be entered of it."""
        return KEYS_OF[self.shape]

    @property
    def title(self) -> str:
        what = "supply, ground and bus" if self.shape == MODULE else "circuit"
        codes = f" ({', '.join(self.codes)})" if self.codes else ""
        return f"{self.name}, {what}{codes}"


def entered_of(records: Records, number: str) -> dict[str, Entered]:
    """What was entered for an order by name; of several entries the last one stands."""
    found = {}
    for logged in records.log.entries(number, EnteredCircuit):
        found[logged.entry.about] = parse_line(logged.entry.line)
    return found


def enterables(grounds: EnteredInto) -> Iterator[Enterable]:
    """Everything that can be entered for a sweep, circuits first."""
    for item in grounds.circuits:
        if not item.dangerous:
            codes = tuple(dtc.code for dtc in item.codes)
            yield Enterable(item.name, item.template.shape, codes, grounds.entered.get(item.name), item)
    for module in grounds.lost:
        codes = tuple(dict.fromkeys(Dtc.parse(code).code for code in grounds.codes_of(module)))
        yield Enterable(module.id, MODULE, codes, grounds.entered.get(module.id), module)


def chosen(grounds: EnteredInto, text: str) -> Enterable:
    """What a code, or a circuit's or module's name, stands for. Raises TriageError."""
    known = list(enterables(grounds))
    wanted = " ".join(text.lower().split())
    try:
        code = Dtc.parse(text).code
    except CodeError:
        code = ""
    found = [item for item in known if item.name.lower() == wanted or code in item.codes]
    if len(found) == 1:
        return found[0]
    if found:
        names = " or ".join(f'"{item.name}"' for item in found)
        raise TriageError(f"{code} speaks of several circuits", f"Name one: {names}")
    raise TriageError(*_refusal(grounds, known, text.strip()[:SHOWN], code))


def _refusal(grounds: EnteredInto, known: list[Enterable], said: str, code: str) -> tuple[str, str]:
    dangerous = [way for item in grounds.circuits if item.dangerous for way in _ways(item)]
    if said in dangerous or (code and code in dangerous):
        return f"{said}: nobody measures there", "Qualified people, by the maker's procedure"
    if isinstance(grounds, Joined) and (own := grounds.watcher_of(code)):
        return f'{code} is of "{own}", which the profile has', "Enter it in the profile's file"
    if not known:
        return "Nothing of this order can be entered: no circuit or missed module", "See dtctriage sheet"
    ways = [way for item in known for way in (*item.codes, item.name)]
    near = difflib.get_close_matches(code or said, ways, n=1)
    meant = f"; did you mean {near[0]}?" if near else ""
    if code and lost_module(Dtc.parse(code)) is None and code not in ways:
        return f"No generic circuit fits {code}, or it is not stored here{meant}", _choices(known)
    return f'"{said}" is no circuit or silent module of this order{meant}', _choices(known)


def lacking(grounds: EnteredInto) -> list[Enterable]:
    """What an order's profile lacks and nobody has entered yet; nothing without a profile."""
    return [item for item in enterables(grounds) if isinstance(grounds, Joined) and item.now is None]


def refused(grounds: EnteredInto, item: Enterable) -> str:
    """Why what was entered does not fit the order's profile, "" where it does or there is none."""
    return grounds.refused.get(item.name, "") if isinstance(grounds, Joined) else ""


def _ways(item: CodedCircuit) -> tuple[str, ...]:
    return (item.name, *(dtc.code for dtc in item.codes))


def _choices(known: list[Enterable]) -> str:
    return f"There are: {', '.join((item.codes or (item.name,))[0] for item in known)}"


def like(records: Records, order: Order, seen: Picture, about: str) -> Logged[EnteredCircuit] | None:
    """What was last entered of the same for a like vehicle (positions 1-8, 10 and 11 of the VIN)."""
    try:
        vin = Vin.parse(vin_of(order, seen) or "")
    except VinError:
        return None
    found = records.likeness.circuits(vin.pattern, about, but_order=order.number)
    return next(iter(found), None)


def keep(
    records: Records,
    number: str,
    grounds: EnteredInto,
    item: Enterable,
    entered: Entered,
    *,
    who: str,
    at: datetime,
) -> EnteredCircuit:
    """Keep what was entered. Raises EntryError where it contradicts itself or what was entered before."""
    if not entered.line:
        raise EntryError("Nothing was entered", f"Type {', '.join(f'{key}=' for key in item.keys)}")
    check(grounds, item, entered)
    entry = EnteredCircuit(item.name, entered.line, toml_text(fragment(item, entered)))
    records.log.add(number, entry, who=who, at=at)
    return entry


def check(grounds: EnteredInto, item: Enterable, entered: Entered) -> None:
    """Lay the vehicle out with what was entered. Raises EntryError where that cannot be."""
    if isinstance(grounds, Joined):
        grounds.tried(item.name, entered)
        return
    tried = basis_of(grounds.picture, {**grounds.entered, item.name: entered}, grounds.shop)
    problem = next(contradictions(tried.profile), None)
    if problem is not None:
        raise EntryError(problem[0], "Look at the diagram again, and at what was entered before")


def fragment(item: Enterable, entered: Entered) -> Mapping[str, Any]:
    """What was entered as tables of a profile."""
    part = item.part
    if isinstance(part, CodedCircuit):
        subject = Subject(part.name, part.module, dict(part.told))
        return circuit_tables(subject, part.template, entered)
    wires = module_wires(item.name, entered)
    module = {"id": item.name, "role": part.role, "supply": wires.supply, "ground": wires.ground}
    return {**wires.tables, "module": [module]}
