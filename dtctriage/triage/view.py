"""What rules look at: the sweep's picture, the profile's words for it, and the register of evidence."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.meaning import Meaning, ShopMeanings, meaning
from dtctriage.codes.network import lost_module
from dtctriage.link import Target
from dtctriage.sweep.events import Stage
from dtctriage.sweep.picture import ModuleSaid, Picture
from dtctriage.triage.history import History, OwnClearing
from dtctriage.triage.model import Evidence, EvidenceKind
from dtctriage.triage.seen import Seen, failing, strongest
from dtctriage.wiring.bench import Observation
from dtctriage.wiring.profile import Profile

STAGES = (
    Stage.ADAPTER,
    Stage.BUS,
    Stage.ROLL_CALL,
    Stage.IDENTIFICATION,
    Stage.CODES,
    Stage.STATE,
    Stage.SNAPSHOTS,
    Stage.CURRENT_DATA,
    Stage.TESTS,
)
"""The stages of a sweep in their order."""
Accusations = dict[str, list[tuple[str, str, bool | None]]]
"""Role key -> (witness label, code, failing now)."""
ENGINE_IDS = frozenset({0x7E0, 0x18DA10F1, 0x10})
"""Where the engine module is asked: 7E0, node 10 (ISO 15765-4 habit; legacy addresses from memory)."""


@dataclass(slots=True)
class Ledger:
    """Numbers pieces of evidence as they are cited; the same piece keeps its number."""

    _known: dict[tuple[EvidenceKind, str, str], Evidence] = field(default_factory=dict)

    def cite(self, kind: EvidenceKind, module: str, text: str) -> str:
        """The id of a piece of evidence."""
        key = (kind, module, text)
        if key not in self._known:
            self._known[key] = Evidence(f"E{len(self._known) + 1}", kind, module, text)
        return self._known[key].id

    @property
    def all(self) -> tuple[Evidence, ...]:
        return tuple(self._known.values())


class Engine(StrEnum):
    """What the engine does while the intake is taken."""

    OFF = "off"
    CRANKING = "cranking"
    RUNNING = "running"


@dataclass(frozen=True, slots=True)
class Told:
    """What the technician says of the vehicle's state, where no module can: None for nothing said.

    `soak_hours`: how long it has stood with the engine off; `odometer` in km, as it stands on the order.
    """

    soak_hours: float | None = None
    engine: Engine | None = None
    odometer: float | None = None

    @classmethod
    def of(cls, kept: Mapping[str, Any] | None, odometer: float | None = None) -> Told:
        """What was kept with a sweep, nothing where its version kept nothing; and with its order."""
        kept = kept or {}
        engine = kept.get("engine")
        return cls(kept.get("soak_hours"), Engine(engine) if engine else None, odometer)

    @property
    def kept(self) -> dict[str, Any]:
        """What was said, as JSON values that are kept with a sweep."""
        told = {"soak_hours": self.soak_hours, "engine": self.engine.value if self.engine else None}
        return {name: value for name, value in told.items() if value is not None}


NOTHING_TOLD = Told()


@dataclass(frozen=True, slots=True)
class View:
    """One sweep, ready to be reasoned about. `seen` is None without a profile, `history` without records."""

    picture: Picture
    profile: Profile | None
    seen: Seen | None
    vin_entered: str | None
    ledger: Ledger
    history: History | None = None
    told: Told = NOTHING_TOLD
    observations: tuple[Observation, ...] = ()
    """Readings that were taken on the vehicle after the sweep."""
    shop: ShopMeanings = field(default_factory=dict)
    """The shop's own meanings for the vehicle's make."""
    clearings: tuple[OwnClearing, ...] = ()
    """The vehicle's clearings by this shop before the sweep, the latest first."""
    explained: tuple[frozenset[str], ...] = ()
    """Of each problem the codes that it is about and those that follow from it, "MODULE CODE" each."""

    def meaning(self, dtc: Dtc) -> Meaning:
        """What a code means, the shop's own words first."""
        return meaning(dtc, self.shop)

    def passed(self, stage: str) -> bool:
        """Whether a stage was gone through to its end."""
        picture = self.picture
        reached = STAGES.index(picture.stage) if picture.stage in STAGES else 0
        return picture.finished or STAGES.index(stage) < reached

    def label(self, said: ModuleSaid) -> str:
        """The module's name on the sheet: the profile's id, else its address."""
        module = self.profile.module_at(said.target) if self.profile else None
        return module.id if module else said.target.label

    def title(self, said: ModuleSaid) -> str:
        """What the module is: by the profile, by its own name, or by its address."""
        module = self.profile.module_at(said.target) if self.profile else None
        if module:
            return module.title
        return said.identity.get("module name") or said.identity.get("system name") or ""

    def is_engine(self, said: ModuleSaid) -> bool:
        """Whether this is the engine module."""
        return self.is_engine_target(said.target)

    def is_engine_target(self, target: Target) -> bool:
        """Whether the engine module is asked there: by the profile, else by the usual address."""
        module = self.profile.module_at(target) if self.profile else None
        return module.role.startswith("engine_control") if module else target.request in ENGINE_IDS

    @property
    def modules(self) -> Iterator[tuple[str, ModuleSaid]]:
        """Every module that answered, with its label."""
        for said in self.picture.modules.values():
            yield self.label(said), said

    @property
    def read_modules(self) -> list[ModuleSaid]:
        """The modules whose codes were read."""
        return [said for said in self.picture.modules.values() if said.codes_read]

    def accusations(self) -> Accusations:
        """Who is named by every lost-communication code, and by whom."""
        found: Accusations = {}
        for label, said in self.modules:
            for entry in strongest(said):
                role = lost_module(entry.dtc)
                if role is not None:
                    found.setdefault(role.key, []).append((label, str(entry.dtc), failing(entry)))
        return found


def now_words(now: bool | None) -> str:
    """How present a code is."""
    return {True: "failing now", False: "history", None: "stored"}[now]
