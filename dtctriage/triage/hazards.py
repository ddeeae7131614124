"""Where nobody measures: high voltage and airbags (qualified people, the maker's procedure)."""

from __future__ import annotations

from collections.abc import Sequence

from dtctriage.codes.network import roles
from dtctriage.triage.model import Check
from dtctriage.triage.tables import default_minutes
from dtctriage.triage.watched import Watched
from dtctriage.wiring.profile import Module, Profile

AIRBAG_CAUTION = (
    "Airbags: only by the maker's procedure (battery off and its wait before a plug is touched); "
    "never an ohmmeter or a lamp."
)

RESTRAINT = "restraint"
"""The group of airbags and belts in the table of modules."""


def is_airbag(module: Module) -> bool:
    """Whether a module fires airbags or belt tensioners."""
    role = roles().get(module.role)
    return role is not None and role.group == RESTRAINT


def touches_high_voltage(profile: Profile, part: Watched) -> bool:
    """Whether a circuit or sensor, or its module, belongs to the high-voltage side."""
    return part.high_voltage or profile.module_named(part.module).high_voltage


def off_limits(profile: Profile, part: Watched) -> bool:
    """Whether nothing may be measured on a circuit or sensor."""
    return touches_high_voltage(profile, part) or is_airbag(profile.module_named(part.module))


def left_to_the_trained(concerned: Sequence[Module]) -> tuple[Check, ...]:
    """What is left at the plug of an airbag module, and who does it.

    Where such a module is silent among others, what they share is looked for, not its own plug.
    """
    return tuple(_at_airbags(module) for module in concerned if is_airbag(module) and len(concerned) == 1)


def _at_airbags(module: Module) -> Check:
    """What is left to do at the plug of an airbag module."""
    return Check(
        f"leave the plug of {module.id} and its wires to a person trained for airbags",
        module.place or module.title,
        "after the checks above, made safe by the maker's procedure",
        "supply, ground and bus at its plug as the maker's procedure says",
        "common practice, no source",
        default_minutes("module"),
        0.0,
        AIRBAG_CAUTION,
    )


def warned(profile: Profile | None, high_voltage: bool, checks: tuple[Check, ...]) -> tuple[Check, ...]:
    """The checks; where high voltage is concerned, first of all the hazard and who may go on."""
    if not high_voltage:
        return checks
    warning = Check(
        "leave the high-voltage side to a qualified person with the maker's procedure",
        profile.high_voltage.where if profile and profile.high_voltage else "high-voltage system",
        "before any work on it",
        "made safe and proven dead by the maker's procedure",
        "common practice, no source",
        1.0,
        0.0,
        "High voltage can kill.",
    )
    return (warning, *checks)
