"""What triage says: evidence, findings, problems with their suspects, and checks."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from dtctriage.triage.trouble import Trouble
from dtctriage.wiring.bench import Probe


class Situation(StrEnum):
    """What kind of vehicle stands here; each makes a different sheet."""

    NO_SUPPLY = "adapter without supply"
    LOW_SUPPLY = "supply too low to judge silence"
    NOT_ASKED = "the sweep broke off before the roll call was done"
    ALL_SILENT = "all modules silent"
    SOME_SILENT = "some modules silent"
    ONE_SILENT = "one module silent"
    MISSED = "modules are missed by others"
    ONE_CUT_OFF = "a module answers but is cut off from its partners"
    CODES_ONLY = "all known modules answer, codes are stored"
    NOTHING_FOUND = "all known modules answer, no code is stored"
    CODES_NOT_READ = "modules answer, but no codes were read"


class EvidenceKind(StrEnum):
    """What a piece of evidence is."""

    ANSWER = "answer"
    SILENCE = "silence"
    UNSTEADY = "unsteady answer"
    WITNESS = "witness"
    CODE = "code"
    SUPPLY = "supply"
    NOTICE = "notice"
    BUS = "bus"
    IDENTITY = "identity"
    PROBLEM = "damaged answer"
    READING = "reading"
    RECORD = "shop's records"


@dataclass(frozen=True, slots=True)
class Evidence:
    """One thing that was seen. `id` is what findings and the sheet refer to (E1, E2, ...).

    `module` is the module's label on the sheet, or "" for the vehicle as a whole.
    """

    id: str
    kind: EvidenceKind
    module: str
    text: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a check may show: the reading in words, its chance (0..1), and what it would mean."""

    reading: str
    chance: float
    means: str


@dataclass(frozen=True, slots=True)
class Factor:
    """One piece of evidence held against one fault: how likely it is (0..1) if that fault is there.

    `evidence` tells what was seen and what to expect, with numbers; `basis` is the formula that gives the
    chance, `source` where its figures come from. The chance of a reading is told beside that of any reading
    at all, and may be above 1. `against`: the evidence speaks against the fault.
    """

    evidence: str
    chance: float
    basis: str
    source: str
    against: bool = False


@dataclass(frozen=True, slots=True)
class Check:
    """The next thing to do with a meter, a lamp or the eyes.

    `expect` is what a sound vehicle shows, with its limit; `source` is where the limit comes from.
    `minutes` is the effort; `settles` the share (0..1) of the doubt left that the check is expected to take.
    `probes` are the readings to take, in this order; empty where a check is more than readings. `outcomes`
    are what they may show, likeliest first. `name` is what an order calls it, such as 1.2, whatever is
    measured meanwhile; empty where its place in the list is its name.
    """

    what: str
    where: str
    condition: str
    expect: str
    source: str
    minutes: float
    settles: float
    caution: str = ""
    probes: tuple[Probe, ...] = ()
    outcomes: tuple[Outcome, ...] = ()
    name: str = ""


REST = "something else"
"""The title of the last suspect, which lumps what is left: its members have little in common."""


@dataclass(frozen=True, slots=True)
class Suspect:
    """One possible cause. `share` is its part of the suspicion, 0..1, over all suspects of the problem.

    Suspects that no evidence at hand tells apart stand together in one `Suspect` with several `members`.
    """

    title: str
    place: str
    share: float
    members: tuple[str, ...]
    because: str
    weight_from: str = ""
    """Where its weight before evidence is from, where that is not the table alone."""


@dataclass(frozen=True, slots=True)
class Problem:
    """Evidence that belongs together, with who or what may have caused it, likeliest first.

    `silent` and `explains` name modules and consequence codes; `open_end` says what the evidence leaves open.
    """

    title: str
    modules: tuple[str, ...]
    evidence: tuple[str, ...]
    suspects: tuple[Suspect, ...]
    checks: tuple[Check, ...]
    stops_vehicle: bool
    known_by: tuple[str, ...] = ()
    explains: tuple[str, ...] = ()
    open_end: str = ""
    proved: str = ""
    """The cause in words, once a measurement has shown it."""
    sides: tuple[tuple[str, float], ...] = ()
    """Power, ground, bus, module ... with their share of the suspicion, the largest first."""
    trouble: Trouble | None = None
    """What its suspects are weighed by, with a profile."""
    past: bool = False
    """Nothing of it fails now."""


class Weight(StrEnum):
    """How much a finding matters on the sheet."""

    STOPS = "stops the vehicle"
    LOOK = "look at this"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class Finding:
    """What a rule makes of the evidence. `rule` is its file's name, `source` a clause or common practice.

    `explains`: codes that follow from it, "MODULE CODE" each. `needs` and `refuted_by`: what the rule has to
    have read, and what would prove it wrong; filled in from the table of rules where the rule says neither.
    """

    rule: str
    weight: Weight
    title: str
    detail: str
    evidence: tuple[str, ...]
    source: str
    advice: str = ""
    explains: tuple[str, ...] = ()
    needs: str = ""
    refuted_by: str = ""


@dataclass(frozen=True, slots=True)
class Abstained:
    """Why a rule said nothing although it was meant to look: what was missing, or not fit to be judged."""

    rule: str
    why: str


@dataclass(frozen=True, slots=True)
class CodeLine:
    """A reported code as the sheet shows it.

    `because` names the problem it follows from, "" when it stands for itself.
    """

    module: str
    code: str
    meaning: str
    status: str
    failure_type: str
    memories: tuple[str, ...]
    because: str = ""
    stops_vehicle: bool = False
    stored_with: tuple[str, ...] = ()
    """Freeze frame and snapshot readings that were kept with the code, a line each."""
    origin: str = ""
    """Whose meaning it is, where it is not the catalogue's."""


@dataclass(frozen=True, slots=True)
class ModuleLine:
    """A module as the roll call shows it. `state`: answers, unsteady, silent, refused or cut off."""

    label: str
    title: str
    asked_at: str
    state: str
    heard: str
    """`3 of 3`; empty when it was never asked."""
    known_by: str
    vin: str = ""
    volts: float | None = None
    identity: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Ranked:
    """One entry of the list of what to look at. `kind`: problem, finding or code; `why` tells its place.

    `consequences`: codes that follow from it, each with the reason it was put there.
    """

    title: str
    kind: str
    weight: float
    why: str
    consequences: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Assessment:
    """The whole of it. `headline` is the one sentence at the top of the sheet."""

    situation: Situation
    headline: str
    vin: str | None
    vin_from: str
    evidence: tuple[Evidence, ...]
    modules: tuple[ModuleLine, ...]
    problems: tuple[Problem, ...]
    findings: tuple[Finding, ...]
    codes: tuple[CodeLine, ...]
    cautions: tuple[str, ...]
    missing: tuple[str, ...]
    """What the sweep did not get to, for a sweep that was broken off."""
    readiness: tuple[tuple[str, str], ...] = ()
    """(module label, readiness in words)."""
    ranking: tuple[Ranked, ...] = ()
    """What to look at, first things first."""
    abstained: tuple[Abstained, ...] = ()
    """Rules that said nothing for want of data, for whoever asks; the sheet does not print them."""
