"""The tables of what a module drives and what it senses: circuits, references, sensors.

Units: volt, ohm, minute; tolerances in percent of the value, either way. The defaults of bias, pulls,
thresholds and sensor resistances are common practice (no source): a maker's own figures replace them.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, field_validator, model_validator

from dtctriage.codes.dtc import CodeError, Dtc
from dtctriage.wiring.elements import Colour, Conductor, Minutes, Name, Ohms, OwnPin, PinName, Placed, Strict

Volts = Annotated[float, Field(ge=0, le=32)]
Driver = Literal["low side", "high side", "two-sided", "push-pull"]

_USUAL_SENSOR = {
    # A potentiometer's track, or the output stage that stands for it; the module pulls an open wire low.
    "three-wire": {"ohms": 5_000.0, "pull_volts": 0.0, "pull_ohms": 220_000.0},
    # A coolant thermistor at 20 degC is 2 to 3 kohm; the module pulls the wire up to its reference.
    "two-wire": {"ohms": 2_500.0, "pull_volts": 5.0, "pull_ohms": 2_200.0},
    # A contact to ground, wetted from the battery side.
    "switch": {"ohms": 0.1, "pull_volts": 12.0, "pull_ohms": 1_000.0},
}
_FED_SWITCH = {"ohms": 0.1, "pull_volts": 0.0, "pull_ohms": 10_000.0}
"""A contact to a feed; the module pulls the wire down."""


class Load(Strict):
    """What a circuit drives: resistance in ohm with its tolerance in percent, and its own plug."""

    name: str
    kind: Literal["coil", "motor", "lamp", "resistance"] = "resistance"
    """Its symbol in drawings."""
    ohms: Ohms
    tolerance: float = Field(default=10.0, ge=0, le=100)
    basis: str = "vehicle profile"
    """Where the resistance comes from."""
    place: str = ""
    minutes: Minutes | None = None
    pins: tuple[OwnPin, OwnPin] | None = None
    """Pins of its plug: towards the battery, towards ground (of a motor: first and second driver pin)."""


class CircuitCodes(Strict):
    """The codes that watch a circuit, as text (P0443-13)."""

    open: str | None = None
    low: str | None = None
    high: str | None = None

    @field_validator("open", "low", "high")
    @classmethod
    def _is_code(cls, text: str | None) -> str | None:
        try:
            return text if text is None else str(Dtc.parse(text))
        except CodeError as error:
            raise ValueError(error.message) from None


class Readings(Strict):
    """Names of the module's data that follow a circuit: what it commands, what it reads back."""

    commanded: str = ""
    sensed: str = ""


class Circuit(Placed):
    """`[[circuit]]`: feed, load and a module's driver in series.

    `low side` switches the return: feed, `feed.through` pins, load, `driver_through` pins, driver.
    `high side` switches the feed: driver, `driver_through` pins, load, `ground_through` pins, `ground`.
    `push-pull` switches its one pin to either rail; the load leads to `ground` or comes from `feed`, and
    current flows when the pin is at the other rail.
    `two-sided` holds the load, mostly a motor, between two pins: driver pin, `driver_through`, load,
    `second_through`, second pin. On, the first pin is at the supply rail and the second at ground.

    With the driver off the module biases its pin to `bias_volts` through `bias_ohms` and reads it back. Of a
    two-sided driver the second pin is then pulled to the module's ground through `bias_ohms` too: a whole
    motor brings the first pin down to half the bias, an open one leaves it at the bias.
    """

    module: str
    driver: Driver
    driver_pin: PinName
    driver_through: tuple[PinName, ...] = ()
    driver_wire: Colour = ""
    second_pin: PinName | None = None
    second_through: tuple[PinName, ...] = ()
    second_wire: Colour = ""
    feed: Conductor | None = None
    ground: str | None = None
    ground_through: tuple[PinName, ...] = ()
    """Pins from the load to the ground point."""
    ground_wire: Colour = ""
    load: Load
    driver_ohms: Ohms = 0.3
    """Of one driver, switched on."""
    bias_volts: Volts = 2.5
    bias_ohms: Ohms = 10_000.0
    codes: CircuitCodes
    sensed_by: Name | None = None
    """The sensor that shows the circuit's effect: a fan's speed, a throttle's angle."""
    readings: Readings = Readings()
    starts: bool = False
    """True when the vehicle cannot start or become ready without it."""
    high_voltage: bool = False

    @property
    def pulls_down(self) -> bool:
        """True when the driver is the load's return; False when it is its feed (or both: two-sided)."""
        return self.driver == "low side" or (self.driver == "push-pull" and self.feed is not None)

    @property
    def path_ohms(self) -> float:
        """The load with the drivers in series with it."""
        return self.load.ohms + self.driver_ohms * (2 if self.driver == "two-sided" else 1)


class Reference(Placed):
    """`[[reference]]`: a potential that a module makes for its sensors; named in a conductor's `from`.

    `volts` 0 is a low reference, the sensors' own ground: it is named where a return leads to, directly or
    through a splice.
    """

    module: str
    pin: PinName
    volts: Volts = 5.0
    """Against the module's own ground."""
    ohms: Ohms
    """Source resistance with the current limit; 5 ohm unless told, of a low reference 0.01 ohm."""

    @model_validator(mode="before")
    @classmethod
    def _usual_ohms(cls, value: Any) -> Any:
        if not isinstance(value, dict):
            return value
        return {"ohms": 0.01 if value.get("volts") == 0 else 5.0} | value


class Sensor(Placed):
    """`[[sensor]]`: what a module reads, with the wires to it.

    `three-wire`: supply, signal, return. A potentiometer of `ohms`, or an output stage that stands for one.
    `two-wire`: signal, return. A thermistor or another resistance of `ohms` between them.
    `switch`: signal, and either a return or a supply. A contact of `ohms`, closed.
    The module pulls the signal pin to `pull_volts` through `pull_ohms`.
    """

    module: str
    kind: Literal["three-wire", "two-wire", "switch"]
    supply: Conductor | None = None
    """From a reference, or from a splice or fuse behind it."""
    signal_pin: PinName
    signal_through: tuple[PinName, ...] = ()
    """Pins from the sensor to the module."""
    signal_wire: Colour = ""
    return_pin: PinName | None = None
    """The module's sensor ground that this sensor has for itself; a shared one is a reference of 0 volt."""
    ground: str | None = None
    """Instead of `return_pin`: a ground point, a low reference, or a splice from one."""
    return_through: tuple[PinName, ...] = ()
    """Pins from the sensor to the return pin or ground."""
    return_wire: Colour = ""
    ohms: Ohms
    """Whole track; at 20 degC; closed. Unless told 5000 (three-wire), 2500 (two-wire), 0.1 (switch)."""
    tolerance: float = Field(default=10.0, ge=0, le=100)
    basis: str = "vehicle profile"
    """Where the resistance comes from."""
    position: float = Field(default=0.5, ge=0, le=1)
    """Usual reading at rest: of a track the share from the return end (between 0 and 1), of a switch 0 for
    open or 1 for closed. A two-wire sensor has none."""
    pull_volts: Volts
    """Unless told 0 (three-wire, switch with a supply), 5 (two-wire), 12 (switch with a return)."""
    pull_ohms: Ohms
    """Unless told 220,000 (three-wire), 2,200 (two-wire), 1,000 or, with a supply, 10,000 (switch)."""
    pins: tuple[OwnPin, ...] = ()
    """Pins of its plug in the order supply, signal, return, as far as the kind has them."""
    low_below: Volts = 0.2
    high_above: Volts = 4.8
    """Volt at the signal pin below and above which the module sets a code."""
    codes: CircuitCodes = CircuitCodes()
    starts: bool = False
    high_voltage: bool = False

    @model_validator(mode="before")
    @classmethod
    def _usual_values(cls, value: Any) -> Any:
        """Resistances and pulls by kind. An unknown kind gets some too: only the kind is then told of."""
        if not isinstance(value, dict):
            return value
        usual = _USUAL_SENSOR.get(str(value.get("kind")), _USUAL_SENSOR["two-wire"])
        fed_switch = value.get("kind") == "switch" and "supply" in value
        return {**(_FED_SWITCH if fed_switch else usual), **value}

    @property
    def title(self) -> str:
        return self.name or self.id

    @property
    def returns(self) -> bool:
        """Whether it has a return wire."""
        return self.return_pin is not None or self.ground is not None

    @property
    def pulls_down(self) -> bool:
        """True when the signal wire carries current into the module, which pulls it down."""
        return self.supply is not None

    @property
    def closed(self) -> bool:
        """Whether current passes at rest: all but an open switch."""
        return self.kind != "switch" or self.position > 0
