"""An order with everything that speaks about it: a sweep, the vehicle's profile, and the log since."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from dtctriage.triage.model import Assessment
from dtctriage.triage.seen import Seen
from dtctriage.triage.suspicion import Suspicion
from dtctriage.wiring.bench import Observation
from dtctriage.wiring.probe_text import ProbeText
from dtctriage.wiring.profile import Profile
from dtctriage.work.log import Log

NOTHING_TO_WEIGH = "no code speaks of a circuit that is known here, no module is missed"
"""Why an order has no reasoning, although generic circuits stand in for a profile."""


@dataclass(frozen=True, slots=True)
class Reasoning:
    """A sweep in the words of its profile, the readings since, and what they can be held against."""

    suspicion: Suspicion
    seen: Seen
    spoken: ProbeText
    observations: tuple[Observation, ...]

    @property
    def profile(self) -> Profile:
        return self.suspicion.wiring.profile


@dataclass(frozen=True, slots=True)
class Case:
    """One order's sweep with its log. `judged_with` assesses it with any readings.

    `reasoning` is what a profile, or the generic circuits in its place, allow to be weighed; None where
    there is nothing.
    """

    log: Log
    reasoning: Reasoning | None
    judged_with: Callable[[Sequence[Observation]], Assessment]

    def judged(self) -> Assessment:
        """The assessment with the readings of the log."""
        return self.judged_with(self.log.observations)

    @property
    def nominal_volts(self) -> int:
        return self.reasoning.profile.vehicle.nominal_volts if self.reasoning else 12
