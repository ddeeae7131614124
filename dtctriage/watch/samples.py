"""One round's answers as samples: a name, what it reads, and whether it is a state or a number."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from dtctriage.services.pids import pid_name, readings, signals
from dtctriage.services.readings import NoValue, Quantity, Reading, Signal, State, number_text
from dtctriage.sweep.said import ModuleSaid
from dtctriage.triage.pairs import Compared, compare
from dtctriage.triage.seen import failing, strongest
from dtctriage.triage.values import finding_limit, value
from dtctriage.watch.choice import ENGINE_SPEED, Choice

ANSWERS, NO_ANSWER = "answers", "no answer"
READING, NO_READING = "reading", "no reading"
AGREES, DISAGREES = "agree", "DISAGREE"
_SUPPLY_SCALE = 30.0
"""Volts above which a scale is that of a supply, not of a sensor."""


@dataclass(frozen=True, slots=True)
class Sample:
    """`state` is what flips when it changes, `told` stands beside it; `number` has its `unit`.

    `leap` is how far the number may move from one sample to the next, 0 where nothing says so. A state that
    holds for less than `settling` seconds does not count.
    """

    module: str
    name: str
    state: str
    told: str = ""
    number: float | None = None
    unit: str = ""
    leap: float = 0.0
    settling: float = 0.0

    @property
    def key(self) -> tuple[str, str]:
        return self.module, self.name

    @property
    def text(self) -> str:
        """What a person reads."""
        if self.number is not None:
            return f"{number_text(self.number)} {self.unit}".rstrip()
        return f"{self.told} {self.state}" if self.told else self.state


def samples(choice: Choice, said: ModuleSaid | None) -> Iterator[Sample]:
    """Everything watched of one module; where it was silent (None) that alone."""
    yield Sample(choice.label, "module", ANSWERS if said is not None else NO_ANSWER)
    if said is not None:
        yield from _codes(choice, said)
        yield from _pairs(choice, said)
        for pid in choice.pids:
            told = readings(pid, said.data.get(pid, b""))
            yield from _readings(choice.label, pid_name(pid), signals(pid), told)
        for did in choice.dids:
            definition = choice.said.definitions.identifiers[did]
            named = definition.readings(said.identifiers.get(did, b""))
            yield from _readings(choice.label, definition.name, definition.signals, named)


def _codes(choice: Choice, said: ModuleSaid) -> Iterator[Sample]:
    now = {entry.dtc: failing(entry) for entry in strongest(said)}
    for dtc in choice.codes:
        if not said.codes_read:
            state = NO_READING
        elif dtc in now or dtc.base in now:
            told = now.get(dtc, now.get(dtc.base))
            state = {True: "failing now", False: "not failing now", None: "stored"}[told]
        else:
            state = "not stored"
        yield Sample(choice.label, f"code {dtc}", state)


def _pairs(choice: Choice, said: ModuleSaid) -> Iterator[Sample]:
    speed = value(said, ENGINE_SPEED)
    runs = speed is not None and speed.number > 0
    for pair in choice.pairs:
        found = next(compare(said, choice.label, [pair], engine_runs=runs), None)
        if found is None:
            yield Sample(choice.label, pair.name, NO_READING)
        else:
            yield _pair(choice.label, found)


def _pair(label: str, found: Compared) -> Sample:
    """Both values side by side; they disagree when they have been apart for the settling time."""
    pair, told = found.pair, str(found).partition(": ")[2]
    if not found.disagrees:
        return Sample(label, pair.name, AGREES, told)
    return Sample(label, pair.name, DISAGREES, told, settling=pair.settling)


def _readings(
    label: str, name_of_all: str, scaled: Sequence[Signal], told: Sequence[Reading]
) -> Iterator[Sample]:
    """`told` is what the data say; nothing where there are none, or not of the right length.

    FF throughout is no reading: "not available" is not to look like a leap to the end of the scale.
    """
    known = {signal.name: signal for signal in scaled}
    if not told:
        yield from (Sample(label, name, NO_READING) for name in known or (name_of_all,))
    for item in told:
        match item:
            case Quantity(name=name, text=text, full=True):
                yield Sample(label, name, text)
            case Quantity(name=name, value=number, unit=unit):
                yield Sample(label, name, READING, number=number, unit=unit, leap=_leap(known.get(name)))
            case State(name=name, text=text):
                yield Sample(label, name, text)
            case NoValue(name=name, reason=reason):
                yield Sample(label, name, reason)


def _leap(signal: Signal | None) -> float:
    """A share of the scale; of a supply, whose scale is far wider than what it can be, a number of volts."""
    if signal is None:
        return 0.0
    scale = ((1 << 8 * signal.size) - 1) * float(signal.scale)
    if signal.unit == "V" and scale > _SUPPLY_SCALE:
        return finding_limit("watch_leap_volts").value
    return scale * finding_limit("watch_leap").value / 100
