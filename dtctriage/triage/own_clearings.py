"""Whether it was this shop that erased a module's codes."""

from __future__ import annotations

from dtctriage.sweep.picture import ModuleSaid
from dtctriage.triage.ages import DISTANCE
from dtctriage.triage.history import OwnClearing, address_of
from dtctriage.triage.odometer import odometer_of
from dtctriage.triage.values import finding_limit, value
from dtctriage.triage.view import View


def cleared_here(view: View, said: ModuleSaid) -> OwnClearing | None:
    """The shop's last clearing that this module took, unless somebody has erased its codes since.

    That shows where the module counts another distance than was driven since. Where one of them is not told,
    only a clearing on the order at hand is taken for the last: the vehicle has been in the shop.
    """
    ours = next((item for item in view.clearings if address_of(said.target) in item.at), None)
    if ours is None:
        return None
    counted, now = value(said, DISTANCE), odometer_of(view.modules, view.told.odometer)
    if counted is None or now is None or ours.odometer is None:
        return ours if ours.this_order else None
    driven = now.number - ours.odometer
    return ours if abs(driven - counted.number) <= finding_limit("erased_apart_km").value else None
