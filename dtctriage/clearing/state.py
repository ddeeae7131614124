"""The vehicle's state that clearing needs: engine off, supply above the limit."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from dtctriage.clearing.problems import ClearingRefused
from dtctriage.guard import GuardedLink
from dtctriage.services.pids import readings
from dtctriage.services.readings import Quantity
from dtctriage.sweep.events import Stage
from dtctriage.sweep.picture import Fold, ModuleSaid, Picture
from dtctriage.sweep.questions import Language
from dtctriage.sweep.talk import Talk
from dtctriage.triage.tables import limit

ENGINE_SPEED = 0x0C
"""PID 0C, SAE J1979: engine speed in quarters of a revolution a minute; in J1979-2 identifier F40C."""
_NOT_AVAILABLE = b"\xff\xff"


@dataclass(frozen=True, slots=True)
class Declared:
    """What the technician says where no module can: that the engine is off, and the battery's volts."""

    engine_off: bool = False
    volts: float | None = None


@dataclass(frozen=True, slots=True)
class State:
    """Engine speed (rpm) and the lowest supply (V), each with how it is known."""

    rpm: float
    engine: str
    volts: float
    supply: str


def state_now(
    link: GuardedLink, fold: Fold, seen: Picture, label: Callable[[ModuleSaid], str], declared: Declared
) -> State:
    """Read engine speed and supply. Raises ClearingRefused where clearing must wait."""
    rpm, engine = _engine(link, fold, label, declared)
    volts, supply = _supply(seen, label, declared)
    return State(rpm, engine, volts, supply)


def _engine(
    link: GuardedLink, fold: Fold, label: Callable[[ModuleSaid], str], declared: Declared
) -> tuple[float, str]:
    speeds = {label(said): speed for said, speed in _speeds(link, fold)}
    for name, speed in speeds.items():
        if speed > 0:
            raise ClearingRefused(f"The engine runs: {speed:.0f} rpm by {name}", "Switch it off, key on")
    if speeds:
        return 0.0, f"0 rpm by {', '.join(speeds)}"
    if declared.engine_off:
        return 0.0, "off, as the technician says"
    raise ClearingRefused("No module tells the engine's speed", "If the engine is off, say so: --engine-off")


def _speeds(link: GuardedLink, fold: Fold) -> Iterator[tuple[ModuleSaid, float]]:
    talk = Talk(link, fold)
    asks = talk.each(Stage.STATE, talk.speaking(Language.J1979), [bytes([0x01, ENGINE_SPEED])])
    asks += talk.each(Stage.STATE, talk.speaking(Language.OBD_ON_UDS), [bytes([0x22, 0xF4, ENGINE_SPEED])])
    for event in talk.put(asks):
        talk.heard(event)
    for said in fold.modules.values():
        data = said.data.get(ENGINE_SPEED, _NOT_AVAILABLE)
        if data != _NOT_AVAILABLE:
            yield from (
                (said, item.value) for item in readings(ENGINE_SPEED, data) if isinstance(item, Quantity)
            )


def _supply(seen: Picture, label: Callable[[ModuleSaid], str], declared: Declared) -> tuple[float, str]:
    """The lowest supply known; a voltmeter at the battery goes before the adapter's."""
    known = {f"by {label(said)}": said.volts for said in seen.modules.values() if said.volts is not None}
    if declared.volts is not None:
        known["as the technician measured it"] = declared.volts
    elif seen.supply is not None:
        known["at pin 16"] = seen.supply
    if not known:
        raise ClearingRefused(
            "Neither the adapter nor a module tells the supply", "Measure the battery and say: --volts 12.4"
        )
    where, volts = min(known.items(), key=lambda item: item[1])
    least = limit("clearing_minimum")
    if not volts >= (least.low or 0.0):
        raise ClearingRefused(
            f"Only {volts:.1f} V {where}; {least.expect} ({least.source})", "Support the battery first"
        )
    return volts, f"{volts:.1f} V {where}"
