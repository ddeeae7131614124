"""What a sweep says in the words of a profile: which of its modules answered, testified, reported."""

from __future__ import annotations

from dataclasses import dataclass

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.network import aliases_of, lost_module
from dtctriage.sweep.picture import ModuleSaid, Picture, StoredCode
from dtctriage.wiring.profile import Module, Profile

PERMANENT = "permanent"
"""The memory of permanent codes, as `StoredCode` names it."""


@dataclass(frozen=True, slots=True)
class Testimony:
    """`witness` says that it does not hear `lost` (module ids, or a role's key where no module fits).

    `now`: the code's status says failing at present; False: history; None: the code carries no status.
    """

    witness: str
    lost: str
    code: Dtc
    now: bool | None

    @property
    def present(self) -> bool:
        """Counts as evidence today. History condemns no part (makers' service literature)."""
        return self.now is not False


@dataclass(frozen=True, slots=True)
class Seen:
    """Evidence by module id. `answers`: (answered, asked) of the roll call; `volts`: own supply reading.

    `readable`: modules whose codes were read. `past_codes` are stored and not failing now.
    """

    answers: dict[str, tuple[int, int]]
    readable: frozenset[str]
    testimonies: tuple[Testimony, ...]
    codes: frozenset[tuple[str, Dtc]]
    past_codes: frozenset[tuple[str, Dtc]]
    volts: dict[str, float]
    connector_volts: float | None

    @property
    def silent(self) -> frozenset[str]:
        """Modules that were asked and never answered."""
        return frozenset(name for name, (answered, asked) in self.answers.items() if asked and not answered)

    @property
    def answering(self) -> frozenset[str]:
        return frozenset(name for name, (answered, _) in self.answers.items() if answered)


def seen_by(picture: Picture, profile: Profile) -> Seen:
    """Match a picture against a profile."""
    answers: dict[str, tuple[int, int]] = {}
    volts: dict[str, float] = {}
    readable: set[str] = set()
    testimonies: list[Testimony] = []
    codes: dict[bool, set[tuple[str, Dtc]]] = {True: set(), False: set()}
    by_role = modules_by_role(profile)
    for target, rounds in picture.silent.items():
        module = profile.module_at(target)
        if module is not None:
            answers[module.id] = (0, rounds)
    for target, said in picture.modules.items():
        module = profile.module_at(target)
        if module is None:
            continue
        answers[module.id] = (said.answered, max(said.asked, said.answered))
        if said.volts is not None:
            volts[module.id] = said.volts
        if said.codes_read:
            readable.add(module.id)
        for entry in strongest(said):
            named = lost_module(entry.dtc)
            if named is None:
                codes[failing(entry) is not False].add((module.id, entry.dtc))
            else:
                lost = by_role.get(named.key)
                name = lost.id if lost else named.key
                testimonies.append(Testimony(module.id, name, entry.dtc, failing(entry)))
    return Seen(
        answers,
        frozenset(readable),
        tuple(testimonies),
        frozenset(codes[True]),
        frozenset(codes[False]),
        volts,
        picture.supply,
    )


def strongest(said: ModuleSaid) -> list[StoredCode]:
    """Each code once: its entry with a status, else the one of the freshest memory; typed before untyped."""
    best: dict[Dtc, StoredCode] = {}
    for entry in sorted(said.codes, key=_age):
        best.setdefault(entry.dtc, entry)
    typed = {dtc.number for dtc in best if dtc.failure_type is not None}
    return [e for dtc, e in best.items() if dtc.failure_type is not None or dtc.number not in typed]


def failing(entry: StoredCode) -> bool | None:
    """Failing at present; None where nothing tells. A permanent code outlives its fault (SAE J1979)."""
    return False if entry.status is None and entry.memory == PERMANENT else entry.now


def _age(entry: StoredCode) -> tuple[bool, bool]:
    return entry.status is None, entry.memory == PERMANENT


def modules_by_role(profile: Profile) -> dict[str, Module]:
    """The module for a role's key, with the role's other names where no module claims them."""
    exact = {module.role: module for module in profile.module}
    known = dict(exact)
    for role, module in exact.items():
        for alias in aliases_of(role):
            known.setdefault(alias, module)
    return known
