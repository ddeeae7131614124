"""The triage sheet as data: what is on the paper, before any layout.

`visit` holds all that depends on the link and the hour, so that two intakes of one vehicle can be compared
by everything else.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Final, Literal

from pydantic import AwareDatetime, ConfigDict, Field

from dtctriage.sheet.before_after import BeforeAfterPart, ClearingPart
from dtctriage.sheet.data import ClockPart, DataPart
from dtctriage.sheet.log import LogPart
from dtctriage.sheet.parts import Part, Share, Text
from dtctriage.triage.model import EvidenceKind, Situation, Weight

FORMAT: Final = "dtctriage triage sheet"
VERSION: Final = 1

DistanceUnit = Literal["km", "mi"]


@dataclass(frozen=True, slots=True)
class Job:
    """What the shop knows before the vehicle is asked. `vin` is as entered, `vehicle` make and model."""

    order: str
    shop: str = ""
    technician: str = ""
    complaint: str = ""
    vin: str = ""
    odometer: int | None = None
    odometer_unit: DistanceUnit = "km"
    vehicle: str = ""


@dataclass(frozen=True, slots=True)
class Visit:
    """How and when the vehicle was asked. `supply_volts` is pin 16 (J1962) as the link shows it, or None.

    `started` and `ended` carry their time zone. `partial_why` says what broke a partial sweep off.
    """

    adapter: str
    link: str
    protocol: str
    supply_volts: float | None
    started: datetime
    ended: datetime
    recorded: bool = False
    partial: bool = False
    partial_why: str = ""
    profile: str | None = None
    wire_log: str = ""
    sweep: int | None = None
    """Its id in the records; None where it is not kept."""


class Odometer(Part):
    """A reading as the technician entered it."""

    value: int = Field(ge=0)
    unit: DistanceUnit


class JobPart(Part):
    """The repair order."""

    order: Text
    shop: Text
    technician: Text
    complaint: Text
    vin_entered: Text
    odometer: Odometer | None
    vehicle: Text


class VehiclePart(Part):
    """Which vehicle this is, who says so, and what speaks against it."""

    vin: Text | None
    vin_from: Text
    vin_warnings: tuple[Text, ...]
    another: Text = ""
    """What shows that it is not the vehicle that the order is about."""


class VisitPart(Part):
    """Link and hour: not part of what a comparison of two intakes looks at.

    `clocks`: what the modules' clocks showed, which moves on while the vehicle is asked.
    """

    adapter: Text
    link: Text
    protocol: Text
    supply_volts: float | None
    started: AwareDatetime
    ended: AwareDatetime
    recorded: bool
    partial: bool
    partial_why: Text
    profile: Text | None
    wire_log: Text
    sweep: int | None = None
    clocks: tuple[ClockPart, ...] = ()


class EvidencePart(Part):
    """One thing seen; `id` is what everything else refers to."""

    id: Text
    kind: EvidenceKind
    module: Text
    text: Text


class SuspectPart(Part):
    """A possible cause with its share of the suspicion; several members cannot be told apart yet."""

    title: Text
    place: Text
    share: Share
    members: tuple[Text, ...]
    because: Text
    weight_from: Text = ""
    """Where its weight before evidence is from, where that is not the table alone."""


class CheckPart(Part):
    """What to do, where, in which condition, what a sound vehicle shows and who says so.

    `name`: problem and check, such as 1.2, the same on every sheet of an order.
    """

    name: Text
    what: Text
    where: Text
    condition: Text
    expect: Text
    source: Text
    minutes: float = Field(ge=0)
    settles: Share
    caution: Text


class SidePart(Part):
    """A side of a module or circuit (power, ground, bus, module ...) with its share of the suspicion."""

    side: Text
    share: Share


class ProblemPart(Part):
    """Evidence that belongs together, its suspects and the checks in their order. `number` counts from 1."""

    number: int = Field(ge=1)
    title: Text
    modules: tuple[Text, ...]
    evidence: tuple[Text, ...]
    suspects: tuple[SuspectPart, ...]
    checks: tuple[CheckPart, ...]
    stops_vehicle: bool
    known_by: tuple[Text, ...]
    explains: tuple[Text, ...]
    open_end: Text
    proved: Text
    sides: tuple[SidePart, ...]


class FindingPart(Part):
    """What a rule made of the evidence; `explains` names the codes that follow from it."""

    rule: Text
    weight: Weight
    title: Text
    detail: Text
    evidence: tuple[Text, ...]
    source: Text
    advice: Text
    explains: tuple[Text, ...] = ()
    needs: Text = ""
    refuted_by: Text = ""


class CodePart(Part):
    """A reported code. `problem` is the number of the problem it follows from, `because` the words for it."""

    module: Text
    code: Text
    meaning: Text
    status: Text
    failure_type: Text
    memories: tuple[Text, ...]
    because: Text
    problem: int | None
    stops_vehicle: bool
    stored_with: tuple[Text, ...]
    origin: Text = ""
    """Whose meaning it is, where it is not the catalogue's."""


class IdentityPart(Part):
    """One line of what a module says about itself."""

    name: Text
    value: Text


class ModulePart(Part):
    """A line of the roll call."""

    label: Text
    title: Text
    asked_at: Text
    state: Text
    heard: Text
    known_by: Text
    vin: Text
    volts: float | None
    identity: tuple[IdentityPart, ...]


class RankedPart(Part):
    """An entry of what to look at first; `consequences`: codes that follow from it, with the reason."""

    title: Text
    kind: Text
    weight: float
    why: Text
    consequences: tuple[Text, ...]


class AbstainedPart(Part):
    """A rule that said nothing for want of data, and what it lacked."""

    rule: Text
    why: Text


class ReadinessPart(Part):
    """Readiness of one module, in words."""

    module: Text
    text: Text


class Sheet(Part):
    """The whole sheet, in the order it is read."""

    model_config = ConfigDict(title="Triage sheet")

    format: Literal["dtctriage triage sheet"] = FORMAT
    version: Literal[1] = VERSION
    job: JobPart
    vehicle: VehiclePart
    situation: Situation
    headline: Text
    cautions: tuple[Text, ...]
    problems: tuple[ProblemPart, ...]
    findings: tuple[FindingPart, ...]
    codes: tuple[CodePart, ...]
    modules: tuple[ModulePart, ...]
    readiness: tuple[ReadinessPart, ...]
    missing: tuple[Text, ...]
    evidence: tuple[EvidencePart, ...]
    data: tuple[DataPart, ...] = ()
    log: LogPart = LogPart()
    visit: VisitPart
    clearings: tuple[ClearingPart, ...] = ()
    ranking: tuple[RankedPart, ...] = ()
    abstained: tuple[AbstainedPart, ...] = ()
    before_after: BeforeAfterPart | None = None
    """Only on the sheet of a recheck."""
