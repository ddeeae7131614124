"""Asking round after round. Time is the caller's: a clock and a way to wait."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from dtctriage.guard import GuardedLink
from dtctriage.link import Framing, Reply, Request, Target
from dtctriage.services.errors import DecodeError
from dtctriage.services.shape import NEGATIVE
from dtctriage.sweep.hear import hear
from dtctriage.sweep.questions import START_COMMUNICATION
from dtctriage.sweep.said import ModuleSaid
from dtctriage.watch.board import Board, Flip
from dtctriage.watch.choice import Choice
from dtctriage.watch.samples import Sample, samples

PIN_16 = Sample("connector", "pin 16", "reading", unit="V", leap=1.0)


@dataclass(frozen=True, slots=True)
class Round:
    """One round: when it ended, its samples, what flipped."""

    seconds: float
    samples: tuple[Sample, ...]
    flips: tuple[Flip, ...]


def watch(
    link: GuardedLink,
    choices: Sequence[Choice],
    board: Board,
    *,
    every: float,
    seconds: float | None,
    clock: Callable[[], float],
    wait: Callable[[float], None],
) -> Iterator[Round]:
    """Ask in every interval (`every` seconds), for so many `seconds` or until the caller stops.

    A round that takes longer than the interval is followed by the next at once. Raises LinkError.
    """
    start = due = clock()
    heard: set[Target] = set()
    while True:
        taken = tuple(_round(link, choices, heard))
        at = clock() - start
        yield Round(at, taken, tuple(board.take(at, taken)))
        due = max(due + every, clock())
        if seconds is not None and due - start > seconds:
            return
        wait(due - clock())


def _round(link: GuardedLink, choices: Sequence[Choice], heard: set[Target]) -> Iterator[Sample]:
    """`heard` are the modules that answered in the round before; those of this one when it ends."""
    volts = link.supply_voltage()
    if volts is not None:
        yield replace(PIN_16, number=volts)
    said = _asked(link, choices, heard)
    heard.clear()
    heard.update(said)
    for choice in choices:
        yield from samples(choice, said.get(choice.said.target))


def _asked(link: GuardedLink, choices: Sequence[Choice], heard: set[Target]) -> dict[Target, ModuleSaid]:
    """What each module says in one round; a module that says nothing is not in it.

    On a K-line a module that has not been heard is greeted first: it may have ended its session.
    """
    requests = dict.fromkeys(
        Request(target, data)
        for choice in choices
        for target, data in (*_greeting(choice, heard), *choice.requests)
    )
    known = {choice.said.source: choice.said for choice in choices}
    found: dict[Target, ModuleSaid] = {}
    for outcome in link.exchange(list(requests)):
        if not isinstance(outcome, Reply) or outcome.source not in known:
            continue
        before = known[outcome.source]
        said = found.setdefault(before.target, _fresh(before))
        if outcome.payload[:1] == bytes([NEGATIVE]):
            continue
        try:
            hear(said, outcome.request.payload, outcome.payload)
        except DecodeError:
            continue  # it answered; what it said is no reading
    return found


def _greeting(choice: Choice, heard: set[Target]) -> Iterator[tuple[Target, bytes]]:
    target = choice.said.target
    alone = any(where == target for where, _ in choice.requests)
    if target.framing is Framing.ISO14230 and alone and target not in heard:
        yield target, START_COMMUNICATION


def _fresh(before: ModuleSaid) -> ModuleSaid:
    """The module before it says anything in this round."""
    return ModuleSaid(
        before.target,
        before.source,
        languages=set(before.languages),
        masks=dict(before.masks),
        definitions=before.definitions,
    )
