"""A simulated technician in front of a simulated vehicle: intake with noise, then check after check.

Noise is of the technician's and the vehicle's making, not of the tool's: answers lost on the way, codes that
were not set or were left over, a battery that is not full, corrosion of any size, meters a little off.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.network import codes_for_role
from dtctriage.triage.choose import Offer, choose, table_of
from dtctriage.triage.measured import lamp_class
from dtctriage.triage.problems import divided, offers_for
from dtctriage.triage.readings import CALL_WORDS, LAMP_WORDS, LISTEN_WORDS, LOOK_WORDS
from dtctriage.triage.sections import Sections
from dtctriage.triage.seen import Seen, Testimony
from dtctriage.triage.suspects import things
from dtctriage.triage.suspicion import Hypothesis, Suspicion
from dtctriage.triage.trouble import Trouble
from dtctriage.wiring.bench import Means, Observation, Probe
from dtctriage.wiring.effects import Effects, effects
from dtctriage.wiring.faults import Fault

SURE = 0.95
"""Share of the suspicion at which the technician stops measuring and repairs."""
MOST_CHECKS = 25


@dataclass(frozen=True)
class Noise:
    """Chances and sizes; `NONE` is a vehicle that tells exactly what the model expects."""

    answer_lost: float = 0.0
    code_missing: float = 0.0
    code_left_over: float = 0.0
    meter_share: float = 0.0
    meter_volts: float = 0.0
    reading_wrong: float = 0.0
    battery_volts: tuple[float, float] = (12.6, 12.6)
    worn_ohms: tuple[float, float] = (40.0, 40.0)


NONE = Noise()
USUAL = Noise(0.005, 0.05, 0.003, 0.003, 0.01, 0.005, (11.9, 12.7), (4.0, 400.0))
HEAVY = Noise(0.05, 0.15, 0.01, 0.01, 0.03, 0.03, (11.3, 12.8), (2.0, 1000.0))


@dataclass(frozen=True)
class Outcome:
    """What came of one job.

    `rank`: place of the true thing on the sheet after intake alone, 0 where no problem names it; `side`: that
    of its side; `first_three`: what the sheet itself gives its first three things. `group`:
    how many things were left when the technician stopped, `right` whether the true one is among them, `share`
    what was said of the group. `bits`: doubt after intake.
    """

    rank: int
    side: int
    first_three: float
    right: bool
    share: float
    group: int
    checks: int
    minutes: float
    bits: float
    silent: bool


class Job:
    """One vehicle with faults in it, on one technician's day."""

    def __init__(self, suspicion: Suspicion, case: Sequence[Fault], noise: Noise, rng: random.Random) -> None:
        self.suspicion = suspicion
        self.case = tuple(case)
        self.noise = noise
        self.rng = rng
        self._battery = rng.uniform(*noise.battery_volts) / suspicion.wiring.profile.battery.volts
        low, high = noise.worn_ohms
        self._worn = math.exp(rng.uniform(math.log(low), math.log(high)))
        self.plan: list[Offer] = []
        """The checks of a technician who keeps to one order."""
        self.shown = effects(suspicion.wiring, self.case, suspicion.key)
        self.seen = self._intake(self.shown)

    def _intake(self, shown: Effects) -> Seen:
        rng, noise, profile = self.rng, self.noise, self.suspicion.wiring.profile
        answers = {}
        for module in profile.module:
            chance = 1 - noise.answer_lost if module.id in shown.answering else 0.0
            answers[module.id] = (sum(rng.random() < chance for _ in range(3)), 3)
        heard = frozenset(name for name, (answered, _) in answers.items() if answered)
        losses = {(loss.witness, loss.lost) for loss in shown.losses}
        testimonies = []
        for module in profile.module:
            for partner in module.hears:
                pair = (module.id, partner.module)
                kept = (
                    rng.random() >= noise.code_missing
                    if pair in losses
                    else rng.random() < noise.code_left_over
                )
                code = codes_for_role(profile.module_named(partner.module).role).lost
                if kept and module.id in heard and code is not None:
                    testimonies.append(Testimony(*pair, Dtc(code.number, 0x87), True))
        codes = frozenset(c for c in shown.codes if c[0] in heard and rng.random() >= noise.code_missing)
        battery = round(shown.connector_volts * self._battery, 1)
        volts = {
            m.id: round(shown.volts[m.id] * self._battery + rng.gauss(0, 2 * noise.meter_volts), 1)
            for m in profile.module
            if m.id in heard and m.request % 2 == 0
        }
        return Seen(answers, heard, tuple(testimonies), codes, frozenset(), volts, battery)

    def read(self, probe: Probe) -> Observation:
        """What the instrument shows on this vehicle today."""
        value = float(self.suspicion.bench.readings(probe, [self.case], self._worn)[0])
        noise, rng = self.noise, self.rng
        wrong = rng.random() < noise.reading_wrong
        match probe.means:
            case Means.VOLTS:
                value = value * self._battery if abs(value) > 5.5 else value
                value += rng.gauss(0, noise.meter_volts + noise.meter_share * abs(value))
                return Observation(probe, 0.0 if wrong else round(value, 2))
            case Means.OHMS:
                return Observation(
                    probe, math.inf if wrong else value * (1 + rng.gauss(0, noise.meter_share))
                )
            case Means.LAMP:
                return Observation(probe, word=LAMP_WORDS[0 if wrong else int(lamp_class(np.asarray(value)))])
            case Means.LOOK:
                return Observation(probe, word=LOOK_WORDS[0 if wrong else int(value)])
            case Means.LISTEN:
                return Observation(probe, word=LISTEN_WORDS[0 if wrong else int(value)])
            case Means.CALL:
                return Observation(probe, word=CALL_WORDS[0 if wrong else int(value)])


def grouped(suspicion: Suspicion, ranked: Sequence[Hypothesis]) -> list[tuple[str, float]]:
    """Shares of the things under suspicion, the largest first."""
    shares: dict[str, float] = {}
    for item in ranked:
        name = things(suspicion, item.faults)
        shares[name] = shares.get(name, 0.0) + item.share
    return sorted(shares.items(), key=lambda pair: -pair[1])


def truths(suspicion: Suspicion, case: Sequence[Fault]) -> set[str]:
    """Names that the sheet may give to what is at fault."""
    return {things(suspicion, (fault,)) for fault in case} | {things(suspicion, tuple(case))}


def problems(job: Job, observations: Sequence[Observation]) -> list[tuple[Trouble, list[Hypothesis]]]:
    """The problems of the sheet, in its order."""
    trouble = job.suspicion.trouble(job.seen)
    return list(divided(job.suspicion, job.seen, trouble, observations))


def visible(suspicion: Suspicion, case: Sequence[Fault]) -> bool:
    """Whether the faults show in an intake at all."""
    return bool(suspicion.trouble(Job(suspicion, case, NONE, random.Random(0)).seen))


FIXED_ORDER = (
    *(
        "battery across",
        "turn the key",
        "measure fuse",
        "measure relay",
        "back-probe supplies",
        "from ground",
    ),
    *("CAN high and CAN low", "CAN high to CAN low", "voltage on both", "back-probe", "unplug", ""),
)
"""Power, ground, bus, module: how what is checked begins, in the order of the trade schools (from memory)."""
Policy = Callable[[Job, Trouble, list[Hypothesis], set[str]], "Offer | None"]


def proposed(job: Job, part: Trouble, ranked: list[Hypothesis], done: set[str]) -> Offer | None:
    """The check that the tool proposes next."""
    offers = [offer for offer in offers_for(job.suspicion, part, ranked) if offer.what not in done]
    checks = choose(job.suspicion.bench, offers, ranked, lambda case: "", most=1)
    return next((offer for offer in offers if checks and offer.what == checks[0].what), None)


def in_fixed_order(job: Job, part: Trouble, ranked: list[Hypothesis], done: set[str]) -> Offer | None:
    """Power, ground, bus, module: every check that has to do with the problem, in that order."""
    if not done:
        offers = offers_for(job.suspicion, part, ranked)
        reads = table_of(job.suspicion.bench, offers, ranked).reads
        telling = [read.offer for read in reads if read.cells.max() > 0]
        job.plan = sorted(telling, key=_place_in_order)
    return next((offer for offer in job.plan if offer.what not in done), None)


def _place_in_order(offer: Offer) -> int:
    return next(place for place, text in enumerate(FIXED_ORDER) if text in offer.what)


def work(job: Job, policy: Policy) -> Outcome | None:
    """From intake to a repair; None where the intake shows nothing."""
    sheet = problems(job, ())
    if not sheet:
        return None
    suspicion, wanted = job.suspicion, truths(job.suspicion, job.case)
    ranks = [_rank(grouped(suspicion, ranked), wanted) for _, ranked in sheet]
    # The technician works on the problem that the true fault belongs to, or on the first.
    place = min(range(len(ranks)), key=lambda i: ranks[i] or 1000)
    part, ranked = sheet[place]
    sides = Sections(suspicion.wiring)
    true_sides = {sides.of((fault,)) for fault in job.case} | {sides.of(job.case)}
    side = _rank(list(sides.shares(ranked)), true_sides)
    first_three = sum(share for _, share in grouped(suspicion, ranked)[:3])
    bits = -sum(p * math.log2(p) for _, p in grouped(suspicion, ranked) if p > 0)
    observations: list[Observation] = []
    done: set[str] = set()
    minutes, stuck = 0.0, False
    while len(done) < MOST_CHECKS and (not done or grouped(suspicion, ranked)[0][1] < SURE):
        offer = policy(job, part, ranked, done)
        if offer is None:
            stuck = True
            break
        done.add(offer.what)
        minutes += offer.minutes
        observations += [job.read(probe) for probe in offer.probes]
        ranked = suspicion.weigh(job.seen, part, observations)
    things_left = grouped(suspicion, ranked)
    group = [item for item in things_left if item[1] > 0.05] if stuck else things_left[:1]
    share = sum(item[1] for item in group)
    right = any(name in wanted for name, _ in group)
    return Outcome(
        ranks[place],
        side,
        first_three,
        right,
        share,
        len(group),
        len(done),
        minutes,
        bits,
        bool(part.silent),
    )


def _rank(names: list[tuple[str, float]], wanted: set[str]) -> int:
    return next((place for place, (name, _) in enumerate(names, 1) if name in wanted), 0)
