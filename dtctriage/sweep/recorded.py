"""Asking a recording what it was asked when it was made, in the same order."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby

from dtctriage.guard import reads
from dtctriage.link import Request, Target
from dtctriage.services import obd_on_uds
from dtctriage.sweep import questions as q
from dtctriage.sweep.events import Ask, BusOpened, Event, Stage, StageBegun
from dtctriage.sweep.plan import Plan
from dtctriage.sweep.roll import listen
from dtctriage.sweep.talk import Talk, notice

_STAGES = {
    0x01: Stage.CURRENT_DATA,
    0x02: Stage.SNAPSHOTS,
    0x05: Stage.TESTS,
    0x06: Stage.TESTS,
    0x09: Stage.IDENTIFICATION,
    0x1A: Stage.IDENTIFICATION,
    0x3E: Stage.ROLL_CALL,
    0x81: Stage.ROLL_CALL,
}
_STAGES |= dict.fromkeys((0x03, 0x07, 0x0A, 0x13, 0x17, 0x18, 0x19), Stage.CODES)
_PAGES = {
    obd_on_uds.PID_PAGE: Stage.CURRENT_DATA,
    obd_on_uds.MONITOR_PAGE: Stage.TESTS,
    obd_on_uds.INFO_PAGE: Stage.IDENTIFICATION,
    0xF100: Stage.IDENTIFICATION,
}
"""Stages of service 22, by the page of the identifier; others are the maker's current data."""
_WITH_A_CODE = (0x04, 0x06, 0x18, 0x19)
"""Reports of service 19 on what was stored with a code."""


def ask_again(talk: Talk, plan: Plan, requests: Sequence[Request]) -> Iterator[Event]:
    """Every event of a replayed sweep.

    A recording may hold more than reading. Nothing is sent here, but the guard makes no exception.
    """
    opened = talk.link.open_bus(plan.protocol)
    yield from (notice(None, item) for item in opened.notices)
    yield BusOpened(opened.protocol, assumed=False)
    yield from listen(talk)
    asks = list(_asks(request for request in requests if reads(request.payload)))
    for stage, group in groupby(asks, key=lambda ask: ask.stage):
        together = list(group)
        yield StageBegun(stage, len(together))
        for ask in together:
            yield from talk.put([ask])


def _asks(requests: Iterator[Request]) -> Iterator[Ask]:
    """Each request as a question of its stage; roll calls are counted by round."""
    turns: dict[tuple[Target, bytes], int] = {}
    for request in requests:
        stage = stage_of(request.payload)
        turn = 0
        if stage == Stage.ROLL_CALL:
            turn = turns[request.target, request.payload] = (
                turns.get((request.target, request.payload), 0) + 1
            )
        yield Ask(stage, request.target, request.payload, turn)


def stage_of(payload: bytes) -> str:
    """The stage of a sweep to which a reading request belongs."""
    if payload in (q.SUPPORTED_PIDS, q.OBD_PROTOCOL):
        return Stage.ROLL_CALL
    if any(payload in questions for questions in q.STATE.values()):
        return Stage.STATE
    if payload[0] == 0x22:
        return _PAGES.get(int.from_bytes(payload[1:2], "big") << 8, Stage.CURRENT_DATA)
    if payload[0] == 0x19 and payload[1:2] and payload[1] in _WITH_A_CODE:
        return Stage.SNAPSHOTS
    return _STAGES.get(payload[0], Stage.STATE)
