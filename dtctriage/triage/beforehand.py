"""What each fault of one vehicle weighs before any evidence, and where that comes from."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from dtctriage.triage.learned import Kind, learned
from dtctriage.triage.priors import Priors
from dtctriage.triage.tables import likelihood
from dtctriage.wiring.faults import Fault, FaultKind, possible_faults
from dtctriage.wiring.power import Wiring
from dtctriage.wiring.profile import Key
from dtctriage.wiring.states import Case

OUTSIDE: Kind = ("outside the profile", "anything")
"""What the profile does not hold. No conclusion can name it, so nothing is learned of it."""
TABLE = "triage_priors, common practice"
METHOD = "mean of a Dirichlet distribution (Gelman et al., Bayesian Data Analysis; from memory)"
_PLACES = {
    FaultKind.MODULE_DEAD: "module",
    FaultKind.MODULE_ASLEEP: "module",
    FaultKind.KEY_POSITION: "key",
    FaultKind.OFF_THE_BUS: "branch",
    FaultKind.BUS_OPEN: "bus",
    FaultKind.BUS_SHORTED: "bus",
    FaultKind.BUS_TO_GROUND: "bus",
    FaultKind.BUS_TO_SUPPLY: "bus",
    FaultKind.TERMINATION_MISSING: "bus",
    FaultKind.SHORT_TO_NEIGHBOUR: "terminal",
    FaultKind.DRIVER_ON: "circuit",
    FaultKind.DRIVER_OFF: "circuit",
    FaultKind.SENSE_FALSE: "circuit",
}


def kind_of(wiring: Wiring, fault: Fault) -> Kind:
    """Of what kind a fault is: the key of its row in the table triage_priors."""
    part = wiring.parts.get(fault.at)
    if part is not None:
        return str(fault.kind), str(part.kind)
    if fault.kind is FaultKind.NOT_FITTED:
        fitted = next(module.fitted for module in wiring.profile.module if module.id == fault.at)
        return str(fault.kind), f"{fitted} module"
    return str(fault.kind), _PLACES[fault.kind]


def is_exposed(wiring: Wiring, fault: Fault) -> bool:
    """Whether it is at a part that stands in water, heat or movement."""
    neighbour = fault.kind is FaultKind.SHORT_TO_NEIGHBOUR
    part = wiring.parts.get(f"pin {fault.at.partition('|')[0]}" if neighbour else fault.at)
    return part is not None and part.exposed


def every_fault(wiring: Wiring, key: Key) -> Iterator[Fault]:
    """Every single fault, and the key left where the technician does not believe it to be."""
    yield from possible_faults(wiring.profile)
    for other in (Key.OFF, Key.ACCESSORY) if key is Key.RUN else ():
        yield Fault(FaultKind.KEY_POSITION, other)


@dataclass(frozen=True)
class Beforehand:
    """The priors laid out over one vehicle."""

    wiring: Wiring
    key: Key
    priors: Priors

    def of(self, fault: Fault) -> float:
        """Relative weight of a fault."""
        if fault not in self._known:
            kind = kind_of(self.wiring, fault)
            self._known[fault] = self._of_kind(kind) * self._factor(kind, fault)
        return self._known[fault]

    @property
    def outside(self) -> float:
        """Relative weight of a cause that the profile does not hold."""
        return self.priors.of(OUTSIDE).weight

    @cached_property
    def everything(self) -> float:
        """All faults' weights together."""
        return math.fsum(self.of(fault) for fault in every_fault(self.wiring, self.key))

    def origin(self, case: Case) -> str:
        """Where the weight of a suspect is from, "" where that is the table alone."""
        kinds = [kind_of(self.wiring, fault) for fault in case] or [OUTSIDE]
        return "; ".join(dict.fromkeys(filter(None, (self._origin(kind) for kind in kinds))))

    def source(self, case: Case) -> str:
        """The same for whoever asks for each figure: table, method and orders, too."""
        kinds = [kind_of(self.wiring, fault) for fault in case] or [OUTSIDE]
        told = [self.priors.of(kind).origin or TABLE for kind in kinds]
        told += [self._orders(kind) for kind in kinds]
        if self._orders(kinds[0]):
            told.append(METHOD)
        return "; ".join(dict.fromkeys(filter(None, told)))

    def basis(self, fault: Fault) -> str:
        """The weight of a fault as a formula."""
        if not self._found:
            return str(fault.kind)
        kind = kind_of(self.wiring, fault)
        weight, places = self.priors.of(kind).weight, self._places[kind]
        strength, found = likelihood("prior_strength"), self.priors.found.get(kind, 0.0)
        everything = math.fsum(self.priors.of(item).weight * count for item, count in self._places.items())
        factor = self._factor(kind, fault)
        exposed = f" x {factor:g}, exposed" if factor != 1 else ""
        data = f"{found:g} x {everything:.4g} / {places:g}"
        mean = f"({strength:g} x {weight:g} + {data}) / ({strength:g} + {self._found:g})"
        return f"{fault.kind}, {kind[1]}: {mean}{exposed}"

    # -- what the shop's closed orders say --------------------------------------------------------------

    @cached_property
    def _known(self) -> dict[Fault, float]:
        return {}

    @cached_property
    def _places(self) -> dict[Kind, float]:
        """How many places of each kind there are; an exposed one counts as often as it fails more."""
        places: dict[Kind, float] = defaultdict(float)
        for fault in every_fault(self.wiring, self.key):
            kind = kind_of(self.wiring, fault)
            places[kind] += self._factor(kind, fault)
        return dict(places)

    @cached_property
    def _found(self) -> float:
        """How many closed orders named a kind that this vehicle has."""
        return math.fsum(count for kind, count in self.priors.found.items() if kind in self._places)

    @cached_property
    def _learned(self) -> dict[Kind, float]:
        weights = {kind: self.priors.of(kind).weight for kind in self._places}
        return learned(weights, self._places, self.priors.found, likelihood("prior_strength"))

    def _of_kind(self, kind: Kind) -> float:
        return self._learned[kind] if self.priors.found else self.priors.of(kind).weight

    def _factor(self, kind: Kind, fault: Fault) -> float:
        return self.priors.of(kind).exposed if is_exposed(self.wiring, fault) else 1.0

    def _origin(self, kind: Kind) -> str:
        return "; ".join(filter(None, (self.priors.of(kind).origin, self._orders(kind))))

    def _orders(self, kind: Kind) -> str:
        """How many closed orders named this kind, "" where none can be counted."""
        if kind == OUTSIDE or not self.priors.found or not self._found:
            return ""
        return f"{self.priors.found.get(kind, 0.0):g} of {self._found:g} closed orders"
