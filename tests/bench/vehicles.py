"""Vehicles drawn at random: feeds, fuses, relays, splices, connectors, modules, buses, circuits, sensors.

They are built from nothing but a seed, so that what is measured on them was not used while building. All
names are invented.
"""

from __future__ import annotations

import random
from typing import Any

from dtctriage.codes.network import codes_for_role, roles
from dtctriage.triage.hazards import RESTRAINT
from dtctriage.wiring.contradictions import contradictions
from dtctriage.wiring.profile import Profile

COLOURS = ("red", "brown", "white", "black", "violet", "grey", "yellow", "green")
CODES = [
    f"P{number:04X}" for number in (*range(0x0100, 0x0330), *range(0x0400, 0x04A0), *range(0x2100, 0x2200))
]
Table = dict[str, Any]


class _Draw:
    def __init__(self, seed: int, modules: int, circuits: int, sensors: int, buses: int) -> None:
        self.rng = random.Random(seed)
        self.tables: dict[str, list[Table]] = {
            name: [] for name in ("fuse", "relay", "switch", "splice", "ground", "connector", "module", "bus")
        }
        self.tables |= {"gateway": [], "circuit": [], "reference": [], "sensor": []}
        self._pins: dict[str, int] = {}
        self._codes = iter(self.rng.sample(CODES, len(CODES)))
        self._feeds()
        self._modules(modules, buses)
        for number in range(circuits):
            self._circuit(number)
        self._references()
        for number in range(sensors):
            self._sensor(number)

    def profile(self) -> Profile:
        name = {"make": "Drawn", "model": f"{self.rng.randrange(10_000)}"}
        profile = Profile.model_validate({"format": 1, "vehicle": name, **self.tables})
        problems = list(contradictions(profile))
        assert not problems, problems
        return profile

    # -- pieces -------------------------------------------------------------------------------------

    def _pin(self, connector: str) -> str:
        self._pins[connector] = self._pins.get(connector, 0) + 1
        return f"{connector}:{self._pins[connector]}"

    def _through(self, most: int = 2) -> list[str]:
        names = [item["id"] for item in self.tables["connector"]]
        chosen = self.rng.sample(names, self.rng.randint(0, min(most, len(names))))
        return [self._pin(name) for name in chosen]

    def _colour(self) -> str:
        return f"{self.rng.choice(COLOURS)}/{self.rng.choice(COLOURS)}"

    def _minutes(self, low: int, high: int) -> int:
        return self.rng.randint(low, high)

    def _add(self, table: str, **entry: Any) -> str:
        self.tables[table].append(entry)
        return str(entry["id"])

    def _feeds(self) -> None:
        rng = self.rng
        for number in range(rng.randint(4, 7)):
            self._add(
                "connector", id=f"X{number + 1}", minutes=self._minutes(3, 15), exposed=rng.random() < 0.3
            )
        self.grounds = [
            self._add("ground", id=f"G{number + 1}", minutes=self._minutes(3, 10))
            for number in range(rng.randint(3, 5))
        ]
        main = self._add("fuse", id="FM", **{"from": "battery"}, rating=150, minutes=2)
        key = self._add("switch", id="KEY", **{"from": main}, closed_in=["run", "start"], minutes=10)
        self.hot, self.switched = [main], [key]
        for number in range(rng.randint(2, 3)):
            coil = {"from": key, "ground": rng.choice(self.grounds), "ohms": rng.choice([70, 80, 90])}
            relay = self._add("relay", id=f"K{number + 1}", **{"from": main}, coil=coil, minutes=2)
            self.switched.append(relay)
        self.feeds: list[str] = []
        for number in range(rng.randint(8, 14)):
            source = rng.choice(self.switched if rng.random() < 0.7 else self.hot)
            fuse = self._add(
                "fuse", id=f"F{number + 1}", **{"from": source}, rating=rng.choice([15, 20, 30]), minutes=1
            )
            self.feeds.append(fuse)
        for number in range(rng.randint(2, 4)):
            splice = self._add(
                "splice", id=f"S{number + 1}", **{"from": rng.choice(self.feeds)}, through=self._through(1)
            )
            self.feeds.append(splice)

    def _modules(self, count: int, buses: int) -> None:
        rng = self.rng
        named = [key for key, role in roles().items() if codes_for_role(key).lost and role.group != RESTRAINT]
        chosen = rng.sample(named, count)
        ids = [f"M{number + 1}" for number in range(count)]
        lines: list[list[str]] = [[] for _ in range(buses)]
        for number, name in enumerate(ids):
            bus = 0 if number < 2 else rng.randrange(buses)
            on = list(range(buses)) if number == 0 else [bus]
            for place in on:
                lines[place].append(name)
        for number, name in enumerate(ids):
            mine = [place for place, line in enumerate(lines) if name in line]
            self._module(number, name, chosen[number], [f"B{place + 1}" for place in mine], lines, mine)
        for place, line in enumerate(lines):
            rng.shuffle(line)
            ends = [line[0], line[-1]]
            self._add("bus", id=f"B{place + 1}", line=line, terminated_in=ends)
        first = self.tables["bus"][0]
        first |= {"at_connector": rng.choice(first["line"]), "pins": [6, 14]}
        if buses > 1:
            self.tables["gateway"].append({"module": ids[0], "joins": [f"B{n + 1}" for n in range(buses)]})

    def _module(
        self, number: int, name: str, role: str, buses: list[str], lines: list[list[str]], mine: list[int]
    ) -> None:
        rng = self.rng
        partners = [other for other in lines[mine[0]] if other != name]
        supplies = rng.sample(self.feeds, rng.randint(1, 2))
        self._add(
            "module",
            id=name,
            role=role,
            request=0x700 + number,
            answer=0x780 + number,
            buses=buses,
            supply=[
                {"from": feed, "through": self._through(), "pin": f"C1:{n + 1}", "wire": self._colour()}
                for n, feed in enumerate(supplies)
            ],
            ground=[
                {"ground": rng.choice(self.grounds), "through": self._through(1), "pin": f"C1:{n + 5}"}
                for n in range(rng.randint(1, 2))
            ],
            hears=rng.sample(partners, min(len(partners), rng.randint(1, 3))),
            draws_ohms=rng.choice([25, 40, 60, 100]),
            minutes=self._minutes(5, 20),
            starts=number == 1,
        )

    def _owner(self) -> str:
        return str(self.rng.choice(self.tables["module"])["id"])

    def _own_pin(self, module: str) -> str:
        key = f"{module} C2"
        self._pins[key] = self._pins.get(key, 0) + 1
        return f"C2:{self._pins[key]}"

    def _codes_of(self, *kinds: str) -> dict[str, str]:
        ends = {"open": "13", "low": "11", "high": "12"}
        return {kind: f"{next(self._codes)}-{ends[kind]}" for kind in kinds}

    def _circuit(self, number: int) -> None:
        rng = self.rng
        module, driver = self._owner(), rng.choice(["low side", "high side", "two-sided", "push-pull"])
        ohms = rng.choice([4, 12, 25, 80])
        entry: Table = {
            "id": f"load {number + 1}",
            "module": module,
            "driver": driver,
            "driver_pin": self._own_pin(module),
            "driver_through": self._through(1),
            "driver_wire": self._colour(),
            "load": {"name": f"part {number + 1}", "ohms": ohms, "minutes": self._minutes(3, 15)},
            "codes": self._codes_of("open", "low", "high"),
        }
        if driver == "low side" or (driver == "push-pull" and rng.random() < 0.5):
            entry["feed"] = {
                "from": rng.choice(self.feeds),
                "through": self._through(1),
                "wire": self._colour(),
            }
        elif driver == "two-sided":
            entry |= {"second_pin": self._own_pin(module), "second_through": self._through(1)}
        else:
            entry |= {"ground": rng.choice(self.grounds), "ground_through": self._through(1)}
        self.tables["circuit"].append(entry)

    def _references(self) -> None:
        self.references: dict[str, list[str]] = {}
        for number, module in enumerate(self.rng.sample(self.tables["module"], 2)):
            name = module["id"]
            plus = self._add("reference", id=f"V{number + 1}", module=name, pin=self._own_pin(name))
            low = self._add("reference", id=f"L{number + 1}", module=name, pin=self._own_pin(name), volts=0)
            tied = self._add("splice", id=f"SV{number + 1}", **{"from": plus}, through=self._through(1))
            lows = self._add("splice", id=f"SL{number + 1}", **{"from": low}, through=self._through(1))
            self.references[name] = [tied, lows]

    def _sensor(self, number: int) -> None:
        rng = self.rng
        module = rng.choice(sorted(self.references))
        tied, low = self.references[module]
        kind = rng.choice(["three-wire", "three-wire", "two-wire"])
        entry: Table = {
            "id": f"sensor {number + 1}",
            "module": module,
            "kind": kind,
            "signal_pin": self._own_pin(module),
            "signal_through": self._through(1),
            "signal_wire": self._colour(),
            "ground": low,
            "return_through": self._through(1),
            "codes": self._codes_of("low", "high"),
            "minutes": self._minutes(3, 12),
        }
        if kind == "three-wire":
            entry["supply"] = {"from": tied, "through": self._through(1), "wire": self._colour()}
            entry["position"] = rng.choice([0.2, 0.4, 0.6])
        self.tables["sensor"].append(entry)


def drawn(seed: int, modules: int = 8, circuits: int = 4, sensors: int = 4, buses: int = 2) -> Profile:
    """A vehicle from a seed."""
    return _Draw(seed, modules, circuits, sensors, buses).profile()
