"""Thousands of faulty vehicles at once: which relays pull in, which fuses blow, which modules have supply.

Each case is a change of a few conductances to the sound vehicle in the same setup. Relays pull in by the
voltage at their coil, fuses blow by the current through them and a module's own sources work while it has
supply, so a case is solved again until none of these changes any more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from dtctriage.wiring.bench import Setup
from dtctriage.wiring.circuitry import Circuitry, driver_ids, inside_ground, main_pins, supply_volts
from dtctriage.wiring.faults import HIGH_OHMS, Fault, FaultKind
from dtctriage.wiring.network import (
    NO_LINK,
    REFERENCE,
    Bridge,
    Changes,
    Floats,
    Network,
    Places,
    Prepared,
    no_changes,
)
from dtctriage.wiring.parts import CELLS
from dtctriage.wiring.profile import BATTERY

PULL_IN = 0.6
"""Share of nominal voltage at which a relay pulls in. Common practice, no source."""
BLOWS_AT = 1.6
"""Share of its rating at which a fuse is taken to blow: at 160 % a blade fuse of ISO 8820-3 opens within a
minute (from memory), and a vehicle that comes to the shop has had that minute."""

Flags = NDArray[np.bool_]
_Table = TypeVar("_Table", NDArray[np.intp], NDArray[np.float64])
NOTHING: Places = np.full((1, 1), -1, dtype=np.intp)
Case = Sequence[Fault]


@dataclass(frozen=True, slots=True)
class Switched:
    """What is on or off by itself, for H cases: relays closed, fuses whole, modules powered."""

    closed: Flags
    whole: Flags
    powered: Flags

    def rows(self, chosen: NDArray[np.intp] | Flags | slice) -> Switched:
        return Switched(self.closed[chosen], self.whole[chosen], self.powered[chosen])

    def differs(self, other: Switched) -> Flags:
        """The cases in which anything differs."""
        pairs = (
            (self.closed, other.closed),
            (self.whole, other.whole),
            (self.powered, other.powered),
        )
        moved: Flags = np.any(np.concatenate([a != b for a, b in pairs], axis=1), axis=1)
        return moved


class States:
    """H cases, settled. `volts(names)` gives node voltages (H, M) against battery minus."""

    def __init__(self, sound: Sound, changes: Changes, switched: Switched) -> None:
        self.sound = sound
        self.changes = changes
        self.switched = switched

    def __len__(self) -> int:
        return len(self.changes)

    @cached_property
    def _drops(self) -> Floats:
        return self.sound.network.drops(self.changes)

    def volts(self, names: Sequence[str], rows: NDArray[np.intp] | slice = slice(None)) -> Floats:
        """Voltages at nodes, for all cases or some."""
        network = self.sound.network
        return network.volts(network.places(names), self.changes.rows(rows), self._drops[rows])

    @cached_property
    def all_volts(self) -> Floats:
        """(H, nodes) every node, by its row in the network. For some hundred cases, not for all pairs."""
        network = self.sound.network
        return network.volts(np.arange(len(network.index)), self.changes, self._drops)

    def between(self, plus: str, minus: str, siemens: float, amps: float = 0.0) -> Floats:
        """(H,) volts from one node to another, with an instrument's conductance and current between them."""
        network = self.sound.network
        bridge = Bridge(network.place(plus), network.place(minus), siemens, amps)
        return network.between(bridge, self.changes)


class Sound:
    """The vehicle without a fault, in one setup, ready for faults to be put in."""

    def __init__(self, circuitry: Circuitry, setup: Setup) -> None:
        self.circuitry = circuitry
        self.setup = setup
        profile = circuitry.profile
        self._index = circuitry.index
        cut = _cut(circuitry, setup)
        self._allowed = np.array([element.id not in cut for element in circuitry.elements], dtype=bool)
        self._usual = np.array([1 / e.ohms if e.usual else 0.0 for e in circuitry.elements]) * self._allowed
        for circuit in profile.circuit:
            if circuit.id in setup.on:
                for name in driver_ids(circuit):
                    self._usual[self._index[name]] = 1 / circuit.driver_ohms
        self._contacts = [self._index[f"{relay.id} contact"] for relay in profile.relay]
        self._coils = [self._index[f"{relay.id} coil"] for relay in profile.relay]
        self._fuses = [self._index[fuse.id] for fuse in profile.fuse]
        self._ratings = np.array([fuse.rating for fuse in profile.fuse])
        self._self_switching = {place: (0, i) for i, place in enumerate(self._contacts)} | {
            place: (1, i) for i, place in enumerate(self._fuses)
        }
        self.network, self._rest = self._settle_sound()

    # -- the sound vehicle --------------------------------------------------------------------------

    def _settle_sound(self) -> tuple[Prepared, Switched]:
        """Relays start open and fuses whole; nothing is taken as held in by itself."""
        profile = self.circuitry.profile
        now = Switched(
            np.zeros((1, len(profile.relay)), dtype=bool),
            np.ones((1, len(profile.fuse)), dtype=bool),
            np.ones((1, len(profile.module)), dtype=bool),
        )
        coils, fuses = self._whole_coils(), self._whole_fuses()
        for _ in range(2 + len(profile.relay) + len(profile.fuse)):
            volts = self._network(now).solve()
            table = {name: np.array([volts.get(name, 0.0)]) for name in self._watched}
            after = self._switch(table, now, coils, fuses)
            if not after.differs(now)[0]:
                break
            now = after
        self._conducting = self._usual * self._self_state(now)[0]
        return self._network(now).prepared(), now

    def _network(self, now: Switched) -> Network:
        network = Network()
        battery = self.circuitry.profile.battery
        conducting = self._usual * self._self_state(now)[0]
        # Elements first: their places are the numbers of the network's links.
        for element, siemens in zip(self.circuitry.elements, conducting, strict=True):
            network.conductance(element.a, element.b, float(siemens))
        if self.setup.battery:
            network.source(CELLS, battery.volts, battery.ohms / 2)
        for source, powered in zip(self.circuitry.sources, now.powered[0, self._owners], strict=True):
            if powered and self.setup.battery:
                network.current(source.plus, source.minus, source.volts / source.ohms)
        return network

    def _self_state(self, now: Switched) -> Flags:
        """(H, E): False where a relay contact or fuse does not conduct."""
        state = np.ones((len(now.closed), len(self._usual)), dtype=bool)
        state[:, self._contacts] = now.closed
        state[:, self._fuses] = now.whole
        return state

    @cached_property
    def _owners(self) -> Places:
        """The module of each source, by its place in the profile."""
        place = {module.id: i for i, module in enumerate(self.circuitry.profile.module)}
        return np.array([place[source.owner] for source in self.circuitry.sources], dtype=np.intp)

    # -- faults in ----------------------------------------------------------------------------------

    def states(
        self, cases: Sequence[Case], worn_ohms: float = HIGH_OHMS, held: Switched | None = None
    ) -> States:
        """Settle every case, or, with `held`, leave relays, fuses and supplies as they are.

        Shorts in the cases must be known to the circuitry (`Circuitry.shorts_of`) beforehand.
        """
        wanted, places = self._wanted(cases, worn_ohms)
        if held is not None:
            return States(self, self._changes(places, wanted, held), held)
        now = Switched(*(np.repeat(f, len(cases), axis=0) for f in self._flags(self._rest)))
        opened = np.where(wanted == 0, places, -1)
        coils, fuses = self._whole_coils(opened), self._whole_fuses(opened)
        fitted = self._fitted(cases)
        changes = self._changes(places, wanted, now)
        todo = np.arange(len(cases))
        for _ in range(2 + now.closed.shape[1] + now.whole.shape[1]):
            after = self._switch(self._watch(changes.rows(todo)), now.rows(todo), coils[todo], fuses[todo])
            # Whatever floats at the plug of a module that is not there powers nothing.
            after.powered[...] &= fitted[todo]
            moved = after.differs(now.rows(todo))
            todo = todo[moved]
            if not len(todo):
                break
            for flags, fresh in zip(self._flags(now), self._flags(after.rows(moved)), strict=True):
                flags[todo] = fresh
            changes = _merged(changes, todo, self._changes(places[todo], wanted[todo], now.rows(todo)))
        return States(self, changes, now)

    def _fitted(self, cases: Sequence[Case]) -> Flags:
        """(H, modules): the module is there."""
        place = {module.id: i for i, module in enumerate(self.circuitry.profile.module)}
        flags = np.ones((len(cases), len(place)), dtype=bool)
        for row, case in enumerate(cases):
            for fault in case:
                if fault.kind is FaultKind.NOT_FITTED:
                    flags[row, place[fault.at]] = False
        return flags

    def _whole_coils(self, opened: Places = NOTHING) -> Flags:
        """(H, R): the coil can carry current. `opened` (H, K): elements that faults have opened."""
        return self._whole(self._coils, opened)

    def _whole_fuses(self, opened: Places = NOTHING) -> Flags:
        """(H, F): the fuse is in and not opened by a fault."""
        return self._whole(self._fuses, opened)

    def _whole(self, elements: list[int], opened: Places) -> Flags:
        hit = np.array([np.any(opened == place, axis=1) for place in elements], dtype=bool)
        whole: Flags = ~hit.reshape(len(elements), len(opened)).T & self._allowed[elements]
        return whole

    @staticmethod
    def _flags(switched: Switched) -> tuple[Flags, Flags, Flags]:
        return switched.closed, switched.whole, switched.powered

    def _wanted(self, cases: Sequence[Case], worn_ohms: float) -> tuple[Floats, Places]:
        """(H, K) conductances that faults ask for, and the elements they ask it of."""
        known: dict[Fault, list[tuple[int, float]]] = {}
        rows: list[list[tuple[int, float]]] = []
        for case in cases:
            row: list[tuple[int, float]] = []
            for fault in case:
                if fault not in known:
                    known[fault] = self.circuitry.wanted(fault, worn_ohms)
                row += known[fault]
            rows.append(_one_each(row) if len(case) > 1 else row)
        width = max((len(row) for row in rows), default=0) or 1
        places = np.full((len(rows), width), -1, dtype=np.intp)
        wanted = np.zeros((len(rows), width))
        for number, row in enumerate(rows):
            for k, (place, siemens) in enumerate(row):
                places[number, k], wanted[number, k] = place, siemens
        return wanted, places

    def _changes(self, places: Places, wanted: Floats, now: Switched) -> Changes:
        """The difference to the sound vehicle, with what switched by itself."""
        if not self.circuitry.elements:
            return no_changes(len(places))
        used = places >= 0
        target = wanted * self._allowed[places]
        for place, (which, i) in self._self_switching.items():
            hit = places == place
            if hit.any():
                target = np.where(hit & ~self._flags(now)[which][:, i, None], 0.0, target)
        delta = np.where(used, target - self._conducting[places], 0.0)
        links, siemens = self._switched_columns(places, now)
        return Changes(
            np.concatenate([places, links], axis=1),
            np.concatenate([delta, siemens], axis=1),
            *self._source_columns(now),
        ).packed()

    def _switched_columns(self, places: Places, now: Switched) -> tuple[Places, Floats]:
        """Contacts and fuses that differ from the sound vehicle's and that no fault names."""
        moved: list[tuple[NDArray[np.intp], int, float]] = []
        for place, (which, i) in self._self_switching.items():
            flags, rest = self._flags(now)[which], self._flags(self._rest)[which]
            rows = np.flatnonzero((flags[:, i] != rest[0, i]) & ~np.any(places == place, axis=1))
            if len(rows) and self._usual[place]:
                sign = 1.0 if not rest[0, i] else -1.0
                moved.append((rows, place, sign * self._usual[place]))
        count = np.zeros(len(now.closed), dtype=np.intp)
        for rows, _, _ in moved:
            count[rows] += 1
        links = np.full((len(count), int(count.max(initial=0))), NO_LINK, dtype=np.intp)
        siemens = np.zeros(links.shape)
        count[:] = 0
        for rows, place, change in moved:
            links[rows, count[rows]], siemens[rows, count[rows]] = place, change
            count[rows] += 1
        return links, siemens

    def _source_columns(self, now: Switched) -> tuple[Places, Places, Floats]:
        """Sources of modules whose power differs from the sound vehicle's."""
        sources = self.circuitry.sources if self.setup.battery else []
        owners = self._owners[: len(sources)]
        differs = now.powered[:, owners] != self._rest.powered[:, owners]
        width = int(differs.sum(axis=1).max(initial=0))
        into = np.zeros((len(differs), width), dtype=np.intp)
        out_of = np.zeros((len(differs), width), dtype=np.intp)
        amps = np.zeros((len(differs), width))
        place = np.cumsum(differs, axis=1) - 1
        for j, source in enumerate(sources):
            rows = np.flatnonzero(differs[:, j])
            at = place[rows, j]
            into[rows, at], out_of[rows, at] = (
                self.network.place(source.plus),
                self.network.place(source.minus),
            )
            sign = np.where(now.powered[rows, owners[j]], 1.0, -1.0)
            amps[rows, at] = sign * source.volts / source.ohms
        return into, out_of, amps

    # -- what switches by itself --------------------------------------------------------------------

    def _watch(self, changes: Changes) -> dict[str, Floats]:
        """Voltages (H,) that decide what switches."""
        network, names = self.network, self._watched
        table = network.volts(network.places(names), changes, network.drops(changes))
        return dict(zip(names, table.T, strict=True))

    def _switch(self, volts: dict[str, Floats], now: Switched, coils: Flags, fuses: Flags) -> Switched:
        """What follows from the voltages. `coils`, `fuses`: those that are not broken by a fault."""
        profile = self.circuitry.profile
        least = PULL_IN * profile.vehicle.nominal_volts
        closed, whole, powered = (flags.copy() for flags in self._flags(now))
        for i, relay in enumerate(profile.relay):
            closed[:, i] = coils[:, i] & (volts[f"{relay.id}.86"] - volts[f"{relay.id}.85"] >= least)
        self._blow(volts, whole, fuses)
        for i, module in enumerate(profile.module):
            powered[:, i] = supply_volts(volts, module) >= module.works_from
        return Switched(closed, whole, powered)

    def _blow(self, volts: dict[str, Floats], whole: Flags, fuses: Flags) -> None:
        """The fuse that goes first: of several in one path the most overloaded saves the others."""
        if not self._fuses:
            return
        elements = [self.circuitry.elements[place] for place in self._fuses]
        load = np.stack([np.abs(volts[e.a] - volts[e.b]) / e.ohms for e in elements], axis=1) / self._ratings
        load = np.where(whole & fuses, load, 0.0)
        worst = np.argmax(load, axis=1)
        rows = np.arange(len(worst))
        over = load[rows, worst] > BLOWS_AT
        whole[rows[over], worst[over]] = False

    @cached_property
    def _watched(self) -> list[str]:
        profile = self.circuitry.profile
        names = [f"{relay.id}.{terminal}" for relay in profile.relay for terminal in (86, 85)]
        for fuse in self._fuses:
            element = self.circuitry.elements[fuse]
            names += [element.a, element.b]
        for module in profile.module:
            names += [*main_pins(module), inside_ground(module)]
        return list(dict.fromkeys([*names, BATTERY, REFERENCE]))


def _one_each(row: list[tuple[int, float]]) -> list[tuple[int, float]]:
    """Two faults of one element: the one that conducts less is felt."""
    least: dict[int, float] = {}
    for place, siemens in row:
        least[place] = min(siemens, least.get(place, siemens))
    return list(least.items())


def _cut(circuitry: Circuitry, setup: Setup) -> frozenset[str]:
    """The elements that a setup interrupts: switches of the key, pulled fuses and relays, opened plugs."""
    profile = circuitry.profile
    cut = {item.id for item in profile.switch if setup.key not in item.closed_in}
    for name in setup.off:
        cut |= {name, f"{name} contact", f"{name} coil"}
        cut |= {part for part in circuitry.parts if part.startswith((f"pin {name}:", f"pin {name}/"))}
    return frozenset(cut)


def _merged(old: Changes, rows: Places, fresh: Changes) -> Changes:
    """`old` with some rows replaced by `fresh`, widened where needed."""

    def put(before: _Table, after: _Table, nothing: int) -> _Table:
        width = max(before.shape[1], after.shape[1])
        out = np.full((len(before), width), nothing, dtype=before.dtype)
        out[:, : before.shape[1]] = before
        out[rows] = nothing
        out[rows, : after.shape[1]] = after
        return out

    return Changes(
        put(old.links, fresh.links, NO_LINK),
        put(old.siemens, fresh.siemens, 0),
        put(old.into, fresh.into, 0),
        put(old.out_of, fresh.out_of, 0),
        put(old.amps, fresh.amps, 0),
    )
