"""What a sweep says in the words of a profile: which of its modules answered, testified, reported."""

from __future__ import annotations

from dataclasses import dataclass

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.network import aliases_of, lost_module
from dtctriage.sweep.picture import ModuleSaid, Picture, StoredCode
from dtctriage.wiring.profile import Module, Profile


@dataclass(frozen=True, slots=True)
class Testimony:
    """`witness` says that it does not hear `lost` (module ids, or a role's key where no module fits).

    `now`: the code's status says failing at present; False: history; None: the code carries no status.
    """

    witness: str
    lost: str
    code: Dtc
    now: bool | None


@dataclass(frozen=True, slots=True)
class Seen:
    """Evidence by module id. `answers`: (answered, asked) of the roll call; `volts`: own supply reading."""

    answers: dict[str, tuple[int, int]]
    readable: frozenset[str]
    testimonies: tuple[Testimony, ...]
    codes: frozenset[tuple[str, Dtc]]
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
    codes: set[tuple[str, Dtc]] = set()
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
                codes.add((module.id, entry.dtc))
            else:
                lost = by_role.get(named.key)
                testimonies.append(Testimony(module.id, lost.id if lost else named.key, entry.dtc, entry.now))
    return Seen(answers, frozenset(readable), tuple(testimonies), frozenset(codes), volts, picture.supply)


def strongest(said: ModuleSaid) -> list[StoredCode]:
    """Each number once: an entry with a status before one without, a failure type before none."""
    best: dict[int, StoredCode] = {}
    for entry in said.codes:
        known = best.get(entry.dtc.number)
        if known is None or (known.status is None and entry.status is not None):
            best[entry.dtc.number] = entry
    return list(best.values())


def modules_by_role(profile: Profile) -> dict[str, Module]:
    """The module for a role's key, with the role's other names where no module claims them."""
    exact = {module.role: module for module in profile.module}
    known = dict(exact)
    for role, module in exact.items():
        for alias in aliases_of(role):
            known.setdefault(alias, module)
    return known
