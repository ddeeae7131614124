"""A lesson: one vehicle with faults hidden in it, and the repair order it comes with.

`*.lesson.toml` says what is wrong and in which state the vehicle is met. It never says what will be seen:
which modules are silent and which codes are stored is worked out from the profile's wiring.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal, TypeVar

from pydantic import Field, ValidationError, field_validator

from dtctriage.codes.dtc import CodeError, Dtc
from dtctriage.errors import TriageError
from dtctriage.services.pids import data_lengths
from dtctriage.services.readiness import Readiness
from dtctriage.wiring.faults import Fault, FaultKind, possible_faults
from dtctriage.wiring.profile import Key, Profile, Strict
from dtctriage.wiring.profile_file import first_error as explain
from dtctriage.wiring.profile_file import line_of, load_profile
from dtctriage.wiring.profile_file import no_such as unknown


class LessonError(TriageError):
    """The lesson cannot be given. `str()` names file, line and what to change."""


Seconds = Annotated[float, Field(ge=0, le=86_400)]
Vin = Annotated[str, Field(pattern=r"^[A-Z0-9]{17}$")]
PidKey = Annotated[str, Field(pattern=r"^[0-9A-F]{2}$")]
Readings = dict[str, dict[PidKey, float | tuple[float, ...]]]
"""By module and PID (two hexadecimal digits): the value in the PID's unit, several where it holds several."""


class Order(Strict):
    """`[order]`: the repair order. `vin` is the one on the paperwork."""

    number: str
    complaint: str
    technician: str
    shop: str
    vin: Vin
    odometer: int = Field(ge=0)
    unit: Literal["km", "mi"] = "km"


class FaultEntry(Strict):
    """`[[fault]]`: a kind of fault at a place of the profile."""

    kind: FaultKind
    at: str


class Identity(Strict):
    """`[[identity]]`: a module whose VIN is not the vehicle's; empty: it was never programmed."""

    module: str
    vin: Vin | Literal[""]


class Unsteady(Strict):
    """`[[unsteady]]`: a module that answers the first k of each n requests."""

    module: str
    answers: str = Field(pattern=r"^[0-9]{1,3} of [1-9][0-9]{0,2}$")

    @property
    def pattern(self) -> tuple[int, int]:
        """k and n."""
        k, _, n = self.answers.partition(" of ")
        return int(k), int(n)


class Pending(Strict):
    """`[[pending]]`: a module says "response pending" some times before it answers a service."""

    module: str
    service: int = Field(ge=1, le=0xBE)
    times: int = Field(default=1, ge=1, le=20)
    every: float = Field(default=0.5, gt=0, le=5)
    """Seconds between them, and from the last one to the answer."""


class Slow(Strict):
    """`[[slow]]`: a module that takes longer than the others."""

    module: str
    latency: float = Field(gt=0, le=10)


class History(Strict):
    """`[[history]]`: a code that a module remembers from before, with its status byte (ISO 14229-1).

    A code without a failure type has 00 in UDS: no sub-type information (SAE J2012-DA).
    """

    module: str
    code: str
    status: int = Field(default=0x28, ge=1, le=0xFF)

    @field_validator("code")
    @classmethod
    def _is_code(cls, text: str) -> str:
        try:
            Dtc.parse(text)
        except CodeError as error:
            raise ValueError(error.message) from None
        return text


class RestFile(Strict):
    """`*.rest.toml`: what a vehicle's modules read with nothing wrong, shared by its lessons."""

    format: Literal[1]
    no_vin: tuple[str, ...] = ()
    """Modules that have no place for a VIN."""
    monitors: dict[str, tuple[str, ...]] = Field(default={})
    """By module: the readiness monitors that it has (names of the readiness table, spark ignition)."""
    readings: Readings = Field(default={})


class LessonFile(Strict):
    """The whole file. Paths are relative to it."""

    format: Literal[1]
    vehicle: str
    rest: str | None = None
    vin: Vin | None = None
    """The VIN that the modules hold; None: the one on the paperwork."""
    key: Key = Key.RUN
    key_on_seconds: Seconds = 60.0
    """How long the key has been in its position when the tool is plugged in."""
    pin16_open: bool = False
    """The diagnostic connector has no supply."""
    latency: float = Field(default=0.005, gt=0, le=10)
    """Seconds from a request to a module's answer."""
    traffic_period: float = Field(default=0.1, ge=0.01, le=10)
    """Seconds between two messages of one module on its bus."""
    order: Order
    fault: tuple[FaultEntry, ...] = ()
    identity: tuple[Identity, ...] = ()
    unsteady: tuple[Unsteady, ...] = ()
    pending: tuple[Pending, ...] = ()
    slow: tuple[Slow, ...] = ()
    history: tuple[History, ...] = ()
    not_ready: tuple[str, ...] = ()
    """Readiness monitors that have not run since the last clear."""
    readings: Readings = Field(default={})
    """Readings that differ from the vehicle's at rest."""


@dataclass(frozen=True, slots=True)
class Lesson:
    """A lesson with everything that it refers to."""

    path: Path
    file: LessonFile
    profile: Profile
    rest: RestFile
    faults: tuple[Fault, ...]

    @property
    def vin(self) -> str:
        """The VIN that the vehicle's modules hold."""
        return self.file.vin or self.file.order.vin

    def readings_of(self, module_id: str) -> dict[int, tuple[float, ...]]:
        """The values of a module's PIDs: the lesson's before the vehicle's at rest."""
        both = self.rest.readings.get(module_id, {}) | self.file.readings.get(module_id, {})
        return {int(pid, 16): v if isinstance(v, tuple) else (v,) for pid, v in both.items()}


def load_lesson(path: Path) -> Lesson:
    """Read and check a lesson, its profile and its readings. Raises LessonError or ProfileError."""
    text = _text(path)
    file = _parse(LessonFile, text, path)
    profile = load_profile(path.parent / file.vehicle)
    if file.rest is None:
        rest = RestFile(format=1)
    else:
        rest_path = path.parent / file.rest
        rest_text = _text(rest_path)
        rest = _parse(RestFile, rest_text, rest_path)
        _refuse(_rest_problems(rest, profile), rest_text, rest_path)
    _refuse(_problems(file, profile), text, path)
    return Lesson(path, file, profile, rest, tuple(Fault(f.kind, f.at) for f in file.fault))


_File = TypeVar("_File", LessonFile, RestFile)
Where = tuple[int | str, ...]


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise LessonError(
            f"{path}: cannot be read ({error})", "Give the path of a .lesson.toml file"
        ) from error


def _parse(kind: type[_File], text: str, path: Path) -> _File:
    try:
        return kind.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise LessonError(f"{path}: not valid TOML: {error}") from error
    except ValidationError as error:
        raise LessonError(explain(error, text, str(path))) from error


def _refuse(problems: Iterator[tuple[str, Where]], text: str, path: Path) -> None:
    for problem, where in problems:
        raise LessonError(f"{path}: line {line_of(text, where)}: {problem}")


def _problems(file: LessonFile, profile: Profile) -> Iterator[tuple[str, Where]]:
    """What the vehicle of the profile cannot have: (what is wrong, path of the entry)."""
    modules = [module.id for module in profile.module]
    for module in profile.module:
        if module.target.answer is None:
            yield f'module "{module.id}" has no answer id in {file.vehicle}', ("vehicle",)
    for table in ("identity", "unsteady", "pending", "slow", "history"):
        for index, entry in enumerate(getattr(file, table)):
            if entry.module not in modules:
                yield unknown("module", entry.module, modules), (table, index, "module")
    for index, entry in enumerate(file.unsteady):
        if entry.pattern[0] > entry.pattern[1]:
            yield f'"{entry.answers}": more answers than requests', ("unsteady", index, "answers")
    places: dict[FaultKind, list[str]] = {}
    for fault in possible_faults(profile):
        places.setdefault(fault.kind, []).append(fault.at)
    for index, entry in enumerate(file.fault):
        known = places.get(entry.kind, [])
        if entry.at not in known:
            yield unknown(f'place for "{entry.kind}":', entry.at, known), ("fault", index, "at")
    if not monitors_exist(file.not_ready):
        yield "a name is not one of the readiness table's monitors", ("not_ready",)
    yield from _readings_problems(file.readings, profile)


def _rest_problems(rest: RestFile, profile: Profile) -> Iterator[tuple[str, Where]]:
    modules = [module.id for module in profile.module]
    for module in rest.no_vin:
        if module not in modules:
            yield unknown("module", module, modules), ("no_vin",)
    for module, names in rest.monitors.items():
        if module not in modules:
            yield unknown("module", module, modules), ("monitors", module)
        if not monitors_exist(names):
            yield f"{module}: a name is not one of the readiness table's monitors", ("monitors", module)
    yield from _readings_problems(rest.readings, profile)


def monitors_exist(names: tuple[str, ...]) -> bool:
    """True when the readiness table has all these monitors for spark ignition."""
    try:
        Readiness.of(False, 0, False, names, ())
    except ValueError:
        return False
    return True


def _readings_problems(readings: Readings, profile: Profile) -> Iterator[tuple[str, Where]]:
    speakers = [module.id for module in profile.module if "j1979" in module.speaks]
    for module, values in readings.items():
        if module not in speakers:
            yield unknown("module that speaks J1979:", module, speakers), ("readings",)
        for pid in values:
            if not data_lengths(int(pid, 16)):
                yield f"{module}: PID {pid} is in no table", ("readings", pid)
