"""An order's log as the reasoning reads it: measurements as observations, and which of them do not count."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from dtctriage.errors import TriageError
from dtctriage.records import Conclusion, EnteredCircuit, Logged, Measurement, Note, Records
from dtctriage.triage.typed import UNITS, observe
from dtctriage.wiring.bench import Observation
from dtctriage.wiring.probe_text import ProbeText

DOUBTFUL = "kept though "
"""What the remark of a reading begins with that cannot be, and was kept at the technician's wish."""
AGAIN = "measured again later"


@dataclass(frozen=True, slots=True)
class Span:
    """The time in which readings belong to a sweep: from its start until the next one."""

    since: datetime
    until: datetime | None = None

    def aside(self, at: datetime) -> str:
        """Why a reading of this time tells nothing of the vehicle that the sweep saw."""
        if at < self.since:
            return "taken before this intake"
        return "taken after the next intake" if self.until and at >= self.until else ""


@dataclass(frozen=True, slots=True)
class Taken:
    """A measurement of the log. `aside` says why belief does not use it, "" where it does."""

    logged: Logged[Measurement]
    observation: Observation | None
    aside: str = ""


@dataclass(frozen=True, slots=True)
class Log:
    """What stands in an order's log and was not undone, each kind in the order in which it was made."""

    measured: tuple[Taken, ...] = ()
    notes: tuple[Logged[Note], ...] = ()
    conclusions: tuple[Logged[Conclusion], ...] = ()
    span: Span | None = None
    """The time of the sweep that it is read for."""

    @property
    def observations(self) -> tuple[Observation, ...]:
        """Those that belief uses."""
        return tuple(item.observation for item in self.measured if item.observation and not item.aside)

    @property
    def conclusion(self) -> Logged[Conclusion] | None:
        """The latest one: it stands for those before it."""
        return self.conclusions[-1] if self.conclusions else None

    @property
    def concluded_elsewhen(self) -> bool:
        """The conclusion is about the vehicle as another sweep saw it, before or after a repair."""
        found = self.conclusion
        return found is not None and self.span is not None and bool(self.span.aside(found.at))


NO_LOG = Log()


def read_log(records: Records, number: str, spoken: ProbeText | None, span: Span) -> Log:
    """The order's log; `spoken` are the places of its profile. Raises UnknownOrder."""
    measured = records.log.entries(number, Measurement)
    return Log(
        tuple(understood(measured, spoken, span)),
        records.log.entries(number, Note),
        records.log.entries(number, Conclusion),
        span,
    )


def understood(
    measured: Sequence[Logged[Measurement]], spoken: ProbeText | None, span: Span
) -> Iterator[Taken]:
    """Measurements as observations. Of two readings of one probe the later one counts."""
    found = [_taken(item, spoken, span) for item in measured]
    latest = {item.observation.probe: item for item in found if item.observation and not item.aside}
    for item in found:
        superseded = item.observation is not None and latest.get(item.observation.probe, item) is not item
        yield replace(item, aside=AGAIN) if superseded and not item.aside else item


def _taken(logged: Logged[Measurement], spoken: ProbeText | None, span: Span) -> Taken:
    entry = logged.entry
    if spoken is None:
        return Taken(logged, None, "nothing to weigh it against")
    try:
        probe = spoken.parse(f"{entry.quantity} {entry.place}, {entry.condition}")
        observation = observe(entry.reading, probe)
    except TriageError as error:
        return Taken(logged, None, f"not weighed: {error.message}")
    doubtful = (entry.remark or "").startswith(DOUBTFUL)
    return Taken(logged, observation, "not weighed" if doubtful else span.aside(logged.at))


def measurement(observation: Observation, typed: str, spoken: ProbeText, doubt: str = "") -> Measurement:
    """An observation as the records keep it, with the reading as it was typed."""
    probe, value = observation.probe, observation.value
    number = value if value is not None and math.isfinite(value) else None
    return Measurement(
        place=spoken.place(probe),
        condition=spoken.condition(probe),
        quantity=str(probe.means),
        reading=typed,
        value=number,
        unit=None if number is None else UNITS[probe.means],
        remark=f"{DOUBTFUL}{doubt}" if doubt else None,
    )


def keep(records: Records, number: str, entries: Iterable[Measurement], *, who: str, at: datetime) -> None:
    """Keep the readings of one check: all or none, with one time, for they are undone together."""
    records.log.add_all(number, entries, who=who, at=at)


def take_back(records: Records, number: str, at: datetime) -> tuple[Logged[Any], ...]:
    """Undo what was last put into the log: a note, a conclusion, a circuit, or all readings of one check.

    Nothing is erased. Raises TriageError when nothing is left to take back.
    """
    kinds = (Measurement, Note, Conclusion, EnteredCircuit)
    entries = [item for kind in kinds for item in _entries(records, number, kind)]
    if not entries:
        raise TriageError(f"The log of {number} holds nothing to take back", "Look at it: dtctriage sheet")
    latest = max(item.at for item in entries)
    return records.log.undo(*(item for item in entries if item.at == latest), at=at)


def entry_words(entry: Measurement | Note | Conclusion | EnteredCircuit) -> str:
    """An entry in one line."""
    if isinstance(entry, Measurement):
        return f"{entry.quantity} {entry.place}, {entry.condition}: {entry.reading}"
    if isinstance(entry, EnteredCircuit):
        return f"{entry.about}: {entry.line}"
    return entry.text


def _entries(records: Records, number: str, kind: Any) -> tuple[Logged[Any], ...]:
    found: tuple[Logged[Any], ...] = records.log.entries(number, kind)
    return found
