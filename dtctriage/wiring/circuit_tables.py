"""A generic circuit as the tables of a profile, with what the diagram tells of it put in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from dtctriage.wiring.entered import NOTHING, Entered
from dtctriage.wiring.parts import ONLY_PLUG
from dtctriage.wiring.profile import BATTERY, BATTERY_MINUS, Key
from dtctriage.wiring.templates import Template
from dtctriage_reference import rows

Tables = dict[str, list[dict[str, Any]]]
"""Tables of a profile by their name, such as fuse, as they stand in a file."""
IGNITION = "ignition switch"
ACCESSORY = "ignition switch accessory contact"
_CLOSED_IN = {
    IGNITION: [Key.RUN.value, Key.START.value],
    ACCESSORY: [Key.ACCESSORY.value, Key.RUN.value],
}
_HOT = {"": IGNITION, "run": IGNITION, "accessory": ACCESSORY, "always": BATTERY}
BY_DIAGRAM = "by the wiring diagram"
USUAL_RATING = 10.0
"""Ampere, of a fuse that is only assumed: common practice, no source. No sheet prints it."""


@dataclass(frozen=True, slots=True)
class Subject:
    """What a circuit is about: `id` names its parts, `module` watches it, `codes` by finding.

    `nth` tells apart the assumed pins of several circuits at one module.
    """

    id: str
    module: str
    codes: Mapping[str, str]
    starts: bool = False
    nth: int = 1
    fuse: str = ""
    """What its fuse is taken to be called; unless told it has one of its own."""


def circuit_tables(subject: Subject, template: Template, entered: Entered = NOTHING) -> Tables:
    """Tables of one circuit; its module is not among them."""
    made = _Circuit(subject, template, entered)
    match template.shape:
        case "low side":
            made.low_side()
        case "two-sided":
            made.two_sided()
        case "three-wire":
            made.three_wire()
        case "two-wire":
            made.two_wire()
        case "contact":
            made.contact()
        case "sensed feed":
            made.sensed_feed()
    return made.tables


def ignition() -> Tables:
    """The switch that every generic vehicle has."""
    made = Builder("", NOTHING)
    made.source(IGNITION)
    return made.tables


def merged(*parts: Tables) -> Tables:
    """All tables in one; of entries with one id the last stands."""
    found: dict[str, dict[str, dict[str, Any]]] = {}
    for tables in parts:
        for table, entries in tables.items():
            known = found.setdefault(table, {})
            known |= {entry["id"]: entry for entry in entries}
    return {table: list(entries.values()) for table, entries in found.items()}


class Builder:
    """Gathers tables; `base` is what assumed parts are called after."""

    def __init__(self, base: str, entered: Entered, fuse: str = "") -> None:
        self.base = base
        self._fuse = fuse or f"{base} fuse"
        self.entered = entered
        self.tables: Tables = {}

    def add(self, table: str, **values: Any) -> str:
        """An entry, unless it is there. Returns its id."""
        entries = self.tables.setdefault(table, [])
        if all(entry["id"] != values["id"] for entry in entries):
            entries.append({key: value for key, value in values.items() if value not in ("", [], None)})
        return str(values["id"])

    def feed(self, relay: str = "") -> str:
        """From the battery by key, relay and fuse: the id of what a wire comes from."""
        entered = self.entered
        source = self.source(_HOT[entered.hot])
        relay = entered.relay or relay
        if relay:
            source = self.relay(relay, source)
        rating = entered.rating if entered.fuse else USUAL_RATING
        name = entered.fuse_id or self._fuse
        place = f"fuse box, {BY_DIAGRAM}"
        return self.add("fuse", id=name, **{"from": source}, rating=rating, place=place)

    def source(self, name: str) -> str:
        if name in _CLOSED_IN:
            self.add("switch", id=name, **{"from": BATTERY}, closed_in=_CLOSED_IN[name], place="dash")
        return name

    def relay(self, name: str, switched_by: str) -> str:
        """Fed by the battery, its coil by what the feed is live with."""
        coil = {"from": switched_by, "ground": BATTERY_MINUS}
        place = f"relay box, {BY_DIAGRAM}"
        return self.add("relay", id=name, **{"from": BATTERY}, coil=coil, place=place)

    def through(self, given: str, assumed: str) -> list[str]:
        """The inline connector on a wire: the diagram's, or, without a diagram, one that there mostly is."""
        if not given and self.entered != NOTHING:
            return []
        pin = given or f"{self.base} connector:{assumed}"
        name = pin.partition(":")[0]
        hidden = name in self.entered.hidden.split(",")
        minutes = _hidden_minutes() if hidden else None
        self.add("connector", id=name, place=f"along the harness, {BY_DIAGRAM}", minutes=minutes)
        return [pin]


class _Circuit(Builder):
    def __init__(self, subject: Subject, template: Template, entered: Entered) -> None:
        super().__init__(subject.id, entered, subject.fuse)
        self._subject = subject
        self._template = template

    def low_side(self) -> None:
        entered = self.entered
        feed = {"from": self.feed(), "through": self.through(entered.supplyconnector, "feed")}
        self._circuit(
            driver="low side",
            driver_through=self.through(entered.connector, "driven"),
            feed=_wired(feed, "wire", entered.supplycolour),
            plug=["feed", "driven"],
        )

    def two_sided(self) -> None:
        entered = self.entered
        self._circuit(
            driver="two-sided",
            driver_through=self.through(entered.connector, "first"),
            second_pin=self._pin(entered.second, "second"),
            second_through=self.through(entered.secondconnector, "second"),
            second_wire=entered.secondcolour,
            plug=["first", "second"],
        )

    def three_wire(self) -> None:
        entered = self.entered
        reference = f"{self.base} 5 V reference"
        pin = self._pin(entered.supply, "supply")
        self.add("reference", id=reference, module=self._subject.module, pin=pin)
        supply = {"from": reference, "through": self.through(entered.supplyconnector, "supply")}
        self._sensor("three-wire", supply=_wired(supply, "wire", entered.supplycolour), **self._return())

    def two_wire(self) -> None:
        self._sensor("two-wire", **self._return())

    def contact(self) -> None:
        """Closed where a code tells of too little, open where it tells of too much: as it was set."""
        closed = 0 if set(self._subject.codes) == {"high"} else 1
        supply = {"from": self.feed(), "through": self.through(self.entered.supplyconnector, "feed")}
        self._sensor("switch", supply=supply, position=closed)

    def sensed_feed(self) -> None:
        """The module reads back what a relay and a fuse give it."""
        supply = {"from": self.feed(f"{self.base} relay")}
        self._sensor("switch", supply=supply, position=1)

    def _return(self) -> dict[str, Any]:
        entered = self.entered
        return {
            "return_pin": self._pin(entered.second, "return"),
            "return_through": self.through(entered.secondconnector, "return"),
            "return_wire": entered.secondcolour,
        }

    def _circuit(self, plug: list[str], **wiring: Any) -> None:
        subject, template, entered = self._subject, self._template, self.entered
        load = {"name": subject.id, "kind": template.symbol, "pins": _pins(entered, plug)} | self._ohms()
        self.add(
            "circuit",
            id=subject.id,
            module=subject.module,
            driver_pin=self._pin(entered.pin, "driven" if wiring["driver"] == "low side" else "first"),
            driver_wire=entered.colour,
            load=_wired(load, "place", entered.place),
            codes=dict(subject.codes),
            starts=subject.starts or None,
            **wiring,
        )

    def _sensor(self, kind: str, **wiring: Any) -> None:
        subject, entered = self._subject, self.entered
        # An input has no finding of its own for an open wire: it shows as low or as high.
        codes = {finding: code for finding, code in subject.codes.items() if finding != "open"}
        figures = self._ohms()
        self.add(
            "sensor",
            id=subject.id,
            module=subject.module,
            kind=kind,
            signal_pin=self._pin(entered.pin, "signal"),
            signal_through=self.through(entered.connector, "signal"),
            signal_wire=entered.colour,
            ohms=0.1 if kind == "switch" else figures["ohms"],
            tolerance=figures["tolerance"],
            basis=figures["basis"],
            codes=codes,
            place=entered.place,
            starts=subject.starts or None,
            **wiring,
        )

    def _ohms(self) -> dict[str, Any]:
        if self.entered.ohms:
            return {"ohms": float(self.entered.ohms), "tolerance": 10.0, "basis": "wiring diagram"}
        template = self._template
        return {"ohms": template.ohms, "tolerance": template.tolerance, "basis": template.basis}

    def _pin(self, given: str, assumed: str) -> str:
        return given or f"{ONLY_PLUG}:{assumed}{self._subject.nth if self._subject.nth > 1 else ''}"


@cache
def _hidden_minutes() -> float:
    """The price of a connector that was entered as out of reach."""
    return next(float(row["minutes"]) for row in rows("check_costs") if row["place"] == "hidden connector")


def _wired(table: dict[str, Any], key: str, value: str) -> dict[str, Any]:
    return table | {key: value} if value else table


def _pins(entered: Entered, assumed: list[str]) -> list[str]:
    given = entered.plug.split(",") if entered.plug else []
    return given if len(given) == len(assumed) else assumed


# -- a module's supply ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Wires:
    """A module's supply, ground and bus as a profile's module has them, and what they lead to.

    `inline`: a connector that the bus passes before it reaches the module, "" for none.
    """

    tables: Tables
    supply: list[dict[str, Any]]
    ground: list[dict[str, Any]]
    inline: str = ""


def module_wires(base: str, entered: Entered = NOTHING, nth: int = 1) -> Wires:
    """How a module is fed and grounded.

    `base` names assumed parts, `nth` tells apart modules that share them.
    """
    made = Builder(base, entered)
    number = str(nth) if nth > 1 else ""
    feed = made.feed("" if entered.fuse else f"{base} relay")
    supply = {"from": feed, "through": made.through(entered.connector, f"supply{number}")}
    supply |= {"pin": entered.pin or f"{ONLY_PLUG}:supply"}
    place = f"body or engine, {BY_DIAGRAM}"
    ground = made.add("ground", id=entered.ground or f"{base} ground", place=place)
    back = {"ground": ground, "through": made.through(entered.secondconnector, f"ground{number}")}
    back |= {"pin": entered.second or f"{ONLY_PLUG}:ground"}
    if entered.busconnector:
        made.through(f"{entered.busconnector}:bus", "")
    return Wires(
        made.tables,
        [_wired(supply, "wire", entered.colour)],
        [_wired(back, "wire", entered.secondcolour)],
        entered.busconnector,
    )
