"""Healthy simulated vehicles with noise, drift and unequal equipment, as a sweep hears them.

Nothing here knows the limits of the rules that are tried on them. Where the figures come from:

- bytes: the formulas of SAE J1979, written out anew;
- pressure sensors 1.5 % of their range, thermistors 2 K: data sheets of such sensors, from memory;
- voltage: modules 2 % of the reading, adapters 2 %, one in ten 6 %; harness drop up to 0.3 V in all (0.1 V
  each for connection, fuse and ground: trade schools); battery at rest 12.06 to 12.75 V less 0.1 to 0.5 V of
  load; charging 13.5 to 14.8 V, smart charging 12.2 to 15.0 V: common practice;
- cooling down: an exponential of 1.5 to 3.5 hours from 90 degC, sun of up to 8 K on outside sensors:
  textbooks and own estimate, from memory;
- one sensor or meter in ten is aged and off by up to twice as much; in one vehicle of a thousand a frame is
  lost on the way: own estimate, no source;
- actuators 2.5 % of their stroke, rail pressure 2.5 %, mixture 2 %: own estimate, no source;
- equipment: who has which PID, module and option: own estimate, no source;
- in-use counters: 10 km an ignition cycle in the middle, a few taxis with up to 160 and vans with half a
  kilometre; one gearbox module in twenty has rested for a while; one odometer in 200 is mistyped by a digit:
  own estimate, no source. What counts and where it begins again: 13 CCR 1968.2 (d)(4) and (5), from memory;
- codes were erased one to 36 months ago, at 400 to 2500 km a month: below a month it is no healthy vehicle
  but one erased lately. No code is stored: that would be a finding with reason.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from math import exp, log
from random import Random

from dtctriage.link import BusActivity, BusProtocol, Framing, physical
from dtctriage.services.j1979_info import IN_USE_COMPRESSION, IN_USE_SPARK, counter_name
from dtctriage.services.readiness import Readiness
from dtctriage.sweep.events import Stage
from dtctriage.sweep.picture import ModuleSaid, Picture, Trouble
from dtctriage.sweep.questions import Language
from dtctriage.triage.history import History, last_visit, like_vehicle
from dtctriage.triage.view import Told
from dtctriage.wiring.profile import Profile

ENGINE, GEARBOX = 0x7E0, 0x7E1
BODY = (
    0x700,
    0x708,
    0x710,
    0x714,
    0x718,
    0x720,
    0x726,
    0x730,
    0x733,
    0x736,
    0x740,
    0x746,
    0x750,
    0x760,
    0x770,
)
"""Addresses of invented vehicles."""
SIGNS = "ABCDEFGHJKLMNPRSTUVWXYZ0123456789"
SPARK = (
    "catalyst",
    "evaporative",
    "oxygen sensor",
    "oxygen sensor heater",
    "EGR and/or VVT",
    "secondary air",
)
DIESEL = (
    "NMHC catalyst",
    "NOx/SCR aftertreatment",
    "boost pressure",
    "exhaust gas sensor",
    "particulate filter",
)
ALWAYS_RUN = ("misfire", "fuel system", "components")


@dataclass
class Car:
    """A vehicle on the bench. `soak`: hours it has stood; `ambient`: degC around it."""

    picture: Picture
    vin: str
    diesel: bool
    running: bool
    soak: float
    ambient: float
    told: Told = field(default_factory=Told)
    history: History | None = None
    profile: Profile | None = None
    layout: int = 0
    """A seed for what like vehicles share: how their maker lays out tracks."""

    @property
    def modules(self) -> list[ModuleSaid]:
        return list(self.picture.modules.values())

    def at(self, request: int) -> ModuleSaid | None:
        return next((said for said in self.modules if said.target.request == request), None)

    @property
    def engine(self) -> ModuleSaid:
        found = self.at(ENGINE)
        assert found is not None
        return found


# -- bytes, by SAE J1979 ----------------------------------------------------------------------------------


AGED = 0.1
"""Share of sensors and meters that have drifted."""
MISHAP = 0.001
"""Share of vehicles in which a frame is lost on the way: a roll call unanswered, or an answer damaged."""


def byte(value: float) -> bytes:
    return bytes([max(0, min(254, round(value)))])


def word(value: float) -> bytes:
    return max(0, min(0xFFFE, round(value))).to_bytes(2, "big")


def percent(value: float) -> bytes:
    return byte(value * 255 / 100)


def degrees(value: float) -> bytes:
    return byte(value + 40)


def off(rng: Random, value: float, share: float, span: float | None = None) -> float:
    """A reading that is wrong by up to `share` percent of its value or of a range, an aged one by twice."""
    worst = 2 * share if rng.random() < AGED else share
    return value + rng.uniform(-1, 1) * worst / 100 * (value if span is None else span)


# -- identity ---------------------------------------------------------------------------------------------


def new_vin(rng: Random) -> str:
    """An invented VIN; with its check digit where that binds (49 CFR 565, GB 16735), else any sign there."""
    values = {
        sign: int(digit)
        for sign, digit in zip("ABCDEFGHJKLMNPRSTUVWXYZ", "12345678123457923456789", strict=True)
    }
    weights = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
    american = rng.random() < 0.6
    head = rng.choice("12345") if american else rng.choice("JKLSTVWXYZ")
    body = [
        head,
        *(rng.choice(SIGNS) for _ in range(8)),
        rng.choice("ABCDEFGHJKLMNPRSTVWXY"),
        rng.choice(SIGNS),
    ]
    body += list(f"{rng.randrange(1_000_000):06d}")
    body[6] = rng.choice("ABCDEFGH")
    total = sum(
        values.get(sign, int(sign) if sign.isdigit() else 0) * w
        for sign, w in zip(body, weights, strict=True)
    )
    if american or head == "L":
        body[8] = "X" if total % 11 == 10 else str(total % 11)
    return "".join(body)


def name_module(rng: Random, said: ModuleSaid, vin: str, pattern: Random) -> None:
    """VIN, calibration and part number; calibrations are the same in like vehicles of one software."""
    if said.target.request == ENGINE or rng.random() < 0.7:
        said.vins["service 09" if said.target.request in range(0x7E0, 0x7E8) else "identifier F190"] = vin
    if said.target.request in (ENGINE, GEARBOX):
        software = pattern.randrange(100_000)
        name = f"CAL-{said.target.request:X}-{software}".encode().ljust(16, b"\0")
        said.info = {0x04: (name,), 0x06: (Random(software).randbytes(4),)}
    if rng.random() < 0.6:
        said.identity["part number"] = f"{pattern.randrange(100_000)}-{rng.choice('AB')}"
    if rng.random() < 0.6:
        said.identity["software version"] = f"{pattern.randrange(1, 40)}.{rng.randrange(4)}"


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


# -- the whole vehicle -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Pattern:
    """What like vehicles share. `options`: address and the share of them that has it."""

    seed: int
    diesel: bool
    electric: bool
    always: tuple[int, ...]
    options: tuple[tuple[int, float], ...]

    def fitted(self, rng: Random) -> list[int]:
        return [*self.always, *(at for at, share in self.options if rng.random() < share)]


def new_pattern(rng: Random) -> Pattern:
    electric = rng.random() < 0.06
    drive = [] if electric else [ENGINE, *([GEARBOX] if rng.random() < 0.65 else [])]
    body = rng.sample(BODY, rng.randint(4, 12))
    count = rng.randint(0, min(4, len(body) - 3))
    options = tuple((at, rng.uniform(0.05, 0.95)) for at in body[:count])
    return Pattern(rng.randrange(1 << 30), rng.random() < 0.3, electric, (*drive, *body[count:]), options)


def silent_car(rng: Random, pattern: Pattern) -> Car:
    """A vehicle's state and its picture without modules."""
    running = rng.random() < 0.25 and not pattern.electric
    soak = 0.0 if running else rng.choice((rng.uniform(0.1, 8), rng.uniform(8, 72)))
    told = Told(soak_hours=soak if not running and rng.random() < 0.4 else None)
    picture = Picture(
        adapter="bench",
        protocol=BusProtocol.CAN11_500,
        activity=BusActivity(0.3, {0x100: 30, 0x200: 15}, 0, True),
        rounds=3,
        stage=Stage.TESTS,
        finished=True,
    )
    ambient = max(-25.0, min(40.0, rng.gauss(12, 10)))
    vin = new_vin(rng)
    return Car(picture, vin, pattern.diesel, running, soak, ambient, told, layout=pattern.seed)


def supply(rng: Random, car: Car) -> float:
    """Battery voltage across its posts; pin 16 as the adapter shows it goes into the picture."""
    if car.running:
        volts = rng.uniform(12.2, 15.0) if rng.random() < 0.2 else rng.uniform(13.5, 14.8)
    else:
        volts = rng.uniform(12.06, 12.75) - rng.uniform(0.1, 0.5)
    if rng.random() < 0.9:
        car.picture.supply = round(off(rng, volts, 6 if rng.random() < 0.1 else 2), 1)
    return volts


def healthy(rng: Random, pattern: Pattern | None = None, with_history: bool = True) -> Car:
    """One vehicle in which nothing is wrong."""
    pattern = pattern or new_pattern(rng)
    car = silent_car(rng, pattern)
    volts = supply(rng, car)
    months = rng.uniform(1, 36)
    since = (months, months * rng.uniform(400, 2500))
    for at in sorted(pattern.fitted(rng)):
        said = module(rng, car, at, volts, since)
        name_module(rng, said, car.vin, Random(pattern.seed + at))
        car.picture.modules[said.target] = said
    count(Random(f"in use {car.vin}"), car, since)
    asked = set(range(0x7E0, 0x7E8)) | ({at for at, _ in pattern.options} if rng.random() < 0.6 else set())
    for at in sorted(asked - {target.request for target in car.picture.modules}):
        car.picture.silent[physical(Framing.CAN11, at)] = 3
    if with_history:
        mishaps(rng, car)
    if with_history and rng.random() < 0.5:
        car.history = history(rng, pattern, car)
    return car


def mishaps(rng: Random, car: Car) -> None:
    """What the way to the tester does to a healthy vehicle now and then."""
    said = rng.choice(car.modules)
    if rng.random() < MISHAP:
        said.answered -= 1
    if rng.random() < MISHAP:
        said.troubles.append(Trouble(b"\x19\x02\xaf", "frame 2 of 3 is missing", b"\x59"))


def profiled(rng: Random, profile: Profile) -> Car:
    """A healthy vehicle of a profile: its own modules, each with what a module at such an address tells."""
    pattern = Pattern(0, False, False, tuple(item.request for item in profile.module), ())
    car = healthy(rng, pattern, False)
    answers = {item.request: item.target for item in profile.module}
    for said in car.modules:
        del car.picture.modules[said.target]
        said.target = answers[said.target.request]
        car.picture.modules[said.target] = said
    car.profile = profile
    return car


def module(rng: Random, car: Car, at: int, volts: float, since: tuple[float, float]) -> ModuleSaid:
    target = physical(Framing.CAN11, at)
    said = ModuleSaid(target, target.answer or at + 8, 3, 3, {Language.UDS}, codes_read=True)
    if at == ENGINE:
        said.languages.add(Language.J1979)
        said.data, said.readiness = measured(rng, car, since), monitors(rng, car)
    elif at == GEARBOX:
        said.languages.add(Language.J1979)
        apart = rng.uniform(1, 40) if rng.random() < 0.1 else 1.0
        counted = counters(rng, since[0] * apart, since[1] * apart)
        said.data = counted | {0x0D: b"\x00"} if rng.random() < 0.6 else {}
    if rng.random() < (0.9 if at == ENGINE else 0.6 if at == GEARBOX else 0.3):
        said.volts = round(off(rng, volts - rng.uniform(0, 0.3), 2), 3)
        said.data[0x42] = word(1000 * said.volts)
    return said


def history(rng: Random, pattern: Pattern, car: Car) -> History:
    """Up to 40 like vehicles, and perhaps the vehicle's own last visit."""
    vehicles = [like_vehicle(healthy(rng, pattern, False).picture) for _ in range(rng.randint(0, 40))]
    own = last_visit(car.picture, "2024-03-01") if rng.random() < 0.4 else None
    if own is not None:
        since = Random(f"last visit {car.vin}").uniform(0.3, 1.0)
        fewer = {target: round(cycles * since) for target, cycles in own.ignition_cycles.items()}
        own = replace(own, ignition_cycles=fewer)
    return History("like", tuple(vehicles), own)
