"""All data of each module with names and units: what the sheet keeps beside what was made of it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from dtctriage.codes.dtc import Dtc
from dtctriage.link import Target
from dtctriage.services.identification import IDENTIFICATION, identification_text
from dtctriage.services.j1979_info import info_type, item_text
from dtctriage.services.j1979_tests import MonitorResult, Verdict, monitor_name, name_of_test
from dtctriage.services.j1979_tests_legacy import OneLimitTest, OxygenConstant, OxygenTest, oxygen_scale
from dtctriage.services.kwp_data import option_name
from dtctriage.services.message import ascii_text
from dtctriage.services.pids import pid_name
from dtctriage.services.pids import readings as pid_readings
from dtctriage.services.readings import Quantity, Reading
from dtctriage.services.uds import did_name
from dtctriage.sweep.picture import ModuleSaid, Picture
from dtctriage.sweep.said import Kept, TestResult
from dtctriage.wiring.profile import Profile

NEAR = 0.1
"""A passed test whose value is nearer to a limit than this share of the room between the limits, or of the
limit where there is one, is worth a look. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class ReadingLine:
    """One value. `number` is the PID, identifier or record in hexadecimal; `raw` all bytes of its data.

    `value` with `unit`, or None where it is a state, FF throughout, or has no known layout; `text` says it in
    words.
    """

    number: str
    name: str
    value: float | None
    unit: str
    text: str
    raw: str

    def __str__(self) -> str:
        if self.value is not None:
            return f"{self.name} {self.text}"
        return f"{self.number if self.text == self.raw else self.name}: {self.text}"


@dataclass(frozen=True, slots=True)
class ResultLine:
    """A test result. `number`: monitor and test (off CAN test and component or oxygen sensor), hexadecimal.

    A limit that is None is none. `margin` is the distance to the nearer limit in `unit`, negative beyond
    it; `near`: passed, but only just.
    """

    number: str
    what: str
    test: str
    value: float
    low: float | None
    high: float | None
    unit: str
    verdict: str
    margin: float | None
    near: bool


@dataclass(frozen=True, slots=True)
class RecordLine:
    """What was stored with a code: `kind` is freeze frame, snapshot, extended data, or the user memory's."""

    dtc: Dtc
    kind: str
    record: int
    readings: tuple[ReadingLine, ...]


@dataclass(frozen=True, slots=True)
class ModuleData:
    """All data of one module; `label` is its name on the sheet.

    `in_use`: counters by name; `identification`: number, name and text; `maturing`: codes with their fault
    detection counter; `supported_codes`: how many codes it can store, None where it was not asked.
    `clocks`: what shows another time at each intake.
    """

    label: str
    readings: tuple[ReadingLine, ...]
    tests: tuple[ResultLine, ...]
    in_use: tuple[tuple[str, int], ...]
    identification: tuple[tuple[str, str, str], ...]
    kept: tuple[RecordLine, ...]
    maturing: tuple[tuple[str, int], ...]
    supported_codes: int | None
    clocks: tuple[ReadingLine, ...] = ()


def module_data(picture: Picture, profile: Profile | None) -> tuple[ModuleData, ...]:
    """Every module that answered."""
    return tuple(_module(said, _label(said.target, profile)) for said in picture.modules.values())


def stored_with(said: ModuleSaid, dtc: Dtc) -> tuple[str, ...]:
    """What was stored with a code, a line a record; records that say the same share one."""
    records: dict[str, list[str]] = {}
    for record in _all_kept(said):
        if record.dtc.number == dtc.number:
            told = "; ".join(map(str, record.readings))
            records.setdefault(told, []).append(f"{record.kind} {record.record:02X}")
    return tuple(f"{', '.join(names)}: {told}" for told, names in records.items() if told)


def _label(target: Target, profile: Profile | None) -> str:
    module = profile.module_at(target) if profile else None
    return module.id if module else target.label


def _module(said: ModuleSaid, label: str) -> ModuleData:
    return ModuleData(
        label,
        tuple(_values(said)),
        tuple(_test(result) for result in said.tests),
        tuple(said.counters.items()),
        tuple(_identification(said)),
        tuple(_all_kept(said)),
        tuple((str(dtc), counter) for dtc, counter in said.maturing.items()),
        len(said.supported) or None,
        tuple(line for did, data in sorted(said.identifiers.items()) for line in _clock(said, did, data)),
    )


# -- values ---------------------------------------------------------------------------------------------


def _values(said: ModuleSaid) -> Iterator[ReadingLine]:
    for pid, data in sorted(said.data.items()):
        yield from _pid(pid, data)
    for did, data in sorted(said.identifiers.items()):
        if did not in IDENTIFICATION and not _tells_time(said, did):
            yield from _identifier(said, did, data)


def _clock(said: ModuleSaid, did: int, data: bytes) -> Iterator[ReadingLine]:
    """To the second, whatever the years."""
    for line in _identifier(said, did, data) if _tells_time(said, did) else ():
        told = line.text if line.value is None else f"{line.value:.12g} {line.unit}".rstrip()
        yield replace(line, text=told)


def _tells_time(said: ModuleSaid, did: int) -> bool:
    """Whether an identifier holds a clock, by the profile."""
    known = said.definitions.identifiers.get(did)
    return known is not None and any(signal.means == "clock" for signal in known.signals)


def _pid(pid: int, data: bytes) -> Iterator[ReadingLine]:
    yield from _readings(f"{pid:02X}", pid_name(pid), pid_readings(pid, data), data)


def _identifier(said: ModuleSaid, did: int, data: bytes) -> Iterator[ReadingLine]:
    """By the profile's layout, else by the standard's."""
    known = said.definitions.identifiers.get(did)
    name = known.name if known else did_name(did)
    yield from _readings(f"{did:04X}", name, said.definitions.identifier_readings(did, data), data)


def _readings(number: str, name: str, readings: Iterable[Reading], data: bytes) -> Iterator[ReadingLine]:
    """The bytes themselves where nothing lays them out."""
    raw = data.hex(" ").upper()
    found = list(readings)
    for reading in found:
        if isinstance(reading, Quantity):
            value, unit = (None, "") if reading.full else (reading.value, reading.unit)
            yield ReadingLine(number, reading.name, value, unit, reading.text, raw)
        else:
            text = str(reading).removeprefix(f"{reading.name}: ")
            yield ReadingLine(number, reading.name, None, "", text, raw)
    if not found:
        yield ReadingLine(number, name, None, "", raw, raw)


# -- test results ---------------------------------------------------------------------------------------


def _test(result: TestResult) -> ResultLine:
    match result:
        case MonitorResult():
            return _monitor(result)
        case OneLimitTest():
            return _one_limit(result)
        case OxygenTest() | OxygenConstant():
            return _oxygen(result)


def _monitor(result: MonitorResult) -> ResultLine:
    known = result.scaling
    return ResultLine(
        f"{result.mid:02X} {result.tid:02X}",
        monitor_name(result.mid),
        name_of_test(result.tid),
        result.value,
        result.low if result.raw_low > known.lowest else None,
        result.high if result.raw_high < known.highest else None,
        known.unit if known.known else "raw",
        result.verdict.value,
        result.margin,
        result.verdict is Verdict.PASSED and _near(result),
    )


def _near(result: MonitorResult) -> bool:
    margin = result.margin
    if margin is None or result.raw_low == result.raw_high:
        return False
    if result.margin_share is not None:
        return result.margin_share < NEAR
    limit = result.high if result.raw_high < result.scaling.highest else result.low
    return margin < NEAR * abs(limit)


def _one_limit(result: OneLimitTest) -> ResultLine:
    return ResultLine(
        f"{result.tid:02X} {result.component:02X}",
        f"component {result.component:02X}",
        f"the maker's test {result.tid:02X}",
        result.value,
        result.limit if result.is_minimum else None,
        None if result.is_minimum else result.limit,
        "raw",
        result.verdict.value,
        result.margin,
        result.verdict is Verdict.PASSED and result.margin < NEAR * result.limit,
    )


def _oxygen(result: OxygenTest | OxygenConstant) -> ResultLine:
    scale, unit = oxygen_scale(result.tid)
    value = float(result.raw * scale)
    number = f"{result.tid:02X} {result.sensor:02X}"
    what, test = f"oxygen sensor {result.sensor.bit_length()} of 8", name_of_test(result.tid)
    if isinstance(result, OxygenConstant):
        return ResultLine(number, what, test, value, None, None, unit, "constant", None, False)
    low, high = float(result.raw_low * scale), float(result.raw_high * scale)
    margin = min(value - low, high - value)
    near = result.verdict is Verdict.PASSED and margin < NEAR * (high - low)
    return ResultLine(number, what, test, value, low, high, unit, result.verdict.value, margin, near)


# -- identification and what was stored -----------------------------------------------------------------


def _identification(said: ModuleSaid) -> Iterator[tuple[str, str, str]]:
    for number, items in sorted(said.info.items()):
        layout = info_type(number)
        if layout.kind == "word":
            continue
        for item in items:
            text = item_text(number, item) if layout.kind == "text" else item.hex().upper()
            yield f"09 {number:02X}", layout.name, text or "not programmed"
    for did, data in sorted(said.identifiers.items()):
        if did in IDENTIFICATION:
            yield f"{did:04X}", did_name(did), identification_text(did, data) or "not programmed"
    for option, data in sorted(said.options.items()):
        yield f"1A {option:02X}", option_name(option), _text(data)


def _text(data: bytes) -> str:
    try:
        return ascii_text(data) or "not programmed"
    except ValueError:
        return data.hex(" ").upper()


def _all_kept(said: ModuleSaid) -> Iterator[RecordLine]:
    yield from _frames(said)
    yield from (_record(said, kept) for kept in said.kept)


def _frames(said: ModuleSaid) -> Iterator[RecordLine]:
    for number, data in sorted(said.frames.items()):
        code = said.code_of_frame(number)
        if code is not None:
            values = tuple(item for pid in sorted(data) if pid != 0x02 for item in _pid(pid, data[pid]))
            yield RecordLine(code, "freeze frame", number, values)


def _record(said: ModuleSaid, kept: Kept) -> RecordLine:
    if kept.extended:
        known = said.definitions.records.get(kept.record)
        name = known.name if known else "extended data"
        ((number, data),) = kept.items
        read = said.definitions.record_readings(number, data)
        readings = tuple(_readings(f"{number:02X}", name, read, data))
        return RecordLine(kept.dtc, _kind(kept, "extended data"), kept.record, readings)
    readings = tuple(item for did, data in kept.items for item in _identifier(said, did, data))
    return RecordLine(kept.dtc, _kind(kept, "snapshot"), kept.record, readings)


def _kind(kept: Kept, name: str) -> str:
    return name if kept.memory is None else f"user memory's {name}"
