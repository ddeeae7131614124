"""What one module said: names, codes, readiness, and every datum as the bytes that it gave."""

from __future__ import annotations

from dataclasses import dataclass, field

from dtctriage.codes.dtc import Dtc
from dtctriage.link import Target
from dtctriage.services.definitions import NO_DEFINITIONS, Definitions
from dtctriage.services.j1979_info import InfoPart
from dtctriage.services.j1979_tests import MonitorResult
from dtctriage.services.j1979_tests_legacy import OneLimitTest, OxygenConstant, OxygenTest
from dtctriage.services.kwp import KwpStatus, Storage
from dtctriage.services.readiness import Readiness
from dtctriage.services.uds import DtcStatus
from dtctriage.sweep import questions as q

USER = "user"
"""The memory of a code of service 19 17."""
TestResult = MonitorResult | OneLimitTest | OxygenTest | OxygenConstant
"""A result of service 06 on CAN or F6xx, of service 06 off CAN, or of service 05."""


@dataclass(frozen=True, slots=True)
class StoredCode:
    """A code with the memory that held it: stored, pending, permanent or user; and its status, if told."""

    dtc: Dtc
    memory: str
    status: DtcStatus | KwpStatus | None = None

    @property
    def now(self) -> bool | None:
        """Failing at present; None where no status says so."""
        if isinstance(self.status, KwpStatus):
            return self.status.storage is Storage.PRESENT
        return self.status.failed_now if self.status else None


@dataclass(frozen=True, slots=True)
class Kept:
    """A record that a module stored with a code: `items` are pairs of number and data bytes.

    A snapshot (service 19 04) holds identifiers, an extended data record (19 06) its own number alone.
    `memory`: the number of the user memory (19 18, 19 19), None for the common one.
    """

    dtc: Dtc
    extended: bool
    record: int
    items: tuple[tuple[int, bytes], ...]
    memory: int | None = None

    @property
    def place(self) -> tuple[Dtc, bool, int, int | None]:
        """Which record it is, whatever it holds."""
        return self.dtc, self.extended, self.record, self.memory


@dataclass(frozen=True, slots=True)
class Trouble:
    """An answer that was damaged, or is not what its standard says, with its bytes."""

    question: bytes
    text: str
    raw: bytes


@dataclass(slots=True)
class ModuleSaid:
    """One module. `vins`: VINs by the way they were asked for; `refused`: pairs of request and reason.

    Data are the bytes heard last, without the number they were asked by; `dtctriage.services` reads them:

    - `data`: by PID (SAE J1979), from service 01 or its twin F4xx; masks and readiness excepted
      (`pids.readings(pid, data[pid])` gives quantities with their units);
    - `identifiers`: by data identifier (ISO 14229-1 service 22), the pages F4xx, F6xx and F8xx excepted;
      `heard_at` is when each was heard, in monotonic seconds on the link's clock;
    - `options`: by option of KWP2000 identification (service 1A);
    - `info`: items by info type (service 09 or F8xx); the numbers of messages off CAN excepted;
    - `counters`: in-use counters of info types 08 and 0B by their names, plain numbers;
    - `tests`: results of services 05 and 06 and of F6xx, the last of each, in the order heard;
    - `maturing`: fault detection counters (19 14) by code, -128..127, where 127 means failed;
    - `supported`: every code that a module can store, with its status (19 0A);
    - `frames`: freeze frames by number, each by PID, its code as PID 02; `kept`: what service 19 gave.

    Masks: supported numbers by block; of oxygen sensors' tests by sensor. `definitions`: what the profile
    knows of the module's identifiers and records.
    """

    target: Target
    source: int
    asked: int = 0
    answered: int = 0
    languages: set[q.Language] = field(default_factory=set)
    vins: dict[str, str] = field(default_factory=dict)
    identity: dict[str, str] = field(default_factory=dict)
    codes: list[StoredCode] = field(default_factory=list)
    codes_read: bool = False
    readiness: Readiness | None = None
    volts: float | None = None
    data: dict[int, bytes] = field(default_factory=dict)
    identifiers: dict[int, bytes] = field(default_factory=dict)
    heard_at: dict[int, float] = field(default_factory=dict)
    options: dict[int, bytes] = field(default_factory=dict)
    info: dict[int, tuple[bytes, ...]] = field(default_factory=dict)
    counters: dict[str, int] = field(default_factory=dict)
    tests: list[TestResult] = field(default_factory=list)
    maturing: dict[Dtc, int] = field(default_factory=dict)
    supported: dict[Dtc, DtcStatus] = field(default_factory=dict)
    masks: dict[int, bytes] = field(default_factory=dict)
    info_masks: dict[int, bytes] = field(default_factory=dict)
    test_masks: dict[int, bytes] = field(default_factory=dict)
    oxygen_masks: dict[int, bytes] = field(default_factory=dict)
    frame_masks: dict[int, bytes] = field(default_factory=dict)
    frames: dict[int, dict[int, bytes]] = field(default_factory=dict)
    kept: list[Kept] = field(default_factory=list)
    info_parts: dict[int, list[InfoPart]] = field(default_factory=dict)
    refused: list[tuple[bytes, int]] = field(default_factory=list)
    troubles: list[Trouble] = field(default_factory=list)
    definitions: Definitions = NO_DEFINITIONS

    def code_of_frame(self, frame: int) -> Dtc | None:
        """The code for which a freeze frame was stored; None where there is none, or no frame."""
        data = self.frames.get(frame, {}).get(q.FRAME_CODE_PID, b"")
        dtc = Dtc.from_bytes(data) if len(data) == 2 else None
        return None if dtc is None or dtc.is_padding else dtc

    def keep_result(self, result: TestResult) -> None:
        """Take a test result in place of an earlier one of the same test."""
        self.tests = [known for known in self.tests if _test(known) != _test(result)] + [result]

    def keep_record(self, record: Kept) -> None:
        """Take what was stored with a code in place of an earlier answer about the same record."""
        self.kept = [known for known in self.kept if known.place != record.place] + [record]

    @property
    def oxygen_sensors(self) -> tuple[int, ...]:
        """The oxygen sensors that it has, each as the one bit by which service 05 names it.

        PID 13 or 1D tells them (SAE J1979).
        """
        places = b"".join(self.data.get(pid, b"")[:1] for pid in (0x13, 0x1D))
        return tuple(1 << bit for bit in range(8) if any(place >> bit & 1 for place in places))


def _test(result: TestResult) -> tuple[object, ...]:
    """Which test it is: a test off CAN may have a lower and an upper limit, each in an answer of its own."""
    match result:
        case MonitorResult():
            return MonitorResult, result.mid, result.tid
        case OneLimitTest():
            return OneLimitTest, result.tid, result.component, result.is_minimum
        case _:
            return OxygenTest, result.tid, result.sensor
