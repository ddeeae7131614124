"""What a profile knows of its modules' data, by the address at which a sweep finds them."""

from __future__ import annotations

from dtctriage.link import Target
from dtctriage.sweep.known import Known
from dtctriage.wiring.data import definitions_of
from dtctriage.wiring.profile import Profile


def known_data(profile: Profile | None) -> dict[Target, Known]:
    """Nothing without a profile."""
    if profile is None:
        return {}
    return {
        module.target: Known(
            definitions_of(module.id, profile.data, profile.extended),
            tuple(item.did for item in profile.data if item.asked_for and item.is_in(module.id)),
            module.user_memory,
        )
        for module in profile.module
    }
