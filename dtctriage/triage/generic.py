"""The vehicle that nobody has a profile of: laid out from who answers, who is missed and what codes speak of.

What a technician entered of its diagram takes the place of what is assumed. The layout follows testimony: one
bus, unless a module that answers is missed by its partners; then there is a second one between the modules.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.meaning import NO_SHOP, ShopMeanings
from dtctriage.codes.network import bus_fault, lost_module, roles
from dtctriage.link import Framing
from dtctriage.sweep.picture import Picture
from dtctriage.triage.causes import rank_of
from dtctriage.triage.coded_circuits import CodedCircuit, circuits_of, plain, starts
from dtctriage.triage.layout import Layout, centre_of, layout_of, missed_now
from dtctriage.triage.priors import COMMON, Priors
from dtctriage.triage.seen import Seen, Testimony, failing, strongest
from dtctriage.triage.suspicion import Suspicion
from dtctriage.triage.view import Accusations, Ledger, View
from dtctriage.triage.watched import buses_reported
from dtctriage.triage.who import Who, who_answers
from dtctriage.wiring.bus_watches import faults_behind
from dtctriage.wiring.circuit_tables import Subject, Tables, circuit_tables, ignition, merged, module_wires
from dtctriage.wiring.entered import NOTHING, Entered
from dtctriage.wiring.power import Wiring
from dtctriage.wiring.profile import BATTERY, Module, Profile
from dtctriage.wiring.threads import one_thread

ENGINE = "engine_control"
STARTING_ROLES = (ENGINE, "fuel_pump_control", "immobiliser", "drive_motor")
"""Roles without which no vehicle starts. Common practice, no source."""
DRIVES = "hybrid_ev"
"""The group of modules on the high-voltage side."""
FED = ("low side", "contact")
"""Shapes of circuits with a feed that others may hang on too."""
MOST_CIRCUITS = 6
"""Circuits laid out at most, those of the weightiest codes."""
DIAGNOSIS, BETWEEN, BEHIND = "DIAGNOSIS", "MODULES", "BEHIND-GATEWAY"
"""Names of the assumed buses: at the connector, between the modules, behind a gateway."""
AT_PINS = "high-speed CAN"
"""The bus that reaches pins 6 and 14 of the diagnostic connector (SAE J1962)."""
NAMELESS = 0x1FFF_0000
"""Where assumed modules stand in the profile; nobody asks them there."""
_CONNECTOR = "diagnostic connector"
_SILENT = ("gateway", "engine control", "body control")
"""Who is taken to be in a vehicle in which nobody answers."""


@dataclass(frozen=True)
class Basis:
    """A generic vehicle, and the sweep in its words."""

    picture: Picture
    layout: Layout
    missed: Accusations
    who: Who
    circuits: tuple[CodedCircuit, ...]
    entered: Mapping[str, Entered]
    profile: Profile
    seen: Seen
    priors: Priors = COMMON
    shop: ShopMeanings = field(default_factory=dict)

    @property
    def tells(self) -> bool:
        """Whether there is anything to weigh."""
        return self.layout is not Layout.WHOLE or bool(self.circuits) or bool(self.bus_codes)

    @cached_property
    def bus_codes(self) -> frozenset[tuple[str, Dtc]]:
        """Codes about a bus itself, with the modules that hold them."""
        return frozenset((module, dtc) for _, module, dtc in buses_reported(self.profile))

    @property
    def lost(self) -> tuple[Module, ...]:
        """Missed modules that nobody has heard: their supply, ground and bus can be entered."""
        if self.layout is not Layout.MISSED:
            return ()
        heard = {said.target.label for said in self.picture.modules.values()}
        return tuple(module for module in self.profile.module if module.id not in heard)

    def codes_of(self, module: Module) -> tuple[str, ...]:
        """The codes that name a module as lost."""
        return tuple(code for _, code, _ in self.missed.get(module.role, ()))

    @cached_property
    def suspicion(self) -> Suspicion:
        with one_thread():
            return Suspicion(Wiring(self.profile), priors=self.priors)


def basis_of(
    picture: Picture,
    entered: Mapping[str, Entered] | None = None,
    shop: ShopMeanings = NO_SHOP,
    priors: Priors = COMMON,
) -> Basis:
    """Lay out the vehicle of a sweep. `entered`: what is known of a circuit or module, by its name."""
    view = View(picture, None, None, None, Ledger(), shop=shop)
    missed, who = missed_now(view), who_answers(view)
    layout = layout_of(view, missed, who)
    made = _Vehicle(view, layout, missed, who, entered or {})
    return Basis(
        picture,
        layout,
        missed,
        who,
        made.circuits,
        made.entered,
        Profile.model_validate(made.document()),
        made.seen(),
        priors,
        shop,
    )


# -- the vehicle ----------------------------------------------------------------------------------------


class _Vehicle:
    def __init__(
        self, view: View, layout: Layout, missed: Accusations, who: Who, entered: Mapping[str, Entered]
    ) -> None:
        self._view = view
        self._layout = layout
        self._missed = missed
        self.entered = entered
        self._answering = [label for label, _ in view.modules]
        self._centre = centre_of(view, missed, who)
        known = roles()
        self._names = {role: who.label_of(role) or plain(known[role].words) for role in missed}
        weight = {
            item: max(rank_of(view.meaning(dtc)).weight for dtc in item.codes) for item in circuits_of(view)
        }
        self._reported = _reported(view)
        self.circuits = tuple(sorted(weight, key=lambda item: -weight[item])[:MOST_CIRCUITS])

    def document(self) -> dict[str, Any]:
        vehicle = {"make": "generic", "model": "vehicle"}
        if self._layout is Layout.ALL_SILENT:
            return {"format": 1, "vehicle": vehicle} | self._dark()
        tables = [self._network()]
        numbers: dict[str, int] = {}
        fuses = self._shared_fuses()
        for item in self.circuits:
            if not item.dangerous:
                numbers[item.module] = nth = numbers.get(item.module, 0) + 1
                stopping = starts(self._view, item)
                subject = Subject(
                    item.name, item.module, dict(item.told), stopping, nth, fuses.get(item.name, "")
                )
                tables.append(circuit_tables(subject, item.template, self.entered.get(item.name, NOTHING)))
        return {"format": 1, "vehicle": vehicle} | merged(*tables)

    def _shared_fuses(self) -> dict[str, str]:
        """Circuits of one module that fail together are first taken to hang on one fuse (common practice)."""
        fed: dict[str, list[str]] = {}
        for item in self.circuits:
            if item.template.shape in FED and item.name not in self.entered:
                fed.setdefault(item.module, []).append(item.name)
        return {
            name: f"shared {module} fuse" for module, names in fed.items() for name in names if len(names) > 1
        }

    # -- nobody answers -----------------------------------------------------------------------------

    def _dark(self) -> Tables:
        """A gateway behind the connector, two modules behind it, all fed through the main fuse."""
        bus, behind = DIAGNOSIS, BEHIND
        supply = [{"from": "ignition switch", "pin": "plug:supply"}]
        ground = [{"ground": "engine or body ground", "pin": "plug:ground"}]
        modules = [
            self._module(name, "", number, [behind], supply=supply, ground=ground)
            for number, name in enumerate(_SILENT)
        ]
        modules[0]["buses"] = [bus, behind]
        return {
            "fuse": [{"id": "main fuse", "from": BATTERY, "rating": 100.0, "place": "at the battery"}],
            "switch": [
                {"id": "ignition switch", "from": "main fuse", "closed_in": ["run", "start"], "place": "dash"}
            ],
            "ground": [{"id": "engine or body ground", "place": "body or engine"}],
            "connector": [{"id": _CONNECTOR, "place": "dash"}],
            "module": modules,
            "bus": [self._bus(bus, [_CONNECTOR, _SILENT[0]]), self._bus(behind, list(_SILENT))],
            "gateway": [{"module": _SILENT[0], "joins": [bus, behind]}],
        }

    # -- somebody answers ---------------------------------------------------------------------------

    def _network(self) -> Tables:
        split = self._layout in (Layout.CUT_OFF, Layout.SHARED) or self._missed_answers
        wires = self._wires()
        hears = self._hears()
        separate = self._reported if self._layout is Layout.WHOLE else {}
        buses = [DIAGNOSIS, BETWEEN] if split else [DIAGNOSIS]
        modules = []
        for number, (label, said) in enumerate(self._view.modules):
            own = {"hears": [f"{lost}@{buses[-1]}" for lost in hears.get(label, [])]}
            told = [name for name, codes in separate.items() if label in codes]
            made = self._module(label, self._role_of(label), number, [*buses, *told], **own)
            modules.append(made | {"request": said.target.request, "framing": said.target.framing.value})
        lost = [(role, name) for role, name in self._names.items() if name not in self._answering]
        for number, (role, name) in enumerate(lost, start=len(modules)):
            fed = wires.get(name)
            ends = {"supply": fed.supply, "ground": fed.ground} if fed else {}
            modules.append(self._module(name, role, number, buses, **ends))
        line = [*self._answering]
        for _, name in lost:
            line += [*([wires[name].inline] if name in wires and wires[name].inline else []), name]
        drawn = [self._bus(name, line) for name in buses]
        if not separate:
            drawn[-1]["codes"] = sorted({code for codes in self._reported.values() for code in _texts(codes)})
        apart = [_bus_apart(name, codes) for name, codes in separate.items()]
        # Whatever is shared has been written once by each of them.
        tables = [item.tables for item in wires.values()]
        return merged(ignition(), *tables, {"module": modules, "bus": drawn}, *apart)

    @property
    def _missed_answers(self) -> bool:
        return any(name in self._answering for name in self._names.values())

    def _wires(self) -> dict[str, Any]:
        """Feeds and grounds of the modules that may be without supply."""
        if self._layout is not Layout.MISSED:
            return {}
        lost = [name for name in self._names.values() if name not in self._answering]
        shared = [name for name in lost if name not in self.entered]
        base = "their" if len(shared) > 1 else next(iter(shared), "")
        found = {name: module_wires(base, NOTHING, nth) for nth, name in enumerate(shared, start=1)}
        own = {name: module_wires(name, self.entered[name]) for name in lost if name in self.entered}
        return {name: (found | own)[name] for name in lost}

    def _hears(self) -> dict[str, list[str]]:
        """Who testifies listens; those whom a module that is cut off misses, the others are taken to hear."""
        found: dict[str, list[str]] = {}
        for role, who in self._missed.items():
            listeners = [label for label, *_ in who]
            if self._centre and self._names[role] != self._centre:
                listeners = [self._view.label(said) for said in self._view.read_modules]
            for label in dict.fromkeys(listeners):
                if self._names[role] != label and self._names[role] not in found.get(label, []):
                    found.setdefault(label, []).append(self._names[role])
        return found

    def _role_of(self, label: str) -> str:
        return next((role for role, name in self._names.items() if name == label), "")

    def _module(self, name: str, role: str, number: int, buses: list[str], **more: Any) -> dict[str, Any]:
        group = roles()[role].group if role else ""
        return {
            "id": name,
            "role": role,
            "request": NAMELESS + number,
            "framing": Framing.CAN29.value,
            "buses": buses,
            "starts": role.startswith(STARTING_ROLES),
            "high_voltage": group == DRIVES,
            "place": "at the module",
            **more,
        }

    def _bus(self, name: str, line: list[str]) -> dict[str, Any]:
        made: dict[str, Any] = {"id": name, "line": line, "place": "along the harness"}
        protocol = self._view.picture.protocol
        if protocol is not None:
            made["protocol"] = protocol.value
        if protocol is None or protocol.framing.is_can:
            made["terminated_in"] = [line[0], line[-1]]
        if name == DIAGNOSIS:
            made["at_connector"] = line[0]
            made["pins"] = [6, 14] if protocol is None or protocol.framing.is_can else [7, 15]
        return made

    # -- the sweep in its words ---------------------------------------------------------------------

    def seen(self) -> Seen:
        picture = self._view.picture
        if self._layout is Layout.ALL_SILENT:
            answers = dict.fromkeys(_SILENT, (0, picture.rounds))
            return Seen(answers, frozenset(), (), frozenset(), frozenset(), {}, picture.supply)
        codes: dict[bool, set[tuple[str, Dtc]]] = {True: set(), False: set()}
        testimonies = []
        for label, said in self._view.modules:
            for entry in strongest(said):
                role = lost_module(entry.dtc)
                if role is None:
                    codes[failing(entry) is not False].add((label, entry.dtc))
                elif role.key in self._names:
                    testimonies.append(Testimony(label, self._names[role.key], entry.dtc, failing(entry)))
        return Seen(
            # Without a profile nobody says that a module which missed a call is at fault.
            {label: (max(said.answered, 1),) * 2 for label, said in self._view.modules},
            frozenset(label for label, said in self._view.modules if said.codes_read),
            tuple(testimonies),
            frozenset(codes[True]),
            frozenset(codes[False]),
            {label: said.volts for label, said in self._view.modules if said.volts is not None},
            picture.supply,
        )


# -- buses that are reported themselves -----------------------------------------------------------------

_Reports = dict[str, list[Dtc]]
"""Codes by the module that holds them."""


def _reported(view: View) -> dict[str, _Reports]:
    """Codes about a bus itself, by the bus: A where they speak of bus A or of control module bus A."""
    found: dict[str, _Reports] = {}
    for label, said in view.modules:
        for entry in strongest(said):
            told = bus_fault(entry.dtc)
            if told is not None and faults_behind(entry.dtc):
                name = told.bus.removeprefix("control module ").removeprefix("bus ")
                found.setdefault(name, {}).setdefault(label, []).append(entry.dtc)
    return found


def _texts(codes: _Reports) -> list[str]:
    return sorted({str(dtc) for dtcs in codes.values() for dtc in dtcs})


def _bus_apart(name: str, codes: _Reports) -> Tables:
    """A pair with those who report it, and the rest of it, which nobody knows."""
    rest = f"rest of bus {name}"
    line = [*codes, rest]
    bus: dict[str, Any] = {"id": name, "line": line, "terminated_in": [line[0], rest], "codes": _texts(codes)}
    if name == AT_PINS:
        bus |= {"at_connector": rest, "pins": [6, 14]}
    place = "along the harness"
    return {"bus": [bus | {"place": place}], "connector": [{"id": rest, "place": place}]}
