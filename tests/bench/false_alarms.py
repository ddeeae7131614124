"""False alarms on healthy vehicles, and planted faults found, for each rule. Target: 1 % of vehicles flagged.

Healthy vehicles are those of `fleet.py`, nine in ten without a profile and one in ten with the demo's; what
is planted stands in `planted.py`. Seeds are fixed, so a figure changes only with the program.
"""

from __future__ import annotations

from collections import Counter
from functools import cache
from pathlib import Path
from random import Random

from fleet import Car, healthy, profiled
from planted import PLANTS, WITH_GEARBOX, WITH_PROFILE, base

from dtctriage.triage.model import Finding
from dtctriage.triage.rules import ALL, Rule
from dtctriage.triage.seen import seen_by
from dtctriage.triage.tables import source_words
from dtctriage.triage.view import Ledger, View
from dtctriage.wiring.profile import Profile
from dtctriage.wiring.profile_file import load_profile
from dtctriage_reference import rows as table

NUMBER = 1000
DEMO = Path(__file__).resolve().parents[2] / "demo" / "kavo.vehicle.toml"
NAMES = {rule.__module__.rpartition(".")[2]: rule for rule in ALL}


@cache
def demo_profile() -> Profile:
    return load_profile(DEMO)


def view_of(car: Car) -> View:
    seen = seen_by(car.picture, car.profile) if car.profile else None
    return View(car.picture, car.profile, seen, None, Ledger(), car.history, car.told)


def speaks(rule: Rule, car: Car) -> bool:
    """Whether a rule has a finding."""
    return any(isinstance(verdict, Finding) for verdict in rule(view_of(car)))


def healthy_car(seed: int) -> Car:
    rng = Random(seed)
    return profiled(rng, demo_profile()) if seed % 10 == 9 else healthy(rng)


def flagged(number: int = NUMBER) -> tuple[Counter[str], int]:
    """How many healthy vehicles each rule speaks of, and of how many any rule does."""
    each: Counter[str] = Counter()
    vehicles = 0
    for seed in range(number):
        car = healthy_car(seed)
        named = [name for name, rule in NAMES.items() if speaks(rule, car)]
        each.update(named)
        vehicles += bool(named)
    return each, vehicles


def found(name: str, number: int = NUMBER) -> int:
    """How many planted faults of its kind a rule finds."""
    count = 0
    for seed in range(number):
        rng = Random(f"{name} {seed}")
        car = profiled(rng, demo_profile()) if name in WITH_PROFILE else base(rng, name in WITH_GEARBOX)
        PLANTS[name](rng, car)
        count += speaks(NAMES[name], car)
    return count


def rows() -> list[dict[str, object]]:
    """One row a rule: its source, healthy vehicles flagged, planted faults found; first the sum."""
    each, vehicles = flagged()
    sources = {row["rule"]: source_words(row["source"]) for row in table("rules")}
    result: list[dict[str, object]] = [{"what": "any rule", "healthy flagged": vehicles, "of": NUMBER}]
    for name in NAMES:
        result.append(
            {
                "what": name,
                "source": sources[name],
                "healthy flagged": each[name],
                "planted found": found(name),
                "of": NUMBER,
            }
        )
    return result


if __name__ == "__main__":
    for row in rows():
        print(row)
