"""Codes that faults leave behind, one kind for each rule that reads them. Figures: `planted.py`."""

from __future__ import annotations

from random import Random

from car import ENGINE, GEARBOX, Car, word

from dtctriage.codes.dtc import Dtc
from dtctriage.services.uds import DtcStatus
from dtctriage.sweep.picture import ModuleSaid, StoredCode, Trouble

NOW, HISTORY = DtcStatus(0x2F), DtcStatus(0x28)


def store(said: ModuleSaid, *codes: str, status: DtcStatus | None = None, memory: str = "stored") -> None:
    said.codes += [StoredCode(Dtc.parse(code), memory, status) for code in codes]


def anyone(rng: Random, car: Car) -> ModuleSaid:
    return rng.choice(car.modules)


# -- stored codes -------------------------------------------------------------------------------------------

NO_START = (
    "P0335", "P0336", "P0340", "P0016", "P0230", "P0231", "P0627", "P0628", "P0513", "P0633",
    "P0615", "P0616", "P0685", "P0686", "P0602", "P0606", "P0191", "P0087", "P0320", "P0370",
    "P0A0D", "P0AA6", "P0A7D", "P0AA4", "P0ADB", "P0AE1", "P0A94", "P2105", "P2176", "P0705",
    "P0850", "P0830", "U0167", "P0117", "P0148", "P0251", "P0612", "P0604", "P0562", "P0641",
    "P0A1F", "P0A78", "P0A3F", "U0293", "U0111", "P0504", "P0380", "P0299",
)  # fmt: skip
"""Codes that service advice names beside "does not start" or "not ready", from memory; some are beside it."""


def stops_vehicle(rng: Random, car: Car) -> None:
    store(car.engine, rng.choice(NO_START), status=rng.choice((NOW, None)))


WEAK = {
    ENGINE: ("P0562", "P0560", "P0561", "P0689", "U0121"),
    GEARBOX: ("P0562", "P0882", "P0885", "U0100"),
}
"""What engine and gearbox modules note of a weak battery, from memory."""
WEAK_BODY = ("U3003-16", "U3006-16", "U3006-1C", "U0100-87", "U0121-87", "B1A01-16", "B1318", "C1277")
"""What others note; the last three are makers' own codes, of which two do not say what they are about."""


def low_supply_crowd(rng: Random, car: Car) -> None:
    """A weak battery: each module notes it in its own way, or not at all."""
    for said in rng.sample(car.modules, min(len(car.modules), rng.randint(2, 6))):
        codes = WEAK.get(said.target.request)
        store(said, rng.choice(codes or WEAK_BODY), status=None if codes else HISTORY)


def shared_circuit(rng: Random, car: Car) -> None:
    """A reference or a feed is lost: each sensor or part on it sets its code, most of the time."""
    lost = rng.choice(
        (
            "P0107 P0122 P0532 P0522 P2122 P0192 P0642",
            "P0113 P0118 P0198 P0073 P0183",
            "P0201 P0202 P0203 P0204",
            "P0351 P0352 P0353 P0354",
            "P0443 P0010 P0020 P0243 P0449",
            "P0135 P0141 P0155 P0161",
        )
    ).split()
    store(car.engine, *(code for code in lost if rng.random() < 0.7))


def both_banks(rng: Random, car: Car) -> None:
    pair = rng.choice(
        ("P0171 P0174", "P0172 P0175", "P0420 P0430", "P2187 P2189", "P0174 P0430", "P0300 P0171")
    )
    store(car.engine, *pair.split())


def order_in_time(rng: Random, car: Car) -> None:
    """Two to four codes that follow from each other, each with a frame where the module keeps one.

    The next one comes 100 km later on average, some long after: own estimate, no source.
    """
    now = car.engine.data.get(0x31)
    then = int.from_bytes(now, "big") * rng.random() if now else 0.0
    for frame, code in enumerate(
        rng.sample(("P0562", "P0300", "P0171", "P0420", "P0113"), rng.randint(2, 4))
    ):
        store(car.engine, code)
        if now and rng.random() < 0.9:
            number = Dtc.parse(code).number.to_bytes(2, "big")
            car.engine.frames[frame] = {0x02: number, 0x31: word(min(then, int.from_bytes(now, "big")))}
        then += rng.expovariate(1 / 100)


def permanent_left(rng: Random, car: Car) -> None:
    store(car.engine, rng.choice(("P0420", "P0171", "P0301", "P0455")), memory="permanent")


def bus_codes(rng: Random, car: Car) -> None:
    """Nine in ten use a code of the standard (U0001-U0079, counted in decimal), the others their maker's own.

    Half of those carry the failure type for bus off; the others only their maker can read.
    """
    code = f"U00{rng.randint(1, 79):02d}" if rng.random() < 0.9 else rng.choice(("U1900-88", "U1900-01"))
    store(anyone(rng, car), code, status=NOW)


def speaking_after_all(rng: Random, car: Car) -> None:
    store(
        anyone(rng, car),
        rng.choice(("U0401", "U0402", "U0415", "U0416", "U0422", "U0301", "U0331")),
        status=NOW,
    )


def history_of_loss(rng: Random, car: Car) -> None:
    store(anyone(rng, car), rng.choice(("U0100", "U0101", "U0121", "U0140", "U0155")), status=HISTORY)


def codes_not_read(rng: Random, car: Car) -> None:
    anyone(rng, car).codes_read = False


def damaged_answers(rng: Random, car: Car) -> None:
    anyone(rng, car).troubles.append(Trouble(b"\x19\x02\xaf", "frame 2 of 3 is missing", b"\x59"))
