"""One measured reading against one suspect, in words with numbers: what `measured.py` multiplies up.

The chance is told beside that of a reading that says nothing, so that it has no unit: above 1 the reading
speaks for the suspect, well below 1 against it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from dtctriage.triage.measured import (
    LEAST_OHMS,
    MISFIT,
    MOST_OHMS,
    NEAR_OL,
    OL_WRONG,
    WORN_OHMS,
    Measured,
    volt_spread,
)
from dtctriage.triage.model import Factor
from dtctriage.triage.readings import reading_words
from dtctriage.triage.seen import Seen
from dtctriage.triage.suspicion import Suspicion
from dtctriage.triage.tables import likelihood, likelihood_source
from dtctriage.wiring.bench import Means, Observation, Probe
from dtctriage.wiring.faults import FaultKind
from dtctriage.wiring.probe_text import ProbeText
from dtctriage.wiring.profile import BATTERY
from dtctriage.wiring.states import Case

SPREADS = 2.0
"""As many standard deviations to both sides are called expected: 95 % of a normal distribution."""
_WORDS = {Means.LAMP: ("word_wrong", 3), Means.LISTEN: ("word_wrong", 2), Means.LOOK: ("look_wrong", 2)}
_WORDS |= {Means.CALL: ("word_wrong", 2)}
"""The chance of a slip, and how many words there are."""


class ReadingFactors:
    """The readings of one order, ready to be told suspect by suspect."""

    def __init__(self, suspicion: Suspicion, seen: Seen, observations: Sequence[Observation]) -> None:
        self._bench = suspicion.bench
        self._measured = Measured(suspicion.bench, observations, seen.connector_volts)
        self._spoken = ProbeText(suspicion.wiring.profile)

    def of(self, observation: Observation, case: Case) -> Factor:
        """One reading under one fault, or two."""
        probe = observation.probe
        evidence = (
            f"{reading_words(probe, value_of(observation))} at {self._spoken.place(probe)}, "
            f"{self._spoken.condition(probe)}: expected {self._expected(probe, case)} with this fault, "
            f"{self._expected(probe, ())} in a sound vehicle"
        )
        fits = float(self._measured.fits(observation, [case])[0])
        basis = self._basis(observation, case)
        return Factor(evidence, fits, basis, likelihood_source("reading_wrong"), fits < MISFIT)

    def _expected(self, probe: Probe, case: Case) -> str:
        """What would be read, with its spread where it is a number."""
        least, most = self._measured.expected(probe, case)
        if probe.means is Means.VOLTS and max(abs(least), abs(most)) >= 0.05:
            low, high = least - SPREADS * volt_spread(least), most + SPREADS * volt_spread(most)
            return f"{low:.2f} to {high:.2f} V"
        if probe.means is Means.OHMS and math.isfinite(most) and most >= LEAST_OHMS:
            share = math.exp(SPREADS * likelihood("ohms_share"))
            return f"{reading_words(probe, least / share)} to {reading_words(probe, most * share)}"
        words = dict.fromkeys(reading_words(probe, value) for value in (least, most))
        return " or ".join(words)

    def _basis(self, observation: Observation, case: Case) -> str:
        """The formula, with the figures of this reading."""
        wrong, nothing = likelihood("reading_wrong"), self._measured.baseless(observation)
        worn = any(fault.kind is FaultKind.HIGH_RESISTANCE for fault in case)
        averaged = worn and observation.probe.means is not Means.LOOK
        right = self._averaged(observation, case) if averaged else self._chance(observation, case)
        told = f"({1 - wrong:g} x {right} + {wrong:g} x {nothing:.3g}) / {nothing:.3g}"
        if averaged:
            told += f", {right} averaged over corrosion of {WORN_OHMS[0]:g} to {WORN_OHMS[-1]:g} ohm"
            told += " that leaves the same modules without supply"
            if observation.probe.means is Means.VOLTS and any(fault.at == BATTERY for fault in case):
                told += f" and no less than {nothing:.3g}: a flat battery may have any voltage"
        return told

    def _averaged(self, observation: Observation, case: Case) -> str:
        return f"{float(self._measured.chance(observation, [case])[0]):.3g}"

    def _chance(self, observation: Observation, case: Case) -> str:
        """The chance, or its density, if the reading was taken rightly."""
        probe, expected = observation.probe, float(self._bench.readings(observation.probe, [case])[0])
        if probe.means in _WORDS:
            name, words = _WORDS[probe.means]
            same = reading_words(probe, value_of(observation)) == reading_words(probe, expected)
            return f"{1 - likelihood(name):g}" if same else f"{likelihood(name) / (words - 1):g}"
        value = observation.value or 0.0
        if probe.means is Means.VOLTS:
            shown = self._measured.scaled(value)
            return f"normal({shown:.4g} V; {expected:.4g} V, {volt_spread(expected):.3g} V)"
        if math.isinf(value):
            return f"{OL_WRONG:g}" if expected < NEAR_OL else "1"
        shown, should = max(value, LEAST_OHMS), min(max(expected, LEAST_OHMS), MOST_OHMS)
        return f"normal(ln {shown:.3g}; ln {should:.3g}, {likelihood('ohms_share'):g})"


def value_of(observation: Observation) -> float:
    """A word as the number that a bench gives for it."""
    if observation.value is not None:
        return observation.value
    return {"lit": 1.0, "dim": 0.3, "bad": 1.0, "click": 1.0, "answers": 1.0}.get(observation.word, 0.0)
