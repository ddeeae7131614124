"""What a profile does not say and a sweep asks for, as it usually is: without it a module would be condemned.

A module without supply and ground would be taken as fed, so that only it could be at fault; a module that
hears nobody could not testify.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence

from dtctriage.triage.seen import Seen
from dtctriage.wiring.circuit_tables import Wires, module_wires
from dtctriage.wiring.profile import Heard, Module, Profile

Put = Callable[[Profile, Module, Wires], Profile]
"""Puts a module's wires into a profile."""


def with_usual_wires(profile: Profile, bare: Sequence[Module], put: Put) -> Profile:
    """Silent modules without wires, fed and grounded as generic ones; several are taken to share a fuse."""
    base = "their" if len(bare) > 1 else "".join(module.id for module in bare)
    for nth, module in enumerate(bare, start=1):
        profile = put(profile, module, module_wires(base, nth=nth))
    return profile


def with_listeners(profile: Profile, seen: Seen) -> Profile:
    """Where the profile does not say whom a module hears, it hears whom it misses now."""
    told: dict[str, list[str]] = defaultdict(list)
    for item in seen.testimonies:
        if item.present and item.lost not in told[item.witness]:
            told[item.witness].append(item.lost)
    buses = {module.id: set(module.buses) for module in profile.module}

    def hearing(module: Module) -> Module:
        near = [lost for lost in told[module.id] if buses.get(lost, set()) & buses[module.id]]
        if module.hears or not near:
            return module
        return module.model_copy(update={"hears": tuple(Heard(module=lost) for lost in near)})

    modules = tuple(map(hearing, profile.module))
    return profile if modules == profile.module else profile.model_copy(update={"module": modules})


def usual_words(names: Sequence[str]) -> str:
    """That the wires of these modules are only usual ones."""
    return (
        f"The profile gives {', '.join(names)} no wires: fuse, relay and ground are the usual ones. "
        f"Enter this vehicle's: dtctriage circuit add ORDER {names[0]}."
    )
