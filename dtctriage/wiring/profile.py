"""A vehicle's modules and wiring, as written in a `*.vehicle.toml` file.

The model is what a wiring diagram shows: where current comes from, what it passes, where it returns, and
which pair of wires carries which modules' messages. Every conductor names the element it comes `from`; the
elements are fuses, relays, switches, splices, grounds and modules' pins. Units: volt, ohm, ampere, minute.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Literal

from pydantic import Field, field_validator

from dtctriage.codes.dtc import CodeError, Dtc
from dtctriage.codes.network import bus_fault
from dtctriage.link import BusProtocol, Framing, Target, physical
from dtctriage.wiring.circuits import Circuit, CircuitCodes, Load, Reference, Sensor
from dtctriage.wiring.data import Data, Extended
from dtctriage.wiring.elements import Colour, Conductor, Ohms, PinName, Placed, Strict

__all__ = [
    "BATTERY",
    "BATTERY_MINUS",
    "Battery",
    "Bus",
    "Circuit",
    "CircuitCodes",
    "Coil",
    "Conductor",
    "Connector",
    "Fuse",
    "Gateway",
    "Ground",
    "Heard",
    "HighVoltage",
    "Identifier",
    "Key",
    "Load",
    "Module",
    "Profile",
    "Reference",
    "Relay",
    "Return",
    "Sensor",
    "Splice",
    "Strict",
    "Supply",
    "Switch",
    "Vehicle",
]

BATTERY = "battery"
"""The supply node's name in `from`."""
BATTERY_MINUS = "battery-"
"""The return node's name in a ground's `to`."""

Identifier = Annotated[int, Field(ge=0, le=0x1FFFFFFF, strict=True)]
"""A CAN identifier or node address. Strict: "720" in quotes would be read as decimal."""


class Key(StrEnum):
    """Ignition positions."""

    OFF = "off"
    ACCESSORY = "accessory"
    RUN = "run"
    START = "start"


class Vehicle(Strict):
    """`[vehicle]`: which vehicles the profile is for."""

    make: str
    model: str
    years: str = ""
    vin_pattern: str = Field(default="", pattern=r"^[A-HJ-NPR-Z0-9.]*$", max_length=17)
    """VIN with a dot where any character fits, from position 1."""
    nominal_volts: Literal[12, 24] = 12


class Battery(Strict):
    """`[battery]`: open-circuit voltage and internal resistance."""

    volts: float = Field(default=12.6, gt=0, le=32)
    ohms: Ohms = 0.01
    place: str = ""


class HighVoltage(Strict):
    """`[high_voltage]`: present where a traction battery is fitted."""

    volts: float = Field(gt=60)
    where: str


class Fuse(Placed, Conductor):
    """`[[fuse]]`."""

    rating: float = Field(gt=0, le=500)

    @property
    def title(self) -> str:
        """With its rating; one that is only described is of a generic circuit, its rating not known."""
        called = self.called("fuse")
        return called if called == self.id else f"{called} ({self.rating:g} A)"


class Switch(Placed, Conductor):
    """`[[switch]]`: closed in the named ignition positions."""

    closed_in: frozenset[Key]


class Splice(Placed, Conductor):
    """`[[splice]]`: one wire in, several out. `from` a low reference it joins the returns of sensors."""


class Coil(Conductor):
    """A relay's coil: fed `from`, returning to a ground, energised whenever its feed is hot."""

    ground: str
    ground_through: tuple[PinName, ...] = ()
    """Pins from the coil to the ground point."""
    ground_wire: Colour = ""
    ohms: Ohms = 80.0


class Relay(Placed, Conductor):
    """`[[relay]]`: `from` feeds the contact."""

    coil: Coil


class Ground(Placed):
    """`[[ground]]`: a ground point on the body or engine, bonded to battery minus."""

    to: str = BATTERY_MINUS
    ohms: Ohms = 0.002


class Connector(Placed):
    """`[[connector]]`: an inline or component connector. `exposed`: in water, heat or movement."""

    exposed: bool = False


class Supply(Conductor):
    """A supply pin of a module. All `main` supplies must be there for the module to run."""

    pin: PinName
    purpose: Literal["main", "memory"] = "main"


class Return(Strict):
    """A ground pin of a module."""

    ground: str
    pin: PinName
    through: tuple[PinName, ...] = ()
    wire: Colour = ""


class Heard(Strict):
    """A partner whose messages a module expects. `bus`: on which of the shared buses."""

    module: str
    bus: str | None = None


class Module(Placed):
    """`[[module]]`."""

    role: str
    """Key of the lost-communication table, such as engine_control_a; empty where no code names it."""
    request: Identifier
    answer: Identifier | None = None
    framing: Framing = Framing.CAN11
    speaks: tuple[Literal["j1979", "obd_on_uds", "uds", "kwp"], ...] = ("uds",)
    buses: tuple[str, ...] = Field(min_length=1)
    """The first one carries diagnosis."""
    supply: tuple[Supply, ...] = ()
    ground: tuple[Return, ...] = ()
    hears: tuple[Heard, ...] = ()
    draws_ohms: Ohms = 40.0
    """The module as a load on its supply, key on."""
    works_from: float = Field(default=9.0, gt=0)
    """Least supply in volts at which it answers."""
    judges_from: float = Field(default=10.0, gt=0)
    """Least supply in volts at which it stores lost-communication codes."""
    lost_after: float = Field(default=5.0, gt=0)
    """Seconds without a partner's message before the code is stored."""
    part_number: str = ""
    calibration: str = ""
    starts: bool = False
    """True when the vehicle cannot start or become ready without it."""
    high_voltage: bool = False
    fitted: Literal["always", "optional"] = "always"
    user_memory: Annotated[int, Field(ge=0, le=0xFF)] | None = None
    """Number of its second memory of codes (ISO 14229-1 service 19 17), where it has one."""

    @field_validator("hears", mode="before")
    @classmethod
    def _short_form(cls, value: object) -> object:
        """`hears = ["ECM", "ABS@PT"]` is short for tables with module and bus."""
        if not isinstance(value, (list, tuple)):
            return value
        return [_heard(item) if isinstance(item, str) else item for item in value]

    @property
    def target(self) -> Target:
        """Request id with its answer id, the standard's where the file gives none."""
        standard = physical(self.framing, self.request)
        return standard if self.answer is None else Target(self.framing, self.request, self.answer)

    @property
    def title(self) -> str:
        return self.name or self.id


def _heard(text: str) -> dict[str, str]:
    module, _, bus = text.partition("@")
    return {"module": module, "bus": bus} if bus else {"module": module}


class Bus(Placed):
    """`[[bus]]`: a CAN pair, or a wire of an older protocol.

    `line` lists modules and inline connectors from one end to the other.
    """

    protocol: BusProtocol = BusProtocol.CAN11_500
    line: tuple[str, ...] = Field(min_length=1)
    terminated_in: tuple[str, str] | None = None
    """The two entries of `line` that hold the terminations. A CAN pair has them, no other protocol does."""
    termination_ohms: Ohms = 120.0
    """Of each termination (ISO 11898-2)."""
    at_connector: str | None = None
    """Entry of `line` nearest to the diagnostic connector; None when the bus does not reach it."""
    pins: tuple[int, int] | None = None
    """Pins at the diagnostic connector, CAN high and CAN low (J1962: 6 and 14; K and L: 7 and 15)."""
    codes: tuple[str, ...] = ()
    """Codes by which its modules report the bus itself, as text (U0001-88)."""

    @field_validator("codes")
    @classmethod
    def _are_codes(cls, texts: tuple[str, ...]) -> tuple[str, ...]:
        try:
            found = [Dtc.parse(text) for text in texts]
        except CodeError as error:
            raise ValueError(error.message) from None
        other = next((dtc for dtc in found if bus_fault(dtc) is None), None)
        if other is not None:
            raise ValueError(f"{other} is no code about a bus: those are U0001 to U007F")
        return tuple(map(str, found))

    @property
    def ends(self) -> tuple[str, ...]:
        """The entries of `line` with a termination; none off CAN."""
        return self.terminated_in or ()


class Gateway(Strict):
    """`[[gateway]]`: a module that passes diagnosis and messages between its buses."""

    module: str
    joins: tuple[str, ...] = Field(min_length=2)


class Profile(Strict):
    """The whole file."""

    format: Literal[1]
    vehicle: Vehicle
    battery: Battery = Battery()
    high_voltage: HighVoltage | None = None
    fuse: tuple[Fuse, ...] = ()
    relay: tuple[Relay, ...] = ()
    switch: tuple[Switch, ...] = ()
    splice: tuple[Splice, ...] = ()
    ground: tuple[Ground, ...] = ()
    connector: tuple[Connector, ...] = ()
    module: tuple[Module, ...] = Field(min_length=1)
    bus: tuple[Bus, ...] = ()
    gateway: tuple[Gateway, ...] = ()
    circuit: tuple[Circuit, ...] = ()
    reference: tuple[Reference, ...] = ()
    sensor: tuple[Sensor, ...] = ()
    data: tuple[Data, ...] = ()
    extended: tuple[Extended, ...] = ()

    @property
    def feeds(self) -> tuple[Fuse | Relay | Switch | Splice, ...]:
        """Everything that passes current on, in the order of the file."""
        return (*self.fuse, *self.relay, *self.switch, *self.splice)

    @property
    def low_names(self) -> frozenset[str]:
        """The sensors' own grounds: low references and the splices behind them."""
        low = {item.id for item in self.reference if item.volts == 0}
        for _ in self.splice:
            low |= {item.id for item in self.splice if item.source in low}
        return frozenset(low)

    def module_at(self, target: Target) -> Module | None:
        """The module whose request id this is."""
        for module in self.module:
            if (module.framing, module.request) == (target.framing, target.request):
                return module
        return None

    def module_named(self, module_id: str) -> Module:
        """The module with this id. Raises KeyError."""
        for module in self.module:
            if module.id == module_id:
                return module
        raise KeyError(module_id)
