"""A lesson: one vehicle with faults hidden in it, and the repair order it comes with.

`*.lesson.toml` says what is wrong and in which state the vehicle is met. It never says what will be seen:
which modules are silent and which codes are stored is worked out from the profile's wiring.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import chain
from pathlib import Path
from typing import TypeVar

from pydantic import ValidationError

from dtctriage.errors import TriageError, text_of
from dtctriage.wiring.faults import Fault
from dtctriage.wiring.profile import Key, Profile
from dtctriage.wiring.profile_file import first_error as explain
from dtctriage.wiring.profile_file import line_of, load_profile
from dtctriage_adapters.classroom.lesson_checks import Where, lesson_problems, rest_problems
from dtctriage_adapters.classroom.lesson_file import FaultEntry, LessonFile
from dtctriage_adapters.classroom.rest_file import LimitTest, MonitorTest, OxygenTest, RestFile
from dtctriage_adapters.classroom.state_file import State


class LessonError(TriageError):
    """The lesson cannot be given. `str()` names file, line and what to change."""


_PUT_RIGHT = (
    *("fault", "identity", "unsteady", "refusing", "cut_short"),
    *("reading_off", "not_following", "clock_off"),
)
"""What a repair takes out of a lesson."""
_Test = TypeVar("_Test", bound=MonitorTest | LimitTest | OxygenTest)


@dataclass(frozen=True, slots=True)
class Lesson:
    """A lesson with everything that it refers to."""

    path: Path
    file: LessonFile
    profile: Profile
    rest: RestFile
    was_broken: tuple[FaultEntry, ...] = ()
    """The faults that were put right."""

    @property
    def faults(self) -> tuple[Fault, ...]:
        """The faults that the wiring has when the tool is plugged in."""
        return tuple(entry.fault for entry in self.file.fault if entry.holds(0.0))

    @property
    def state(self) -> State:
        """The state in which the vehicle is met."""
        return self.rest.state.overlaid(self.file.state)

    @property
    def key(self) -> Key:
        """The position of the key: in start while the starter turns."""
        return Key.START if self.state.engine == "cranking" else self.file.key

    @property
    def key_on_seconds(self) -> float:
        """How long the key has been on when the tool is plugged in: no less than the engine has run."""
        least = self.state.run_seconds if self.state.engine == "idling" else 0.0
        return max(self.file.key_on_seconds, least)

    def after_repair(self) -> Lesson:
        """The same vehicle with its faults put right; what they left in the memories stays there."""
        if self.was_broken:
            return self
        empty: dict[str, tuple[()]] = dict.fromkeys(_PUT_RIGHT, ())
        repaired = self.file.model_copy(update=empty | {"repaired": True})
        return replace(self, file=repaired, was_broken=self.file.fault)

    @property
    def vin(self) -> str:
        """The VIN that the vehicle's modules hold."""
        return self.file.vin or self.file.order.vin

    def with_engine(self, engine: str) -> Lesson:
        """The same vehicle with the engine off, cranking or idling."""
        state = self.file.state.model_copy(update={"engine": engine})
        return replace(self, file=self.file.model_copy(update={"state": state}))

    def readings_of(self, module_id: str) -> dict[int, tuple[float, ...]]:
        """The values of the PIDs of a module that stand still: the lesson's before the rest file's."""
        both = self.rest.readings.get(module_id, {}) | self.file.readings.get(module_id, {})
        return {int(pid, 16): v if isinstance(v, tuple) else (v,) for pid, v in both.items()}

    def live_pids_of(self, module_id: str) -> tuple[int, ...]:
        """The PIDs of a module that follow from the vehicle's state."""
        return tuple(int(pid, 16) for pid in self.rest.live.get(module_id, ()))

    def monitor_tests_of(self, module_id: str) -> tuple[MonitorTest, ...]:
        """A module's test results on CAN: the lesson's before the vehicle's at rest."""
        return _of(module_id, self.rest.monitor_test, self.file.monitor_test)

    def limit_tests_of(self, module_id: str) -> tuple[LimitTest, ...]:
        """A module's test results off CAN."""
        return _of(module_id, self.rest.limit_test, self.file.limit_test)

    def oxygen_tests_of(self, module_id: str) -> tuple[OxygenTest, ...]:
        """A module's oxygen sensor test results off CAN."""
        return _of(module_id, self.rest.oxygen_test, self.file.oxygen_test)


def _of(module_id: str, at_rest: Iterable[_Test], given: Iterable[_Test]) -> tuple[_Test, ...]:
    both = {test.key: test for test in chain(at_rest, given) if test.module == module_id}
    return tuple(both[key] for key in sorted(both))


def load_lesson(path: Path) -> Lesson:
    """Read and check a lesson, its profile and its readings. Raises LessonError or ProfileError."""
    text = text_of(path, LessonError)
    file = _parse(LessonFile, text, path)
    profile = load_profile(path.parent / file.vehicle)
    if file.rest is None:
        rest = RestFile(format=1)
    else:
        rest_path = path.parent / file.rest
        rest_text = text_of(rest_path, LessonError)
        rest = _parse(RestFile, rest_text, rest_path)
        _refuse(rest_problems(rest, profile), rest_text, rest_path)
    _refuse(lesson_problems(file, profile, rest), text, path)
    lesson = Lesson(path, file, profile, rest)
    return lesson.after_repair() if file.repaired else lesson


_File = TypeVar("_File", LessonFile, RestFile)


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
