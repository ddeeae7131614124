"""Who gets how many volts, for a key position and the faults put in.

Relays pull in by the voltage at their coil and fuses blow by the current through them, so the network is
solved again until neither changes any more.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from dtctriage.wiring.faults import HIGH_OHMS, SHORT_OHMS, Fault, FaultKind
from dtctriage.wiring.network import REFERENCE, Network
from dtctriage.wiring.parts import module_pin, parts_of
from dtctriage.wiring.profile import BATTERY, Circuit, Key, Module, Profile

PULL_IN = 0.6
"""Share of nominal voltage at which a relay pulls in. Common practice, no source."""
BLOWS_AT = 1.6
"""Share of its rating at which a fuse is taken to blow: at 160 % a blade fuse of ISO 8820-3 opens within a
minute (from memory), and a vehicle that comes to the shop has had that minute."""
INSIDE_OHMS = 0.001
"""Between the ground pins of one module, inside its housing."""


@dataclass(frozen=True, slots=True)
class Power:
    """Node voltages in volt against battery minus, the fuses that blew, the relays that pulled in."""

    volts: Mapping[str, float]
    blown: frozenset[str]
    closed: frozenset[str]

    def at(self, node: str) -> float:
        """Voltage at a node; 0 where nothing connects to it."""
        return self.volts.get(node, 0.0)


@dataclass(frozen=True, slots=True)
class _State:
    """What decides the topology of one solution."""

    cut: frozenset[str]
    worn: frozenset[str]
    shorts: tuple[Fault, ...]
    absent: frozenset[str]
    driven: frozenset[str]


class Wiring:
    """A profile prepared for solving again and again with different faults."""

    def __init__(self, profile: Profile) -> None:
        self.profile = profile
        self.parts = {part.id: part for part in parts_of(profile)}
        # Faults of buses and inside modules leave the supply as it is: one solution serves them all.
        self._solved: dict[_State, Power] = {}
        self._switches = frozenset(item.id for item in profile.switch)

    def solve(
        self, faults: Iterable[Fault] = (), key: Key = Key.RUN, driven: frozenset[str] = frozenset()
    ) -> Power:
        """Solve with faults in, at a key position, with the circuits named in `driven` commanded on."""
        known = tuple(faults)
        state = _State(
            cut=_places(known, FaultKind.OPEN)
            | {item.id for item in self.profile.switch if key not in item.closed_in},
            worn=_places(known, FaultKind.HIGH_RESISTANCE),
            shorts=tuple(
                f for f in known if f.kind in (FaultKind.SHORT_TO_GROUND, FaultKind.SHORT_TO_SUPPLY)
            ),
            absent=_places(known, FaultKind.NOT_FITTED),
            driven=driven,
        )
        return self._remembered(state)

    def _remembered(self, state: _State) -> Power:
        if state not in self._solved:
            self._solved[state] = self._settle(state)
        return self._solved[state]

    def _settle(self, state: _State) -> Power:
        if state.driven:
            # A driver limits a short's current before a fuse feels it: fuses and relays stay as they are.
            rest = self._remembered(replace(state, driven=frozenset()))
            return replace(rest, volts=self._once(state, rest.closed, rest.blown))
        closed, blown = self._start(state), frozenset[str]()
        volts: Mapping[str, float] = {}
        # Each turn blows a fuse or moves relays; the bound stops a circuit that chatters.
        for _ in range(2 + len(self.profile.relay) + len(self.profile.fuse)):
            volts = self._once(state, closed, blown)
            now_closed = self._pulled_in(volts, state.cut)
            now_blown = blown | self._overloaded(volts, state.cut | blown)
            if (now_closed, now_blown) == (closed, blown):
                break
            closed, blown = now_closed, now_blown
        return Power(volts, blown, closed)

    def _start(self, state: _State) -> frozenset[str]:
        """The closed relays to start from. Faults come to a sound vehicle: few change a relay."""
        switched_off = state.cut & self._switches
        sound = _State(switched_off, frozenset(), (), frozenset(), frozenset())
        return frozenset() if state == sound else self._remembered(sound).closed

    def module_volts(self, module: Module, power: Power) -> float:
        """The worst main supply of a module against its own ground, in volt.

        A profile that gives no supply for it says nothing about its power: battery voltage is assumed.
        """
        pins = _main_pins(module)
        least = min((power.at(pin) for pin in pins), default=power.at(BATTERY))
        return least - power.at(inside_ground(module))

    def _once(self, state: _State, closed: frozenset[str], blown: frozenset[str]) -> Mapping[str, float]:
        network = Network()
        battery = self.profile.battery
        network.source(BATTERY, battery.volts, battery.ohms)
        cut = state.cut | blown | {f"{r.id} contact" for r in self.profile.relay if r.id not in closed}
        for part in self.parts.values():
            if part.id not in cut:
                network.resistor(part.a, part.b, part.ohms + (HIGH_OHMS if part.id in state.worn else 0.0))
        for fault in state.shorts:
            other = REFERENCE if fault.kind is FaultKind.SHORT_TO_GROUND else BATTERY
            network.resistor(self.parts[fault.at].b, other, SHORT_OHMS)
        for module in self.profile.module:
            if module.id not in state.absent:
                _stamp_module(network, module)
        for circuit in self.profile.circuit:
            if circuit.module not in state.absent:
                self._stamp_driver(network, circuit, circuit.id in state.driven)
        return network.solve()

    def _stamp_driver(self, network: Network, circuit: Circuit, on: bool) -> None:
        pin = module_pin(circuit.module, circuit.driver_pin)
        module = self.profile.module_named(circuit.module)
        if not on:
            network.source(pin, circuit.bias_volts, circuit.bias_ohms)
        elif circuit.driver == "low side":
            network.resistor(pin, inside_ground(module), circuit.driver_ohms)
        else:
            network.resistor(pin, driver_rail(module), circuit.driver_ohms)

    def _pulled_in(self, volts: Mapping[str, float], cut: frozenset[str]) -> frozenset[str]:
        least = PULL_IN * self.profile.vehicle.nominal_volts
        return frozenset(
            relay.id
            for relay in self.profile.relay
            if f"{relay.id} coil" not in cut and volts[f"{relay.id}.86"] - volts[f"{relay.id}.85"] >= least
        )

    def _overloaded(self, volts: Mapping[str, float], cut: frozenset[str]) -> frozenset[str]:
        """The fuse that goes first: of several in one path the most overloaded saves the others."""
        loads: dict[str, float] = {}
        for fuse in self.profile.fuse:
            part = self.parts[fuse.id]
            if fuse.id not in cut:
                loads[fuse.id] = abs(volts[part.a] - volts[part.b]) / part.ohms / fuse.rating
        worst = max(loads, key=lambda fuse_id: loads[fuse_id], default=None)
        return frozenset() if worst is None or loads[worst] <= BLOWS_AT else frozenset({worst})


def inside_ground(module: Module) -> str:
    """The node of a module's own ground. One with no ground pin in the profile is grounded by its case."""
    return f"{module.id}/ground" if module.ground else REFERENCE


def driver_rail(module: Module) -> str:
    """The node that a module's high-side drivers switch from: its first main supply pin."""
    return next(iter(_main_pins(module)), BATTERY)


def _main_pins(module: Module) -> list[str]:
    return [module_pin(module.id, item.pin) for item in module.supply if item.purpose == "main"]


def _stamp_module(network: Network, module: Module) -> None:
    inside = inside_ground(module)
    for item in module.ground:
        network.resistor(module_pin(module.id, item.pin), inside, INSIDE_OHMS)
    pins = _main_pins(module)
    for pin in pins:
        network.resistor(pin, inside, module.draws_ohms * len(pins))


def _places(faults: tuple[Fault, ...], kind: FaultKind) -> frozenset[str]:
    return frozenset(fault.at for fault in faults if fault.kind is kind)
