"""Which state the vehicle is known to be in; a state that nobody tells is not assumed."""

from __future__ import annotations

from collections.abc import Iterable

from dtctriage.sweep.picture import ModuleSaid
from dtctriage.triage.values import Value, finding_limit, value, values
from dtctriage.triage.view import Engine, Told, View
from dtctriage.wiring.profile import Key

ENGINE_SPEED, RUN_TIME = 0x0C, 0x1F
"""PIDs of SAE J1979; run time counts from the start of the engine."""


def engine_off(view: View) -> str:
    """Why the engine is not known to be off; empty where it is: speed 0 and run time 0, by all who tell."""
    if view.told.engine in (Engine.CRANKING, Engine.RUNNING):
        return f"the engine is {view.told.engine}"
    speeds, times = list(values(view, ENGINE_SPEED)), list(values(view, RUN_TIME))
    if any(item.number for item in (*speeds, *times)):
        return "the engine runs, or has run since the key was turned"
    if not speeds or (not times and view.told.engine is not Engine.OFF):
        return "no module tells engine speed and run time"
    return ""


def engine_running(view: View) -> bool:
    """Whether a module tells an engine speed that no starter reaches."""
    if view.told.engine is Engine.CRANKING:
        return False
    return any(item.number >= _running() for item in values(view, ENGINE_SPEED))


def key_of(modules: Iterable[ModuleSaid], told: Told) -> Key:
    """The key's position during the sweep: in start while the engine is cranked, without accessories."""
    speeds = [found.number for said in modules if (found := value(said, ENGINE_SPEED))]
    turning = told.engine is None and bool(speeds) and all(0 < speed < _running() for speed in speeds)
    return Key.START if turning or told.engine is Engine.CRANKING else Key.RUN


def _running() -> float:
    return finding_limit("running_speed").value


def cold(view: View) -> str:
    """Why the engine is not known to be as cold as its surroundings; empty where it is."""
    why = engine_off(view)
    if why:
        return why
    hours, least = view.told.soak_hours, finding_limit("soak_hours").value
    if hours is None:
        return "nobody said how long the vehicle has stood"
    return f"it has stood {hours:g} h, less than {least:g} h" if hours < least else ""


def state_evidence(view: View) -> tuple[str, ...]:
    """The readings that tell of an engine at rest."""
    found: list[Value] = [*values(view, ENGINE_SPEED), *values(view, RUN_TIME)]
    return tuple(item.cite(view) for item in found)
