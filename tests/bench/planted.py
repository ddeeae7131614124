"""Faults planted into healthy simulated vehicles, one kind for each rule.

Magnitudes are drawn from what such faults do, not from what the rules allow: a bad ground of 0.03 to 0.5 ohm
under 10 A, a sensor that is off by anything, few or many like vehicles on record. So no rule can find all of
them, and the share it finds says something. Figures without another source are own estimates.

What the rules miss most, and why they cannot do better: a contact that makes in all three roll calls; a wrong
sign in a VIN whose ninth place is free; a track in a layout that is usual, without records of like vehicles;
a module that told no name at either visit; a weak battery that no module names; a few kPa, which two sound
sensors differ by.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from math import exp
from random import Random

from car import DIESEL, GEARBOX, SIGNS, SPARK, Car, byte, degrees, percent, word
from engine_data import in_use, tracks
from fleet import healthy, new_pattern, new_vin
from planted_codes import (
    NOW,
    anyone,
    both_banks,
    bus_codes,
    codes_not_read,
    damaged_answers,
    history_of_loss,
    low_supply_crowd,
    order_in_time,
    permanent_left,
    shared_circuit,
    speaking_after_all,
    stops_vehicle,
    store,
)

from dtctriage.link import BusActivity, NoticeKind
from dtctriage.services.definitions import DataDefinition, Definitions
from dtctriage.services.readiness import Readiness
from dtctriage.services.readings import Signal
from dtctriage.sweep.events import NoticeGiven
from dtctriage.sweep.picture import ModuleSaid
from dtctriage.triage.history import History, last_visit, like_vehicle
from dtctriage.triage.view import Engine, Told

Plant = Callable[[Random, Car], None]


def at_rest(rng: Random, car: Car) -> None:
    """Make the state known: engine off, long enough, and told."""
    car.engine.data |= {0x0C: b"\0\0", 0x1F: b"\0\0"}
    gearbox = car.at(GEARBOX)
    if gearbox is not None:
        gearbox.data.pop(0x0C, None)
    car.told = Told(soak_hours=max(8.0, car.soak), engine=Engine.OFF)


# -- bus and supply -----------------------------------------------------------------------------------------


def low_supply(rng: Random, car: Car) -> None:
    volts = rng.uniform(6.5, 10.5)
    car.picture.supply = round(volts, 1) if car.picture.supply is not None else None
    for said in car.modules:
        said.volts = volts * rng.uniform(0.98, 1.02) if said.volts else None


def supply_apart(rng: Random, car: Car) -> None:
    """A ground or feed of 0.03 to 0.5 ohm under the 10 A of an engine module at work."""
    said = rng.choice([said for said in car.modules if said.volts] or [car.engine])
    if said.volts:
        said.volts -= 10 * rng.uniform(0.03, 0.5)


def charging(rng: Random, car: Car) -> None:
    """No charging at all, or a regulator that lets go; the engine runs."""
    volts = rng.choice((rng.uniform(10.5, 12.3), rng.uniform(15.2, 17.5)))
    car.engine.data[0x0C] = word(4 * 750)
    car.picture.supply = volts if car.picture.supply else None
    for said in car.modules:
        said.volts = volts * rng.uniform(0.98, 1.02) if said.volts else None


def notices(rng: Random, car: Car) -> None:
    kind = rng.choice([k for k in NoticeKind if k is not NoticeKind.NO_ANSWER])
    car.picture.notices.append(NoticeGiven(None, kind, kind.value, ""))


def bus_quiet(rng: Random, car: Car) -> None:
    car.picture.modules.clear()
    frames = rng.choice(({}, {0x100: 5}))
    car.picture.activity = BusActivity(0.3, frames, rng.choice((0, 12)), rng.random() < 0.9)


def unsteady(rng: Random, car: Car) -> None:
    """A contact that makes now and then: three roll calls see it or not."""
    makes = rng.uniform(0.1, 0.95)
    anyone(rng, car).answered = max(1, sum(rng.random() < makes for _ in range(3)))


# -- identity and history -----------------------------------------------------------------------------------


def vin_absent(rng: Random, car: Car) -> None:
    car.engine.vins.clear()


def vin_differs(rng: Random, car: Car) -> None:
    """A module that holds a VIN comes from another vehicle."""
    said = rng.choice([said for said in car.modules if said.vins])
    said.vins = dict.fromkeys(said.vins, new_vin(rng))


def vin_doubtful(rng: Random, car: Car) -> None:
    """One sign of the engine's VIN was mistyped when it was programmed."""
    place = rng.randrange(17)
    wrong = rng.choice([sign for sign in SIGNS if sign != car.vin[place]])
    car.engine.vins = dict.fromkeys(car.engine.vins, car.vin[:place] + wrong + car.vin[place + 1 :])


def _fleet(rng: Random, car: Car) -> None:
    """Records of like vehicles, none to forty, that have what this one has."""
    if car.history is None:
        car.history = History("like", tuple(like_vehicle(car.picture) for _ in range(rng.randint(0, 40))))


def expected_by_history(rng: Random, car: Car) -> None:
    _fleet(rng, car)
    said = rng.choice([said for said in car.modules if said is not car.engine])
    del car.picture.modules[said.target]
    car.picture.silent[said.target] = 3


def calibration_differs(rng: Random, car: Car) -> None:
    _fleet(rng, car)
    car.engine.info[0x06] = (rng.randbytes(4),)


def changed_since(rng: Random, car: Car) -> None:
    """A module was swapped with another vehicle's, replaced by a new one, or programmed.

    A new part has another part number or an index more half of the time, and mostly later software.
    """
    car.history = History("like", (), last_visit(car.picture, "2024-03-01"))
    said = anyone(rng, car)
    swapped, programmed = (kind := rng.randrange(3)) == 0, kind == 2
    if swapped and said.vins:
        said.vins = dict.fromkeys(said.vins, new_vin(rng))
    if not programmed and "part number" in said.identity and rng.random() < 0.5:
        said.identity["part number"] += "1"
    if programmed or rng.random() < 0.7:
        if "software version" in said.identity:
            said.identity["software version"] += "1"
        if 0x04 in said.info:
            said.info = {0x04: (b"CAL-NEW",), 0x06: (rng.randbytes(4),)}


def _marked(said: ModuleSaid, means: str, unit: str, value: float) -> None:
    """As if a profile laid out an identifier of this module."""
    signal = Signal(means, 0, 4, False, Fraction(1), Fraction(0), unit, means=means)
    said.definitions = Definitions({0x3A01: DataDefinition(means, 4, (signal,))})
    said.identifiers[0x3A01] = round(value).to_bytes(4, "big")


def odometers_differ(rng: Random, car: Car) -> None:
    """A cluster from another vehicle."""
    one, other = rng.sample(car.modules, 2)
    _marked(one, "odometer", "km", rng.uniform(5_000, 250_000))
    _marked(other, "odometer", "km", rng.uniform(5_000, 250_000))


def clocks_differ(rng: Random, car: Car) -> None:
    """A module lost its supply between a minute and a month ago."""
    one, other = rng.sample(car.modules, 2)
    _marked(one, "clock", "s", 1e8)
    _marked(other, "clock", "s", 1e8 - 60 * 43_200 ** rng.random())


def erased_lately(rng: Random, car: Car) -> None:
    """Erased within the last 300 km; monitors come back after some 80 km each."""
    km = rng.uniform(0, 300)
    for said in car.modules:
        said.data |= {0x31: word(km)} if 0x31 in said.data else {}
    engine = car.engine
    engine.data |= {
        pid: raw for pid, raw in ((0x30, byte(km / 15)), (0x4E, word(km * 2))) if pid in engine.data
    }
    names = [name for name in (DIESEL if car.diesel else SPARK) if rng.random() < 0.85]
    ran = {name for name in names if rng.random() > exp(-km / 80)}
    engine.readiness = Readiness.of(False, 0, car.diesel, names, ran)


def erased_apart(rng: Random, car: Car) -> None:
    """A gearbox module that was replaced lately; it counts what it counted before, at least distance."""
    gearbox = car.at(GEARBOX)
    assert gearbox is not None
    km = rng.uniform(0, 300)
    fresh = {0x31: word(km), 0x30: byte(km / 15), 0x4E: word(km * 2)}
    gearbox.data |= {pid: fresh[pid] for pid in fresh if pid == 0x31 or pid in gearbox.data}


def counters_restarted(rng: Random, car: Car) -> None:
    """A module was replaced or programmed within some 1,500 cycles, or comes from another vehicle."""
    if car.history is None and rng.random() < 0.3:
        car.history = History("like", (), last_visit(car.picture, "2024-03-01"))
    said = rng.choice([said for said in car.modules if said.counters] or [car.engine])
    said.counters = in_use(
        rng, rng.uniform(100, 30_000) if rng.random() < 0.3 else 1500 ** rng.random(), car.diesel
    )


# -- measured -----------------------------------------------------------------------------------------------


def commanded_actual(rng: Random, car: Car) -> None:
    """One actuator is stuck somewhere while the engine runs and asks for something else."""
    car.engine.data[0x0C] = word(4 * 750)
    asked, stuck = percent(rng.uniform(0, 100)), percent(rng.uniform(0, 100))
    pid = rng.choice((0x71, 0x6C, 0x6A, 0x70, 0x6D))
    if pid in (0x71, 0x6C, 0x6A):
        car.engine.data[pid] = b"\x03" + asked + stuck + bytes(3 if pid == 0x71 else 2)
    elif pid == 0x70:
        boost = rng.uniform(100, 250)
        car.engine.data[pid] = (
            b"\x03" + word(boost * 32) + word(boost * rng.uniform(0.4, 1.0) * 32) + bytes(5)
        )
    else:
        rail = rng.uniform(20_000, 150_000)
        car.engine.data[pid] = b"\x03" + word(rail / 10) + word(rail * rng.uniform(0.3, 1.0) / 10) + bytes(6)


def rest_pressure(rng: Random, car: Car) -> None:
    at_rest(rng, car)
    air = rng.uniform(85, 102)
    wrong = air + rng.choice((-1, 1)) * rng.uniform(3, 60)
    car.engine.data |= (
        {0x0B: byte(wrong), 0x33: byte(air)} if rng.random() < 0.7 else {0x0B: byte(air), 0x33: byte(wrong)}
    )


def rest_temperatures(rng: Random, car: Car) -> None:
    """One thermistor is off by 5 to 60 K, or open."""
    at_rest(rng, car)
    engine = car.engine
    for pid in (0x05, 0x0F, 0x46, 0x5C):
        engine.data[pid] = degrees(car.ambient + rng.uniform(-2, 5))
    wrong = rng.choice((0x05, 0x0F, 0x46, 0x5C))
    off_by = rng.choice((-1, 1)) * rng.uniform(5, 60)
    engine.data[wrong] = b"\0" if rng.random() < 0.3 else degrees(car.ambient + off_by)


def rest_tracks(rng: Random, car: Car) -> None:
    """One of two tracks shows anything, the other what its maker laid out."""
    at_rest(rng, car)
    car.engine.data |= tracks(rng, car)
    wrong = rng.choice((0x49, 0x4A, 0x11, 0x47))
    car.engine.data[wrong] = percent(rng.uniform(0, 99))


def rest_motion(rng: Random, car: Car) -> None:
    at_rest(rng, car)
    car.engine.data[0x0D] = byte(rng.uniform(1, 60))


def rest_fuel_pressure(rng: Random, car: Car) -> None:
    """A sensor that reads high by 1 to 80 MPa."""
    at_rest(rng, car)
    car.engine.data[0x23] = word(rng.uniform(1_000, 80_000) / 10)


# -- with a profile -----------------------------------------------------------------------------------------


def not_in_profile(rng: Random, car: Car) -> None:
    store(anyone(rng, car), rng.choice(("U0230-87", "U0240-87", "U0128-87", "U0212-87")), status=NOW)


def shared_part(rng: Random, car: Car) -> None:
    """A fuse behind which several circuits hang is open: each sets its code, most of the time."""
    circuits = car.profile.circuit if car.profile else ()
    feeds = [item.feed.source for item in circuits if item.feed and item.codes.open]
    feed = rng.choice([name for name in feeds if feeds.count(name) > 1])
    for circuit in circuits:
        if circuit.feed and circuit.feed.source == feed and circuit.codes.open and rng.random() < 0.8:
            said = next(said for said in car.modules if car.profile and _is(car, said, circuit.module))
            store(said, circuit.codes.open, status=NOW)


def _is(car: Car, said: ModuleSaid, name: str) -> bool:
    known = car.profile.module_at(said.target) if car.profile else None
    return known is not None and known.id == name


PLANTS: dict[str, Plant] = {
    plant.__name__: plant
    for plant in (
        stops_vehicle, low_supply, low_supply_crowd, supply_apart, charging, notices, bus_quiet, bus_codes,
        unsteady, expected_by_history, shared_part, shared_circuit, both_banks, order_in_time, vin_absent,
        vin_differs, vin_doubtful, calibration_differs, changed_since, odometers_differ, clocks_differ,
        erased_lately, permanent_left, erased_apart, counters_restarted, commanded_actual, rest_pressure,
        rest_temperatures, rest_tracks, rest_motion, rest_fuel_pressure, speaking_after_all, not_in_profile,
        history_of_loss, codes_not_read, damaged_answers,
    )
}  # fmt: skip
WITH_PROFILE = frozenset({"shared_part", "not_in_profile"})
WITH_GEARBOX = frozenset({"erased_apart"})


def base(rng: Random, gearbox: bool = False) -> Car:
    """A healthy vehicle with an engine and a few modules, to plant into; with a gearbox module on request."""
    pattern = new_pattern(rng)
    while pattern.electric or len(pattern.always) < 3 or (gearbox and GEARBOX not in pattern.always):
        pattern = new_pattern(rng)
    return healthy(rng, replace(pattern, diesel=rng.random() < 0.3))
