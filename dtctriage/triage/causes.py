"""Which code may follow from which, and how weighty a code is: the tables code_causes and code_ranks."""

from __future__ import annotations

from dataclasses import dataclass
from fnmatch import fnmatchcase
from functools import cache, lru_cache

from dtctriage.codes.dtc import Dtc
from dtctriage.codes.meaning import Meaning
from dtctriage.codes.network import ModuleRole, invalid_data_module, lost_module
from dtctriage.sweep.picture import ModuleSaid
from dtctriage.triage.ages import ages, distances
from dtctriage.triage.seen import failing, strongest
from dtctriage.triage.values import finding_limit
from dtctriage.triage.view import View
from dtctriage_reference import rows

ANY_CIRCUIT = "@circuit"
ENGINE = "engine_control_a"
Sides = tuple[frozenset[int], frozenset[int]]


@dataclass(frozen=True, slots=True)
class Coded:
    """A code where it stands: failing now, how many km ago, and the role of the module that holds it.

    `sides`: numbers of the rows of code_causes that it fits as a cause, and as an effect.
    """

    label: str
    dtc: Dtc
    told: Meaning
    sides: Sides
    now: bool | None = None
    km: float | None = None
    role: str = ""


def coded(view: View) -> list[Coded]:
    """Every code of the sweep once, as the sheet lists them."""
    when = distances(ages(view))
    return [
        Coded(
            label,
            entry.dtc,
            view.meaning(entry.dtc),
            _sides(view.meaning(entry.dtc)),
            failing(entry),
            when.get((label, entry.dtc.number)),
            _role(view, said),
        )
        for label, said in view.modules
        for entry in strongest(said)
    ]


def _role(view: View, said: ModuleSaid) -> str:
    module = view.profile.module_at(said.target) if view.profile else None
    return module.role if module else ENGINE if view.is_engine(said) else ""


@dataclass(frozen=True, slots=True)
class Rank:
    """A code's own weight, and why."""

    weight: float
    why: str


@lru_cache(maxsize=4096)
def rank_of(told: Meaning) -> Rank:
    """The first row of code_ranks that fits; its last one fits all."""
    row = next(row for row in rows("code_ranks") if _fits(told, row["subject"], row["kinds"]))
    return Rank(float(row["weight"]), row["why"])


def cause_of(effect: Coded, cause: Coded) -> str:
    """Why one code may follow from another; empty where it does not.

    A code in history causes nothing that fails now, and nothing follows from what came later.
    """
    both = cause.sides[0] & effect.sides[1]
    if not both or effect.dtc == cause.dtc or (cause.now is False and effect.now):
        return ""
    if None not in (effect.km, cause.km) and _earlier(effect, cause):
        return ""
    table = rows("code_causes")
    return next((table[n]["why"] for n in sorted(both) if _SCOPES[table[n]["scope"]](effect, cause)), "")


def _earlier(effect: Coded, cause: Coded) -> bool:
    return (effect.km or 0.0) - (cause.km or 0.0) > finding_limit("chain_km").value


@lru_cache(maxsize=4096)
def _sides(told: Meaning) -> Sides:
    """The rows that a code fits, found once for each code: a crowd of codes has very many pairs."""
    table = list(enumerate(rows("code_causes")))
    return (
        frozenset(n for n, row in table if _fits(told, row["cause_subject"], row["cause_kinds"])),
        frozenset(n for n, row in table if _fits(told, row["effect_subject"], row["effect_kinds"])),
    )


def _fits(told: Meaning, subjects: str, kinds: str) -> bool:
    if not any(fnmatchcase(told.subject, pattern) for pattern in subjects.split("|")):
        return False
    return any(_fits_kind(told.kind, kind) for kind in kinds.split())


def _fits_kind(kind: str, wanted: str) -> bool:
    if wanted == ANY_CIRCUIT:
        return kind in _circuit_kinds()
    return fnmatchcase(kind, wanted)


@cache
def _circuit_kinds() -> frozenset[str]:
    return frozenset(row["kind"] for row in rows("fault_kinds") if row["scope"] == "circuit")


# -- where both have to be ------------------------------------------------------------------------------


def _same_module(effect: Coded, cause: Coded) -> bool:
    return effect.label == cause.label


def _same_bank(effect: Coded, cause: Coded) -> bool:
    banks = {effect.told.place.bank, cause.told.place.bank}
    return effect.label == cause.label and len(banks - {None}) <= 1


def _same_cylinder(effect: Coded, cause: Coded) -> bool:
    one = _cylinder(effect.told)
    return effect.label == cause.label and one is not None and one == _cylinder(cause.told)


def _cylinder(told: Meaning) -> int | None:
    """The cylinder a code names; coils A, B, ... belong to cylinders 1, 2, ... (common practice)."""
    place = told.place
    if place.cylinder is not None:
        return place.cylinder
    return ord(place.item) - ord("A") + 1 if len(place.item) == 1 and place.item.isalpha() else None


def _names_its_module(effect: Coded, cause: Coded) -> bool:
    named: ModuleRole | None = invalid_data_module(effect.dtc) or lost_module(effect.dtc)
    return named is not None and named.key == cause.role and effect.label != cause.label


def _anywhere(effect: Coded, cause: Coded) -> bool:
    return True


_SCOPES = {
    "module": _same_module,
    "vehicle": _anywhere,
    "bank": _same_bank,
    "cylinder": _same_cylinder,
    "named": _names_its_module,
}
