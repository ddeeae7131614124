"""Worked examples of requests and answers; each row of the three files names its source."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest

from dtctriage.services.answers import decode_answer
from dtctriage.services.explain import explain
from dtctriage.services.j1979_codes import decode_codes
from dtctriage.services.j1979_data import CurrentData, decode_current_data
from dtctriage.services.j1979_info import InfoItems, InfoPart, decode_info, join_info
from dtctriage.services.j1979_tests import MonitorResults, Verdict, decode_monitor_tests
from dtctriage.services.pids import Quantity, readings
from dtctriage.services.readiness import Readiness
from dtctriage.services.uds import Refusal, decode_refusal
from dtctriage.services.uds_codes import SUPPRESS, CodeCount
from dtctriage.services.uds_lists import FaultCounters, SeverityCodes
from dtctriage.services.uds_report import decode_report
from dtctriage.services.uds_snapshots import Snapshots

HERE = Path(__file__).parent


def table(name: str) -> list[dict[str, str]]:
    with (HERE / f"services_{name}.csv").open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def row_id(row: dict[str, str]) -> str:
    return f"{' '.join(list(row.values())[:2])[:40]} ({row['source']})"


def payload_of(text: str) -> bytes:
    """The payload of a frame written as bytes, or as identifier, length and bytes."""
    if re.match(r"^[0-9A-F]{3} |^[0-9A-F]{8} ", text):
        text = text.split(" ", 2)[2]
    return bytes.fromhex(text)


def payload_starts(text: str, *services: str) -> bool:
    """Whether the last frame of a row holds an answer of one of these services."""
    return re.match(rf"(18DAF100 \d\d )?({'|'.join(services)}) ", text.split(" / ")[-1]) is not None


PIDS = table("pid_examples")
FRAMES = table("frames")
REPORTS = table("uds_19_examples")


@pytest.mark.parametrize("row", [row for row in PIDS if re.fullmatch(r"-?[\d.]+", row["value"])], ids=row_id)
def test_pid_value(row: dict[str, str]) -> None:
    pid = int(row["pid"], 16)
    data = decode_current_data(payload_of(row["answer_hex"]), asked=[pid]).data_of(pid)
    assert data is not None
    if pid == 0x20:
        assert str(readings(pid, data)[0]) == f"supported PIDs: {row['value']}"
        return
    first = readings(pid, data)[0]
    assert isinstance(first, Quantity)
    assert first.value == pytest.approx(float(row["value"]), abs=0.005)
    assert first.unit == row["unit"]


WORDED = {
    "41 15 A0 78": ["oxygen sensor voltage 0.8 V", "trim -6.25 %"],
    "41 03 02 00": ["fuel system 1: closed loop", "fuel system 2: none"],
    "41 00 BF BF A8 91": [
        "supported PIDs: 01 03 04 05 06 07 08 09 0B 0C 0D 0E 0F 10 11 13 15 19 1C 20",
    ],
    "41 01 81 07 65 04": [
        "lamp: on",
        "codes 1",
        "ignition: spark",
        "misfire: complete",
        "fuel system: complete",
        "components: complete",
        "catalyst: complete",
        "evaporative: not complete",
        "oxygen sensor: complete",
        "oxygen sensor heater: complete",
    ],
}


@pytest.mark.parametrize("answer", WORDED)
def test_pid_in_words(answer: str) -> None:
    item = decode_current_data(bytes.fromhex(answer)).items[0]
    assert [str(reading) for reading in readings(item.pid, item.data)] == WORDED[answer]


def test_three_pids_in_one_freeze_frame_answer() -> None:
    """SCAPY-TEST: 42 0C 00 20 80 04 00 80 05 00 28."""
    payload = bytes.fromhex("42 0C 00 20 80 04 00 80 05 00 28")
    told = [part.meaning for part in explain(payload, on_can=True).parts]
    assert told[3::3] == [
        "engine speed 2080 rpm",
        "calculated load 50.2 %",
        "coolant temperature 0 degC",
    ]


def test_every_pid_example_is_used() -> None:
    numeric = {row["answer_hex"] for row in PIDS if re.fullmatch(r"-?[\d.]+", row["value"])}
    others = {row["answer_hex"] for row in PIDS} - numeric
    assert others == set(WORDED) | {"42 0C 00 20 80 04 00 80 05 00 28"}


CODE = re.compile(r"\b[PCBU][0-3][0-9A-F]{3}\b")


CODE_FRAMES = [row for row in FRAMES if payload_starts(row["frames"], "43", "47")]


@pytest.mark.parametrize("row", CODE_FRAMES, ids=row_id)
def test_codes_of_a_frame(row: dict[str, str]) -> None:
    payload = payload_of(row["frames"].split(" / ")[-1])
    message = decode_codes(payload, on_can=row["link"] != "legacy")
    told = [str(code) for code in message.codes]
    if row["reading"] == "no codes":
        assert told == []
    elif row["reading"] == "pending, same six":
        assert told == ["P0143", "P0196", "P0234", "P02CD", "P0357", "P0A24"]
    else:
        assert told == [code for code in CODE.findall(row["reading"]) if code != "P0000"]
    assert message.encode() == payload


def frames(link: str, start: str) -> str:
    """The bytes of one row of the frame examples."""
    return next(row["frames"] for row in FRAMES if row["link"] == link and row["frames"].startswith(start))


def test_vin_on_can() -> None:
    """SCAPY-TEST: 49 02, one item of 17 characters."""
    info = decode_info(b"\x49\x02\x01" + frames("can", "49 02 01 +").split()[-1].encode(), on_can=True)
    assert isinstance(info, InfoItems)
    assert info.texts == ("W0L000051T2123456",)


def test_vin_off_can() -> None:
    """ELM327J-p42: five messages, the first padded with three zero bytes."""
    parts = [
        decode_info(bytes.fromhex(line), on_can=False) for line in frames("legacy", "49 02").split(" / ")
    ]
    whole = join_info([part for part in parts if isinstance(part, InfoPart)])
    assert isinstance(whole, InfoItems)
    assert whole.texts == ("1D4GP00R55B123456",)


def test_vin_on_can_as_adapter_lines() -> None:
    """ELM327J-p42, ELM329-p38: a length and numbered lines; the joined bytes are one answer."""
    length, *lines = frames("can", "014").split(" / ")
    payload = bytes.fromhex("".join(line.split(":")[1] for line in lines))[: int(length, 16)]
    info = decode_info(payload, on_can=True)
    assert isinstance(info, InfoItems)
    assert info.texts == ("1D4GP00R55B123456",)


def test_monitor_results() -> None:
    """SCAPY-TEST: three records; limits of 0 and FFFF are none."""
    message = decode_monitor_tests(bytes.fromhex(frames("can", "46")))
    assert isinstance(message, MonitorResults)
    voltage, time, counts = message.results
    assert (voltage.value, voltage.low, voltage.high) == pytest.approx((365.024, 365.024, 365.024))
    assert (time.value, time.low, time.high, time.scaling.unit) == (72, 0, 100, "ms")
    assert (counts.value, counts.low, counts.high, counts.scaling.unit) == (150, 75, 65535, "counts")
    assert {result.verdict for result in message.results} == {Verdict.PASSED}
    assert [result.margin for result in message.results] == [0, 28, 75]


def test_refusals_of_the_frame_examples() -> None:
    """SCAPY-TEST: 7F 01 22 is final, 7F 01 78 is not."""
    refused = decode_refusal(bytes.fromhex(frames("any", "7F 01 22")))
    assert refused == Refusal(0x01, 0x22)
    assert refused.name == "ConditionsNotCorrect"
    assert refused.final
    assert not decode_refusal(bytes.fromhex("7F0178")).final


def test_every_frame_example_is_used() -> None:
    used = {row["frames"] for row in CODE_FRAMES}
    rest = {row["frames"] for row in FRAMES} - used
    assert {line.split()[0] for line in rest} == {"49", "46", "014", "7F"}


@pytest.mark.parametrize("row", REPORTS, ids=row_id)
def test_report(row: dict[str, str]) -> None:
    payload = bytes.fromhex(row["answer_hex"])
    message = decode_answer(payload, on_can=True)
    assert message.encode() == payload
    told = [str(code) for code in message.codes]
    stated = re.findall(r"\b[PCBU][0-9A-F]{4}-[0-9A-F]{2}\b", row["reading"])
    if stated or not isinstance(message, Snapshots | FaultCounters):  # two readings leave the codes out
        assert told == stated
    if payload[0] == 0x59:
        assert bool(payload[1] & SUPPRESS) == ("suppress bit seen" in row["reading"])
    if isinstance(message, CodeCount):
        assert f"count {message.count}" in row["reading"]
    if row["request_hex"]:
        request = bytes.fromhex(row["request_hex"])
        assert b"".join(part.data for part in explain(request, on_can=True).parts) == request


def test_severities_counters_and_snapshot_of_the_report_examples() -> None:
    """UDSONCAN-TEST, PUBLIC-NOTES (ISO 14229-1 worked examples)."""
    severity = decode_report(bytes.fromhex("59 08 FB 80 99 12 34 56 20 40 88 12 34 57 60"))
    assert isinstance(severity, SeverityCodes)
    assert [(r.severity.value, r.unit, r.status.value) for r in severity.records] == [
        (0x80, 0x99, 0x20),
        (0x40, 0x88, 0x60),
    ]
    counters = decode_report(bytes.fromhex("5914123456011234577E"))
    assert isinstance(counters, FaultCounters)
    assert [record.counter for record in counters.records] == [1, 126]
    snapshot = decode_report(bytes.fromhex("59 04 12 34 56 24 02 01 47 11 A6 66 07 50 20"))
    assert isinstance(snapshot, Snapshots)
    (record,) = snapshot.records
    assert (record.number, [(i.did, i.data.hex()) for i in record.items]) == (2, [(0x4711, "a666075020")])
    no_match = decode_report(bytes.fromhex("59027F"))
    assert no_match.codes == ()


def test_readiness_of_the_data_sheet_example() -> None:
    """ELM327J-p34: 41 01 81 07 65 04."""
    answer = decode_current_data(bytes.fromhex("410181076504"))
    assert isinstance(answer, CurrentData)
    readiness = Readiness(answer.items[0].data)
    assert (readiness.mil_on, readiness.code_count, readiness.compression_ignition) == (True, 1, False)
    incomplete = [monitor.name for monitor in readiness.monitors if monitor.complete is False]
    assert incomplete == ["evaporative"]
