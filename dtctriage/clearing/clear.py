"""Sending what clears: under a permit, one module after the other, each answer kept before the next."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from datetime import datetime

from dtctriage.clearing.problems import ClearingRefused
from dtctriage.clearing.ready import Ready
from dtctriage.clearing.ways import Way
from dtctriage.guard import Grounds, GuardedLink, Permit
from dtctriage.link import Damaged, Finished, Notice, Outcome, Reply, Request, Target
from dtctriage.records import Cleared, ClearingAnswer, ClearingStart, Records
from dtctriage.services.errors import DecodeError
from dtctriage.services.shape import NEGATIVE
from dtctriage.services.uds import decode_refusal
from dtctriage.sweep.pairing import module_target
from dtctriage.triage.tables import limit

CLEARING_SECONDS = 2.0
"""How long a module may take to begin its answer: it writes its memory first. Common practice, no source."""
NO_ANSWER = "it may have cleared and not said so: recheck"


def clear_codes(
    records: Records,
    link: GuardedLink,
    ready: Ready,
    *,
    typed: str,
    who: str,
    now: Callable[[], datetime],
) -> Iterator[ClearingAnswer]:
    """Clear module by module; each answer is in the records before it is yielded.

    `typed` is the order's number as a person typed it. Raises ClearingRefused before anything is sent,
    LinkError where the link fails half-way; the records hold what was planned and what was answered.
    """
    if typed.strip() != ready.order:
        raise ClearingRefused(
            f'"{typed.strip()}" is not the number of order {ready.order}',
            "Nothing was cleared: type it again",
        )
    requests = [Request(way.target, way.payload, CLEARING_SECONDS) for way in ready.ways]
    permit = Permit(_grounds(ready, typed), requests)
    planned = sum(len(way.modules) for way in ready.ways)
    start = ClearingStart(who, now(), ready.intake, ready.state.engine, ready.state.supply)
    clearing = records.clearings.begin(ready.order, start, planned)
    sequence = 0
    for way, request in zip(ready.ways, requests, strict=True):
        for target, outcome, detail in _results(way, link.send_clearing(request, permit)):
            sequence += 1
            answer = ClearingAnswer(ready.labels[target], way.payload, outcome, detail, now())
            records.clearings.keep(clearing, sequence, answer)
            yield answer


def unanswered(
    ready: Ready, answers: Iterable[ClearingAnswer]
) -> tuple[tuple[tuple[str, bytes], ...], tuple[tuple[str, bytes], ...]]:
    """Modules and requests of which a clearing that was broken off gave no answer.

    First those that may have cleared, for their request may have left; then those that were not asked.
    """
    told = {(answer.module, answer.request) for answer in answers}
    of_ways = [
        tuple(item for target in way.modules if (item := (ready.labels[target], way.payload)) not in told)
        for way in ready.ways
    ]
    left = [items for items in of_ways if items]
    return (left[0] if left else ()), tuple(item for items in left[1:] for item in items)


def _grounds(ready: Ready, typed: str) -> Grounds:
    read = frozenset(way.target for way in ready.ways)
    least = limit("clearing_minimum").low or 0.0
    return Grounds(ready.order, typed, ready.intake, read, ready.state.rpm, ready.state.volts, least)


def _results(way: Way, outcomes: Iterator[Outcome]) -> Iterator[tuple[Target, Cleared, str]]:
    """What came of one request, for each module that it concerns."""
    left = dict.fromkeys(way.modules)
    said = ""
    for outcome in outcomes:
        match outcome:
            case Reply(source=source, payload=payload):
                target = module_target(way.target, source, way.modules)
                if target in left:
                    del left[target]
                    yield target, *_meaning(way, payload)
            case Damaged(problem=problem):
                said = problem
            case Notice(text=text):
                said = text
            case Finished():
                pass
    for target in left:
        yield target, Cleared.DAMAGED if said else Cleared.SILENT, said or NO_ANSWER


def _meaning(way: Way, payload: bytes) -> tuple[Cleared, str]:
    if payload[:1] == bytes([way.payload[0] + 0x40]):
        return Cleared.CLEARED, ""
    if payload[:1] == bytes([NEGATIVE]):
        try:
            refusal = decode_refusal(payload, way.target.framing.is_can)
        except DecodeError as error:
            return Cleared.DAMAGED, error.message
        return Cleared.REFUSED, f"{refusal.code:02X} {refusal.name}, {refusal.plain}"
    return Cleared.DAMAGED, f"{payload.hex(' ').upper()} is no answer to it"
