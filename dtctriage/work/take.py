"""From what was typed at the vehicle to observations, and what is odd in them."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from dtctriage.errors import TriageError
from dtctriage.records import Measurement
from dtctriage.triage.model import Problem
from dtctriage.triage.reading_factors import ReadingFactors
from dtctriage.triage.suspects import case_words
from dtctriage.triage.typed import UNITS, as_typed, impossible, means_of, observe, reading_text, readings
from dtctriage.wiring.bench import Observation, Probe
from dtctriage.wiring.probe_text import ProbeText
from dtctriage.work.belief import ranked
from dtctriage.work.case import Reasoning
from dtctriage.work.log import DOUBTFUL, measurement
from dtctriage.work.proposal import Proposal

SKIPPED = "-"
"""Typed for a reading of a check that was not taken."""
APART_VOLTS, APART_SHARE = 0.2, 0.1
"""Two readings of one probe differ when they are further apart than both. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Typed:
    """A reading as it was typed, understood, with what makes it impossible ("" where nothing does)."""

    text: str
    observation: Observation
    doubt: str

    @property
    def words(self) -> str:
        """As it was typed, and how it was understood where that is not the same."""
        return as_typed(self.text, self.observation)


def typed_for_check(words: Sequence[str], proposal: Proposal, spoken: ProbeText, volts: int) -> list[Typed]:
    """The readings of a check in the order of its probes; `-` for one that was not taken.

    Raises TriageError where there are more or fewer than probes, and ReadingError.
    """
    name, probes = f"Check {proposal.name} ({proposal.check.what})", proposal.check.probes
    if not probes:
        raise TriageError(f"{name} takes no reading", "Do it and note it, or name another: --check, --at")
    texts = list(readings(words, probes, SKIPPED))
    if len(texts) != len(probes):
        listed = "; ".join(f"{nth} {spoken.place(probe)}" for nth, probe in enumerate(probes, start=1))
        counts = f"{_count(probes, 'reading')}, not {len(texts)}"
        raise TriageError(f"{name} takes {counts}: {listed}", "Type - for one that was not taken")
    pairs = zip(texts, probes, strict=True)
    taken = [_typed(text, probe, volts) for text, probe in pairs if text != SKIPPED]
    if not taken:
        raise TriageError("No reading was given", "Type at least one")
    return taken


def typed_at(words: Sequence[str], places: Sequence[str], spoken: ProbeText, volts: int) -> list[Typed]:
    """Readings at places of one's own, one each. Raises PlaceError, ReadingError and TriageError."""
    texts = list(words)
    if len(texts) != len(places):
        texts = list(readings(words, [spoken.parse(place) for place in places]))
    if len(texts) != len(places):
        raise TriageError(f"{_count(places, 'place')} and {_count(texts, 'reading')}", "Give one for each")
    pairs = zip(texts, places, strict=True)
    return [_typed(text, spoken.parse(place, means_of(text)), volts) for text, place in pairs]


def _typed(text: str, probe: Probe, volts: int) -> Typed:
    observation = observe(text, probe)
    return Typed(text, observation, impossible(observation, volts))


def unweighed(words: Sequence[str], places: Sequence[str], volts: int, keep_odd: bool) -> list[Measurement]:
    """Readings without a profile: kept as they were typed. Raises ReadingError and TriageError."""
    if len(words) != len(places):
        raise TriageError(
            f"{_count(places, 'place')} and {_count(words, 'reading')}",
            "Without a profile each reading needs its place: --at PLACE; quote a reading of two words",
        )
    found = []
    for text, place in zip(words, places, strict=True):
        one = _typed(text, Probe(means_of(text), place), volts)
        refuse_odd([one], keep_odd)
        where, _, condition = (part.strip() for part in place.partition(","))
        means, value = one.observation.probe.means, one.observation.value
        number = value if value is not None and math.isfinite(value) else None
        unit = UNITS[means] if number is not None else None
        remark = f"{DOUBTFUL}{one.doubt}" if one.doubt else None
        found.append(Measurement(where, condition, str(means), text, number, unit, remark))
    return found


def _count(items: Sequence[object], name: str) -> str:
    return f"{len(items)} {name}{'' if len(items) == 1 else 's'}"


def refuse_odd(taken: Sequence[Typed], keep: bool) -> None:
    """Raises TriageError for a reading that cannot be, unless it is to be kept."""
    odd = [item for item in taken if item.doubt]
    if odd and not keep:
        raise TriageError(
            f"{'; '.join(item.doubt for item in odd)}",
            "Measure again; --keep keeps it in the log, marked and without weight",
        )


def measurements(taken: Sequence[Typed], spoken: ProbeText) -> list[Measurement]:
    """As the records keep them."""
    return [measurement(item.observation, item.text, spoken, item.doubt) for item in taken]


# -- what is odd ----------------------------------------------------------------------------------------


def contradicted(reasoning: Reasoning, taken: Sequence[Typed]) -> Iterator[str]:
    """Earlier readings of the same probes that say something else."""
    weighed = {item.probe: item for item in reasoning.observations}
    for item in taken:
        known = weighed.get(item.observation.probe)
        if known is not None and not item.doubt and _differ(known, item.observation):
            now, then = reading_text(item.observation), reading_text(known)
            yield f"{now} now, {then} before: the later one counts. Does the fault come and go?"


def _differ(first: Observation, second: Observation) -> bool:
    a, b = first.value, second.value
    if a is None or b is None:
        return first.word != second.word
    if math.isinf(a) or math.isinf(b):
        return a != b
    return abs(a - b) > max(APART_VOLTS, APART_SHARE * max(abs(a), abs(b)))


def unexplained(
    reasoning: Reasoning,
    problem: Problem,
    observations: Sequence[Observation],
    new: Sequence[Observation],
) -> Iterator[str]:
    """New readings that not even the best suspect, weighed with all `observations`, explains."""
    best = ranked(reasoning, problem, observations)[0].faults
    factors = ReadingFactors(reasoning.suspicion, reasoning.seen, observations)
    for item in new:
        told = factors.of(item, best)
        if told.against:
            yield f"{told.evidence} (the best suspect: {case_words(reasoning.suspicion, best)})"
