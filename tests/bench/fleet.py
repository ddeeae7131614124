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
- tracks of pedal and throttle: five and three layouts, one for all like vehicles, each sensor off by 1 %:
  common practice, and own estimate of how often which;
- actuators 2.5 % of their stroke, rail pressure 2.5 %, mixture 2 %: own estimate, no source;
- equipment: who has which PID, module and option: own estimate, no source;
- in-use counters: 10 km an ignition cycle in the middle, a few taxis with up to 160 and vans with half a
  kilometre; one gearbox module in twenty has rested for a while; one odometer in 200 is mistyped by a digit:
  own estimate, no source. What counts and where it begins again: 13 CCR 1968.2 (d)(4) and (5), from memory;
- codes were erased one to 36 months ago, at 400 to 2500 km a month: below a month it is no healthy vehicle
  but one erased lately. No code is stored: that would be a finding with reason.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from random import Random

from car import ENGINE, GEARBOX, SIGNS, Car, off, word
from engine_data import count, counters, measured, monitors

from dtctriage.link import BusActivity, BusProtocol, Framing, physical
from dtctriage.sweep.events import Stage
from dtctriage.sweep.picture import ModuleSaid, Picture, Trouble
from dtctriage.sweep.questions import Language
from dtctriage.triage.history import History, last_visit, like_vehicle
from dtctriage.triage.view import Told
from dtctriage.wiring.profile import Profile

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
MISHAP = 0.001
"""Share of vehicles in which a frame is lost on the way: a roll call unanswered, or an answer damaged."""


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
