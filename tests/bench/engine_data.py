"""What a healthy engine module measures and counts. Where the figures come from: `fleet.py`."""

from __future__ import annotations

from dataclasses import replace
from math import exp, log
from random import Random

from car import ALWAYS_RUN, DIESEL, ENGINE, GEARBOX, SPARK, Car, byte, degrees, off, percent, word

from dtctriage.services.j1979_info import IN_USE_COMPRESSION, IN_USE_SPARK, counter_name
from dtctriage.services.readiness import Readiness

# -- what an engine module measures ------------------------------------------------------------------------


def cooled(rng: Random, car: Car, hours: tuple[float, float]) -> float:
    """A temperature after the soak, by Newton's law of cooling."""
    warm = car.ambient + (90 - car.ambient) * exp(-car.soak / rng.uniform(*hours))
    return off(rng, warm, 2, 100)


def temperatures(rng: Random, car: Car) -> dict[int, bytes]:
    sun = rng.uniform(0, 8) if rng.random() < 0.3 else 0.0
    ambient = off(rng, car.ambient + sun, 2, 100)
    if car.running:
        hot = rng.uniform(82, 100)
        return {
            0x05: degrees(hot),
            0x0F: degrees(ambient + rng.uniform(0, 30)),
            0x46: degrees(ambient),
            0x5C: degrees(hot + rng.uniform(-5, 10)),
        }
    return {
        0x05: degrees(cooled(rng, car, (1.5, 3.0))),
        0x0F: degrees(cooled(rng, car, (1.0, 2.5))),
        0x46: degrees(ambient),
        0x5C: degrees(cooled(rng, car, (2.0, 3.5))),
    }


def rail_pressure(rng: Random, car: Car) -> float:
    """kPa: of a running engine at idle, else what is left of it after the soak."""
    return rng.uniform(25_000, 45_000) if car.running else rng.uniform(0, 8_000) * exp(-car.soak / 2)


def pressures(rng: Random, car: Car) -> dict[int, bytes]:
    air = max(70.0, min(104.0, rng.gauss(98, 4)))
    span = 250 if car.diesel or rng.random() < 0.4 else 105
    intake = air if not car.running or car.diesel else rng.uniform(28, 45)
    found = {0x0B: byte(off(rng, intake, 1.5, span)), 0x33: byte(off(rng, air, 1.5, 115))}
    if rng.random() < 0.005:
        found[0x33] = b"\x00"
    if car.diesel or rng.random() < 0.5:
        found[0x23] = word(off(rng, rail_pressure(rng, car), 1.5, 20_000) / 10)
    return found


def tracks(rng: Random, car: Car) -> dict[int, bytes]:
    """Pedal and throttle tracks in the layouts that are usual; one foot in twenty rests on the pedal.

    A layout is its maker's, so like vehicles share it.
    """
    maker = Random(car.layout)
    foot = rng.uniform(5, 60) if rng.random() < 0.05 else 0.0
    pedal = rng.uniform(12, 20) + foot
    second = maker.choice((pedal, pedal / 2, 100 - pedal, pedal + maker.uniform(3, 10), pedal + 16))
    flap = rng.uniform(12, 22)
    other = maker.choice((flap, 100 - flap, flap + maker.uniform(28, 36)))
    rest = rng.uniform(0, 18)
    relative = rng.uniform(0, 6) + foot / 3
    return {
        0x49: percent(off(rng, pedal, 1, 100)),
        0x4A: percent(off(rng, second, 1, 100)),
        0x11: percent(off(rng, flap, 1, 100)),
        0x47: percent(off(rng, other, 1, 100)),
        0x45: percent(off(rng, relative, 1, 100)),
        0x4C: percent(off(rng, relative + rest, 1, 100)),
    }


def actuators(rng: Random, car: Car) -> dict[int, bytes]:
    """Commanded and actual values."""

    def pair(low: float, high: float) -> bytes:
        asked = rng.uniform(low, high)
        return percent(asked) + percent(rng.gauss(asked, 2.5))

    recirculated = rng.uniform(5, 40) if rng.random() < 0.4 else 0.0
    found = {
        0x2C: percent(recirculated),
        0x2D: byte((rng.gauss(0, 8) if recirculated else 0.0) * 128 / 100 + 128),
        0x6C: b"\x03" + pair(3, 15) + bytes(2),
        0x61: byte(125 + rng.uniform(0, 5)),
        0x62: byte(125 + rng.uniform(8, 20)),
    }
    if car.diesel:
        rail, boost = rail_pressure(rng, car), rng.uniform(98, 115)
        asked = rail if car.running else 30_000
        found |= {
            0x6D: b"\x03" + word(asked / 10) + word(rng.gauss(rail, rail * 0.025) / 10) + bytes(6),
            0x70: b"\x03" + word(boost * 32) + word(rng.gauss(boost, 4) * 32) + bytes(5),
            0x71: b"\x03" + pair(40, 90) + bytes(3),
            0x6A: b"\x03" + pair(5, 95) + bytes(2),
        }
    else:
        found |= {
            0x03: b"\x02\x00" if car.running else b"\x01\x00",
            0x44: word(32768),
            rng.choice((0x24, 0x34)): word(32768 * rng.gauss(1, 0.02)) + b"\x40\x00",
        }
    return found


HAVE = {
    0x0B: 0.75, 0x33: 0.9, 0x46: 0.8, 0x5C: 0.35, 0x0F: 0.97, 0x30: 0.97, 0x31: 0.97, 0x4E: 0.7, 0x49: 0.85,
    0x4A: 0.85, 0x47: 0.8, 0x45: 0.8, 0x4C: 0.8, 0x44: 0.85, 0x24: 0.9, 0x34: 0.9, 0x2C: 0.5, 0x2D: 0.4,
    0x23: 0.8, 0x6C: 0.2, 0x61: 0.4, 0x62: 0.4, 0xA6: 0.3, 0x6D: 0.8, 0x70: 0.7, 0x71: 0.6, 0x6A: 0.4,
}  # fmt: skip
"""Share of engine modules that have a PID; the others have it always."""


def counters(rng: Random, months: float, km: float) -> dict[int, bytes]:
    """Warm-ups, distance and engine time since codes were erased."""
    return {
        0x30: byte(min(254, months * rng.uniform(20, 60))),
        0x31: word(min(65534, km)),
        0x4E: word(min(65534, km / rng.uniform(25, 60) * 60)),
    }


def measured(rng: Random, car: Car, since: tuple[float, float]) -> dict[int, bytes]:
    """All data of an engine module; one value in a hundred is FF throughout: not available."""
    months, km = since
    started = rng.uniform(20, 3000) if car.running else (rng.uniform(5, 900) if rng.random() < 0.2 else 0.0)
    data = {
        0x0C: word(4 * rng.uniform(600, 950) if car.running else 0),
        0x1F: word(started),
        0x0D: b"\x00",
        **counters(rng, months, km),
        0xA6: round(10 * (km + rng.uniform(0, 200_000))).to_bytes(4, "big"),
    }
    data |= temperatures(rng, car) | pressures(rng, car) | tracks(rng, car) | actuators(rng, car)
    kept = {pid: raw for pid, raw in data.items() if rng.random() < HAVE.get(pid, 1.0)}
    return {pid: b"\xff" * len(raw) if rng.random() < 0.01 else raw for pid, raw in kept.items()}


def monitors(rng: Random, car: Car) -> Readiness:
    """Most are complete; the evaporative one waits for the weather."""
    names = [name for name in (DIESEL if car.diesel else SPARK) if rng.random() < 0.85]
    waiting = {name for name in names if rng.random() < (0.15 if name == "evaporative" else 0.03)}
    return Readiness.of(False, 0, car.diesel, (*ALWAYS_RUN, *names), {*ALWAYS_RUN, *names} - waiting)


# -- in-use counters ---------------------------------------------------------------------------------------


def in_use(rng: Random, cycles: float, diesel: bool) -> dict[str, int]:
    """Counters of a module that has seen so many ignition cycles: that one begins again, the others halve."""
    info = IN_USE_COMPRESSION if diesel else IN_USE_SPARK
    names = [counter_name(info, place) for place in range(18 if diesel else 16)]
    driven = cycles * rng.uniform(0.2, 0.8)
    found = {names[0]: round(driven) % 0x10000, names[1]: round(cycles) % 0x10000}
    for completed, met in zip(names[2::2], names[3::2], strict=True):
        conditions = driven * rng.uniform(0.5, 1.0) if rng.random() < 0.6 else 0.0
        while conditions > 0xFFFE:
            conditions /= 2
        found |= {met: round(conditions), completed: round(conditions * rng.uniform(0.1, 1.0))}
    return found


def km_a_cycle(rng: Random) -> float:
    """How far the vehicle goes with the key on once, on average over its life."""
    kind = rng.random()
    if kind < 0.04:
        return rng.uniform(0.5, 2) if kind < 0.02 else rng.uniform(80, 160)
    return max(1.0, min(100.0, rng.lognormvariate(log(10), 0.8)))


def count(rng: Random, car: Car, since: tuple[float, float]) -> None:
    """Fill the counters of the modules that have them, and what the order says of the odometer."""
    engine = car.at(ENGINE)
    if engine is None:
        return
    told = engine.data.get(0xA6, b"\xff")
    km = (
        since[1] + rng.uniform(0, 200_000) if told.strip(b"\xff") == b"" else int.from_bytes(told, "big") / 10
    )
    cycles = km / km_a_cycle(rng)
    if rng.random() < 0.5:
        typed = rng.choice((0.1, 10)) if rng.random() < 0.005 else 1
        car.told = replace(car.told, odometer=round(km * typed + rng.uniform(-9, 9)))
    if rng.random() < 0.85:
        engine.counters = in_use(rng, cycles, car.diesel)
    gearbox = car.at(GEARBOX)
    if gearbox is not None and rng.random() < 0.4:
        counted = rng.uniform(0.6, 1.0) if rng.random() < 0.05 else rng.uniform(0.98, 1.0)
        gearbox.counters = in_use(rng, cycles * counted, car.diesel)
