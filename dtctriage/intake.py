"""The intake: a sweep over a guarded, recorded link, each event kept before it is shown."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, fields, replace
from datetime import datetime
from enum import Enum
from io import TextIOWrapper
from pathlib import Path
from typing import Any

from dtctriage.errors import TriageError
from dtctriage.guard import GuardedLink, reads
from dtctriage.link import BusProtocol, Link, Recording, Target
from dtctriage.records import KeptProfile, Records, SweepOutcome, SweepRecord
from dtctriage.sweep.events import Event, SweepBroken, SweepFinished
from dtctriage.sweep.plan import Recall, nothing_known
from dtctriage.sweep.run import Depth, Plan, sweep
from dtctriage.triage.known import known_data
from dtctriage.triage.view import NOTHING_TOLD, Told
from dtctriage.wirelog import RecordingLink
from dtctriage.wiring.profile import Profile
from dtctriage.wiring.profile_file import parse_profile


@dataclass(frozen=True, slots=True)
class Wish:
    """What the technician asks of a sweep. `profile` with the file it came from, or None.

    `remembered` are addresses known from the shop's records, `recall` finds those of a VIN that is read on
    the way; `told` is what the technician says of the vehicle's state.
    """

    rounds: int = 3
    full: bool = False
    depth: Depth = Depth.USUAL
    protocol: BusProtocol | None = None
    profile: Profile | None = None
    kept_profile: KeptProfile | None = None
    remembered: tuple[Target, ...] = ()
    recall: Recall = nothing_known
    told: Told = NOTHING_TOLD


_NO_SETTINGS = ("profile", "kept_profile", "remembered", "recall", "told")
"""What a sweep keeps of a wish in another way, or what is told anew each time."""


def settings_of(wish: Wish) -> dict[str, Any]:
    """What of a wish is kept with its sweep, as JSON values."""
    kept = {field.name: getattr(wish, field.name) for field in fields(wish)}
    settings = {
        name: value.value if isinstance(value, Enum) else value
        for name, value in kept.items()
        if name not in _NO_SETTINGS
    }
    return settings | wish.told.kept


def wish_of(sweep: SweepRecord) -> Wish:
    """The wish that a kept sweep was taken with; what its version did not keep is as usual.

    The state of the vehicle was told of that hour alone.
    """
    usual = Wish(rounds=sweep.rounds)
    settings = sweep.settings or {}
    changes: dict[str, Any] = {}
    for field in fields(usual):
        if field.name in settings and field.name not in _NO_SETTINGS:
            default, value = getattr(usual, field.name), settings[field.name]
            changes[field.name] = type(default)(value) if isinstance(default, Enum) else value
    if changes.get("protocol"):
        changes["protocol"] = BusProtocol(changes["protocol"])
    if sweep.profile is not None:
        changes["profile"] = parse_profile(sweep.profile.text, str(sweep.profile.path))
        changes["kept_profile"] = sweep.profile
    return replace(usual, **changes)


def plan_for(link: Link, wish: Wish) -> Plan:
    """The plan of a sweep: the profile's addresses and protocol, and what a recording can answer."""
    expected = tuple(module.target for module in wish.profile.module) if wish.profile else ()
    recorded = None
    if isinstance(link, Recording):
        # A capture may hold another tester's writes; they are no questions of ours, even to a recording.
        recorded = tuple(item for item in link.recorded_requests if reads(item.payload))
    protocol = wish.protocol or _protocol_of(wish.profile)
    known = known_data(wish.profile)
    remembered = (wish.remembered, wish.recall)
    return Plan(wish.rounds, wish.full, protocol, expected, wish.depth, known, *remembered, recorded)


def _protocol_of(profile: Profile | None) -> BusProtocol | None:
    """The protocol of the bus at the diagnostic connector: known, it needs no search."""
    buses = profile.bus if profile else ()
    return next((bus.protocol for bus in buses if bus.at_connector is not None), None)


class WireLogFile(TextIOWrapper):
    """The wire log's file. That it cannot be written is told in one line and breaks the sweep off."""

    def __init__(self, path: Path) -> None:
        self._path = path
        with self._told():
            path.parent.mkdir(parents=True, exist_ok=True)
            super().__init__(path.open("wb"), encoding="utf-8", newline="\n")

    def write(self, text: str) -> int:
        with self._told():
            return super().write(text)

    def flush(self) -> None:
        with self._told():
            super().flush()

    def close(self) -> None:
        with suppress(TriageError, OSError):
            super().close()

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            raise TriageError(
                f"The wire log {self._path} cannot be written ({error.strerror})",
                "Choose another place: --wire-log FILE",
            ) from error


def events_of(link: Link, wish: Wish) -> Iterable[Event]:
    """Sweep without keeping anything, for recordings that belong to no order."""
    return sweep(GuardedLink(link), plan_for(link, wish))


def take(
    link: Link,
    url: str,
    wish: Wish,
    records: Records,
    order: str,
    wire_log: Path,
    now: Callable[[], datetime],
    show: Callable[[Event], None],
    rechecks: int | None = None,
) -> int:
    """Sweep the vehicle for an order. Returns the id of the sweep, partial or not.

    `rechecks` is an earlier sweep of the order that this one is to be compared with. Whatever
    ends it, each event shown is in the records; KeyboardInterrupt ends the sweep as broken.
    """
    plan = plan_for(link, wish)
    with ExitStack() as open_things:
        stream = open_things.enter_context(WireLogFile(wire_log))
        writer = records.begin_sweep(
            order,
            at=now(),
            url=url,
            rounds=plan.rounds,
            profile=wish.kept_profile,
            wire_log=wire_log.resolve(),
            settings=settings_of(wish),
            rechecks=rechecks,
        )
        open_things.callback(writer.close)
        guarded = GuardedLink(RecordingLink(link, stream))
        whole = False
        try:
            for event in sweep(guarded, plan):
                writer.keep(event, now())
                show(event)
                whole = isinstance(event, SweepFinished)
        except KeyboardInterrupt:
            whole = False
            broken = SweepBroken(
                "the technician stopped it", "Take the intake again when the vehicle is free"
            )
            writer.keep(broken, now())
            show(broken)
        writer.end(SweepOutcome.FINISHED if whole else SweepOutcome.BROKEN, now())
        return writer.sweep_id
