"""What the shop's own records say of like vehicles, and of this one at its last visit.

Like vehicles share positions 1-8, 10 and 11 of the VIN (`Vin.pattern`): maker, type and plant, not the serial
number. Whoever holds the records makes a `History` from earlier pictures; rules only read it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from dtctriage.link import Target
from dtctriage.services.j1979_info import CALIBRATION_ID, CVN, item_text
from dtctriage.sweep.picture import ModuleSaid, Picture

NUMBERS = ("part number", "hardware number", "software number", "software version")
"""Names of a module that change when it is replaced or programmed: identifiers F187 and F195 (ISO 14229-1
Annex C), options 91 and 94 of KWP2000."""
IGNITION_CYCLES = "ignition cycles"
"""The name of that counter among a module's in-use counters (SAE J1979, info types 08 and 0B)."""
Data = Mapping[Target, Mapping[int, bytes]]
"""What modules measured: bytes by address and PID."""


@dataclass(frozen=True, slots=True)
class LikeVehicle:
    """One vehicle of the pattern at its latest complete intake.

    `answered` are addresses (`address_of`), `calibrations` pairs of calibration id and verification number
    (CVN, hexadecimal), `data` what it measured then.
    """

    answered: frozenset[Target]
    calibrations: frozenset[tuple[str, str]] = frozenset()
    data: Data = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class LastVisit:
    """This vehicle at its last complete intake: what each address said it is, counted and measured.

    `when` is a date as the sheet prints it (ISO 8601). `verified` are verification numbers by calibration id,
    `numbers` those of `NUMBERS` that the module told.
    """

    when: str
    answered: frozenset[Target]
    vins: dict[Target, str] = field(default_factory=dict)
    calibrations: dict[Target, tuple[str, ...]] = field(default_factory=dict)
    verified: dict[Target, dict[str, str]] = field(default_factory=dict)
    numbers: dict[Target, dict[str, str]] = field(default_factory=dict)
    ignition_cycles: dict[Target, int] = field(default_factory=dict)
    data: Data = field(default_factory=dict)
    answer_ids: dict[Target, int] = field(default_factory=dict)
    """On which identifier each address answered."""


@dataclass(frozen=True, slots=True)
class History:
    """`vehicles`: one entry for each like vehicle but this one; `last`: this one's last visit, if any."""

    pattern: str
    vehicles: tuple[LikeVehicle, ...] = ()
    last: LastVisit | None = None


@dataclass(frozen=True, slots=True)
class OwnClearing:
    """Codes that the shop itself cleared before the sweep.

    `on` says on which order, `this_order` whether it is the one at hand; `when` is a date (ISO 8601). `at`
    are the addresses (`address_of`) that said they had cleared; `odometer` in km, None where nobody told it.
    """

    who: str
    when: str
    on: str
    this_order: bool
    at: frozenset[Target]
    odometer: float | None = None

    def __str__(self) -> str:
        return f"cleared on {self.on} by {self.who} on {self.when}"


def like_vehicle(picture: Picture) -> LikeVehicle:
    """What is kept of an earlier intake of a like vehicle."""
    pairs = (pair for said in picture.modules.values() for pair in calibrations_of(said))
    return LikeVehicle(frozenset(map(address_of, picture.modules)), frozenset(pairs), _data(picture))


def last_visit(picture: Picture, when: str) -> LastVisit:
    """What is kept of this vehicle's own earlier intake."""
    modules = {address_of(target): said for target, said in picture.modules.items()}
    vins = {target: vin for target, said in modules.items() if (vin := first_vin(said))}
    ids = {target: names for target, said in modules.items() if (names := calibration_ids(said))}
    verified = {target: dict(calibrations_of(said)) for target, said in modules.items()}
    numbers = {target: numbers_of(said) for target, said in modules.items()}
    cycles = {
        target: count for target, said in modules.items() if (count := ignition_cycles(said)) is not None
    }
    answers = {address_of(target): target.answer for target in picture.modules if target.answer is not None}
    return LastVisit(when, frozenset(modules), vins, ids, verified, numbers, cycles, _data(picture), answers)


def _data(picture: Picture) -> Data:
    return {address_of(target): said.data for target, said in picture.modules.items() if said.data}


def address_of(target: Target) -> Target:
    """The address without the answer id, which is not known of a module that never answered."""
    return Target(target.framing, target.request)


def ignition_cycles(said: ModuleSaid) -> int | None:
    """How many ignition cycles a module has counted; FFFF is no reading."""
    count = said.counters.get(IGNITION_CYCLES)
    return None if count == 0xFFFF else count


def first_vin(said: ModuleSaid) -> str:
    """The VIN that a module holds, empty where it tells none."""
    return next((vin for vin in said.vins.values() if vin), "")


def numbers_of(said: ModuleSaid) -> dict[str, str]:
    """Part, hardware and software numbers, those that the module tells."""
    return {name: text for name in NUMBERS if (text := said.identity.get(name, ""))}


def calibration_ids(said: ModuleSaid) -> tuple[str, ...]:
    """The calibration ids that a module names (info type 04); what is not text or empty is left out."""
    return tuple(text for item in said.info.get(CALIBRATION_ID, ()) if (text := _text(item)))


def calibrations_of(said: ModuleSaid) -> Iterator[tuple[str, str]]:
    """Calibration id and CVN, which come in the same order (SAE J1979, info types 04 and 06, from memory).

    Nothing where their numbers differ, since nobody can tell then which belongs to which.
    """
    names, numbers = said.info.get(CALIBRATION_ID, ()), said.info.get(CVN, ())
    if len(names) != len(numbers):
        return
    for name, number in zip(names, numbers, strict=True):
        text = _text(name)
        if text and number.strip(b"\x00") and number.strip(b"\xff"):
            yield text, number.hex().upper()


def _text(item: bytes) -> str:
    try:
        return item_text(CALIBRATION_ID, item) or ""
    except ValueError:
        return ""
