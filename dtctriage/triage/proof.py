"""When a cause counts as proved: one suspect is left, and a reading shows it at work."""

from __future__ import annotations

from collections.abc import Sequence

from dtctriage.triage.measured import Measured
from dtctriage.triage.seen import Seen
from dtctriage.triage.suspects import case_words, things
from dtctriage.triage.suspicion import Hypothesis, Suspicion
from dtctriage.wiring.bench import Observation

LEFT_ALONE = 0.95
"""Share from which the part that a hand would go to is taken for the only suspect left."""
TELLING = 20.0
"""How many times as likely a reading is with the suspect as in a sound vehicle, to show it at work. Both are
common practice, no source."""


def proved(
    suspicion: Suspicion, seen: Seen | None, ranked: Sequence[Hypothesis], taken: Sequence[Observation]
) -> str:
    """The cause in words; nothing while it is not proved, and never without a measurement."""
    first = ranked[0] if ranked else None
    if first is None or seen is None or not first.faults or not taken:
        return ""
    name = things(suspicion, first.faults)
    alike = [item for item in ranked if item.faults and things(suspicion, item.faults) == name]
    if sum(item.share for item in alike) < LEFT_ALONE:
        return ""
    measured = Measured(suspicion.bench, taken, seen.connector_volts)
    cases = [first.faults, ()]
    for item in taken:
        faulty, sound = (float(value) for value in measured.fits(item, cases))
        if faulty > TELLING * sound:
            return case_words(suspicion, first.faults) if len(alike) == 1 else name
    return ""
