"""The sweep: a generator of events over a link.

It keeps no clock, writes nothing and shows nothing; whoever consumes the events does. A link that fails
half-way ends the sweep with SweepBroken, and everything yielded before it stands.
"""

from __future__ import annotations

from collections.abc import Iterator

from dtctriage.errors import TriageError
from dtctriage.link import Link
from dtctriage.sweep.events import (
    BusOpened,
    Event,
    Stage,
    StageBegun,
    SupplyRead,
    SweepBroken,
    SweepFinished,
    SweepStarted,
)
from dtctriage.sweep.picture import Fold
from dtctriage.sweep.plan import Depth, Plan
from dtctriage.sweep.recorded import ask_again
from dtctriage.sweep.roll import Roll
from dtctriage.sweep.stages import Stages
from dtctriage.sweep.talk import Talk

__all__ = ["Depth", "Plan", "sweep"]


def sweep(link: Link, plan: Plan) -> Iterator[Event]:
    """Ask the vehicle everything in `plan`; yield what happens as it happens."""
    adapter = link.adapter
    yield SweepStarted(adapter.name, adapter.url, adapter.recorded, plan.rounds)
    talk = Talk(link, Fold(plan.expected, plan.known))
    try:
        for event in _events(talk, plan):
            talk.heard(event)
            yield event
    except TriageError as error:
        yield SweepBroken(error.message, error.advice)
        return
    yield SweepFinished()


def _events(talk: Talk, plan: Plan) -> Iterator[Event]:
    yield StageBegun(Stage.ADAPTER, 1)
    yield SupplyRead(talk.link.supply_voltage())
    if plan.recorded is not None:
        yield from ask_again(talk, plan, plan.recorded)
        yield SupplyRead(talk.link.supply_voltage())
        return
    yield StageBegun(Stage.BUS, 1)
    framing, roll = None, Roll(talk, plan)
    for event in roll.open():
        if isinstance(event, BusOpened) and event.protocol is not None:
            framing = event.protocol.framing
        yield event
    if framing is not None:
        yield from Stages(talk, plan, framing, roll).all()
