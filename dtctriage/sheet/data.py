"""All data of the modules on the sheet: kept whole as JSON, on paper what is out of limits or near them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass

from dtctriage.sheet.parts import Part, Text
from dtctriage.triage.module_data import ModuleData, RecordLine
from dtctriage.triage.wording import number_text

FAILED = "failed"
COUNTER_FAILED = 127
"""The fault detection counter of a test that has failed (ISO 14229-1 Annex D)."""


class ReadingPart(Part):
    """One value. `number`: PID, identifier or record in hexadecimal; `raw`: all bytes of its data.

    `value` is None where it is a state or has no known layout; `text` says it in words.
    """

    number: Text
    name: Text
    value: float | None
    unit: Text
    text: Text
    raw: Text


class ClockPart(ReadingPart):
    """What a module's clock showed when it was read; a number that stands beside it comes with it."""

    module: Text


class ResultPart(Part):
    """A test result; a limit that is None is none. `near`: passed, but only just.

    `number`: monitor and test (or test and component or oxygen sensor, off CAN) in hexadecimal.
    `margin` is the distance to the nearer limit in `unit`, negative beyond it.
    """

    number: Text
    what: Text
    test: Text
    value: float
    low: float | None
    high: float | None
    unit: Text
    verdict: Text
    margin: float | None
    near: bool


class CounterPart(Part):
    """A counter by its name."""

    name: Text
    count: int


class NumberedPart(Part):
    """One line of the full identification: where it was read, what it is, what it says."""

    number: Text
    name: Text
    value: Text


class RecordPart(Part):
    """What was stored with a code: `kind` is freeze frame, snapshot or extended data."""

    code: Text
    kind: Text
    record: int
    readings: tuple[ReadingPart, ...]


class MaturingPart(Part):
    """A code on its way: its fault detection counter, -128 to 127, where 127 means failed (ISO 14229-1)."""

    code: Text
    counter: int


class DataPart(Part):
    """All data of one module; `supported_codes`: how many it can store, None where it was not asked."""

    module: Text
    readings: tuple[ReadingPart, ...]
    tests: tuple[ResultPart, ...]
    in_use: tuple[CounterPart, ...]
    identification: tuple[NumberedPart, ...]
    stored: tuple[RecordPart, ...]
    maturing: tuple[MaturingPart, ...]
    supported_codes: int | None


def data_part(data: ModuleData) -> DataPart:
    """What a module told as a part of the sheet."""
    return DataPart(
        module=data.label,
        readings=tuple(map(ReadingPart.model_validate, data.readings)),
        tests=tuple(map(ResultPart.model_validate, data.tests)),
        in_use=tuple(CounterPart(name=name, count=count) for name, count in data.in_use),
        identification=tuple(
            NumberedPart(number=number, name=name, value=value) for number, name, value in data.identification
        ),
        stored=tuple(map(_record, data.kept)),
        maturing=tuple(MaturingPart(code=code, counter=counter) for code, counter in data.maturing),
        supported_codes=data.supported_codes,
    )


def clock_parts(data: Iterable[ModuleData]) -> tuple[ClockPart, ...]:
    """What belongs to the visit, not to the vehicle."""
    return tuple(ClockPart(module=one.label, **asdict(line)) for one in data for line in one.clocks)


def _record(line: RecordLine) -> RecordPart:
    readings = tuple(map(ReadingPart.model_validate, line.readings))
    return RecordPart(code=str(line.dtc), kind=line.kind, record=line.record, readings=readings)


# -- on paper -------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class TableView:
    """A table of the appendix."""

    title: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class AppendixView:
    """All data of one module, for who asks for them."""

    module: str
    tables: tuple[TableView, ...]


def results_to_look_at(data: Sequence[DataPart]) -> Iterator[tuple[str, str]]:
    """Module and words of each result that failed, then of those that only just passed."""
    results = [(part.module, test) for part in data for test in part.tests]
    for module, test in results:
        if test.verdict == FAILED:
            yield module, f"{_result(test)}: FAILED, {_beyond(test)}"
    for module, test in results:
        if test.near:
            yield module, f"{_result(test)}: passed, but only just"


def _result(test: ResultPart) -> str:
    return f"{test.what}, {test.test}: {_with_unit(test.value, test)}, allowed {_limits(test)}"


def _limits(test: ResultPart) -> str:
    if test.low is not None and test.high is not None:
        return f"{_number(test.low)} to {_number(test.high)}"
    if test.low is not None:
        return f"from {_number(test.low)}"
    return f"up to {_number(test.high)}" if test.high is not None else "any"


def _beyond(test: ResultPart) -> str:
    return f"{_with_unit(-test.margin, test)} beyond" if test.margin else "beyond its limit"


def _with_unit(value: float | None, test: ResultPart) -> str:
    return "" if value is None else f"{_number(value)} {test.unit}".rstrip()


def _number(value: float | None) -> str:
    return "" if value is None else number_text(value)


def on_their_way(data: Sequence[DataPart]) -> Iterator[tuple[str, str]]:
    """Module and words of each code whose test fails but has not failed long enough."""
    for part in data:
        for item in part.maturing:
            if 0 < item.counter < COUNTER_FAILED:
                yield part.module, f"{item.code}: fault detection counter {item.counter} of {COUNTER_FAILED}"


def appendix(data: Sequence[DataPart], clocks: Sequence[ClockPart] = ()) -> Iterator[AppendixView]:
    """Every module that has any data, in tables."""
    for part in data:
        own = tuple(clock for clock in clocks if clock.module == part.module)
        tables = tuple(table for table in (*_tables(part), _readings("Clocks", own)) if table.rows)
        if tables:
            yield AppendixView(part.module, tables)


def _readings(title: str, readings: Iterable[ReadingPart]) -> TableView:
    return TableView(title, ("No.", "Reading", "Value"), tuple((r.number, r.name, r.text) for r in readings))


def _tables(part: DataPart) -> Iterator[TableView]:
    yield _readings("Readings", part.readings)
    yield TableView(
        "Test results",
        ("No.", "Of", "Test", "Value", "Limits", "Margin", "Result"),
        tuple(
            (t.number, t.what, t.test, _with_unit(t.value, t), _limits(t), _with_unit(t.margin, t), t.verdict)
            for t in part.tests
        ),
    )
    yield TableView("In use", ("Counter", "Count"), tuple((c.name, str(c.count)) for c in part.in_use))
    yield TableView(
        "Identification",
        ("No.", "What", "Value"),
        tuple((line.number, line.name, line.value) for line in part.identification),
    )
    yield TableView(
        "Stored with the codes",
        ("Code", "Record", "No.", "Reading", "Value"),
        tuple(
            (record.code, f"{record.kind} {record.record:02X}", r.number, r.name, r.text)
            for record in part.stored
            for r in record.readings
        ),
    )
