"""No question is forgotten: the standards' tables are walked, and over each framing somebody answers.

Foreign reader of service 19: udsoncan, except 55, 56 and 1A, which it does not know or reads wrongly (see
test_classroom_foreign).
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from udsoncan.Response import Response
from udsoncan.services.ReadDTCInformation import ReadDTCInformation

from dtctriage.codes.dtc import Dtc
from dtctriage.guard import READING_SERVICES, GuardedLink
from dtctriage.link import BusProtocol, Link, Reply, Request
from dtctriage.services.answers import decode_answer
from dtctriage.services.j1979_info import info_type
from dtctriage.services.pids import data_lengths, readings, signals
from dtctriage.services.readings import Quantity
from dtctriage.services.uds_codes import Report
from dtctriage.services.uds_requests import ReadCodesRequest
from dtctriage_adapters.classroom.lesson import load_lesson
from dtctriage_adapters.classroom.lesson_checks import EMISSION_LANGUAGES
from dtctriage_adapters.classroom.obd_data import pid_data
from dtctriage_adapters.classroom.vehicle import Vehicle, build_vehicle
from dtctriage_reference import rows

Show = Callable[[str], Vehicle]
Say = Callable[..., bytes]
Plug = Callable[[Vehicle], Link]
TISCA, LUMO, ORRO, DENBY = (f"lessons/kinds/{name}" for name in ("tisca", "lumo", "orro", "denby"))

# -- the reports of service 19 --------------------------------------------------------------------------

CODE = {TISCA: Dtc.parse("P0646-11"), LUMO: Dtc.parse("P0443-13")}
GIVEN_BY = {
    # The vehicle and module that a report is asked of, where it is not the first one's engine module.
    **dict.fromkeys((0x1A, 0x42, 0x55, 0x56), (LUMO, "ECM")),
    **dict.fromkeys((0x0F, 0x10, 0x11, 0x17, 0x18, 0x19), (TISCA, "BCM")),
}
KEPT_IN_BODY = Dtc.parse("B1318-16")
NOT_READ_BY_UDSONCAN = {0x55, 0x56, 0x1A}


def report_request(number: int, dtc: Dtc) -> bytes:
    """The request for a report, with the masks wide open and the numbers that the demo's modules know."""
    row = next(row for row in rows("uds_19_reports") if int(row["sub"], 16) == number)
    values = {"SM": b"\xff", "SEV": b"\xff", "D": dtc.to_bytes(), "REC": b"\x01", "MEM": b"\x18"}
    values |= {"FG": b"\x33", "RG": b"\x01"}
    parameters = b"".join(values[name] for name in row["parameters"].split())
    return ReadCodesRequest(Report(number), parameters).encode()


@pytest.mark.parametrize("row", rows("uds_19_reports"), ids=lambda row: row["sub"])
def test_each_report_is_given(show: Show, ask: Say, row: dict[str, str]) -> None:
    number = int(row["sub"], 16)
    name, module = GIVEN_BY.get(number, (TISCA, "ECM"))
    vehicle = show(name)
    dtc = KEPT_IN_BODY if module == "BCM" else CODE[name]
    payload = ask(vehicle, module, report_request(number, dtc), 0.5 if number == 0x14 else 300.0)
    assert payload[:2] == bytes([0x59, number])
    ours = decode_answer(payload, True, vehicle.lesson.rest.definitions)
    assert ours.encode() == payload
    if row["words"].startswith("number"):
        assert int.from_bytes(payload[-2:], "big") > 0
    else:
        assert dtc in ours.codes
    if number not in NOT_READ_BY_UDSONCAN:
        read_by_udsoncan(vehicle, payload, dtc, number)


def read_by_udsoncan(vehicle: Vehicle, payload: bytes, dtc: Dtc, number: int) -> None:
    definitions = vehicle.lesson.rest.definitions
    theirs = ReadDTCInformation.interpret_response(
        Response(ReadDTCInformation, Response.Code.PositiveResponse, payload[1:]),
        number,
        standard_version=2013,
        didconfig={did: "B" * one.length for did, one in definitions.identifiers.items()},
        extended_data_size=1,
    ).service_data
    if theirs.dtcs:
        assert int.from_bytes(dtc.to_bytes(), "big") in [code.id for code in theirs.dtcs]
    else:
        assert theirs.dtc_count == int.from_bytes(payload[-2:], "big")


def test_stored_data_come_by_the_order_of_storing(show: Show, ask: Say) -> None:
    """05: numbers are the module's own, an empty one is no refusal, an impossible one is (ISO 14229-1)."""
    vehicle = show("third")
    first, second = (ask(vehicle, "ECM", f"1905{number:02X}") for number in (1, 2))
    assert (first[3:6].hex(), second[3:6].hex()) == ("042000", "061513")
    assert ask(vehicle, "ECM", "1905FF") == first + second[2:]
    assert ask(vehicle, "ECM", "190503").hex() == "590503"
    assert ask(vehicle, "ECM", "190509").hex() == ask(vehicle, "ECM", "190500").hex() == "7f1931"
    assert ask(vehicle, "ABS", "1905FF").hex() == "590501"


def test_a_record_by_number_is_that_of_every_code_that_failed(show: Show, ask: Say) -> None:
    payload = ask(show("third"), "ECM", "191601")
    assert payload.hex() == "591601" + "04200028" + "02" + "061513af" + "01"
    assert ask(show("third"), "ECM", "191603").hex() == "7f1931"


def test_a_mirror_is_kept_only_where_the_vehicle_has_one(show: Show, ask: Say) -> None:
    assert ask(show(TISCA), "ECM", "190FFF").hex() == "7f1912"
    kept = decode_answer(ask(show(TISCA), "BCM", "190FFF"), True)
    main = decode_answer(ask(show(TISCA), "BCM", "1902FF"), True)
    assert KEPT_IN_BODY in kept.codes and KEPT_IN_BODY not in main.codes


# -- info types and PIDs --------------------------------------------------------------------------------

INFO_ANSWERED_BY = {
    # Counts of messages are off CAN, and the protocol is told by OBD on UDS alone.
    **dict.fromkeys((0x01, 0x03, 0x05, 0x09, 0x0C), (DENBY, "09{:02X}")),
    **dict.fromkeys((0x07, 0x0B), (ORRO, "09{:02X}")),
    0x10: (LUMO, "22F8{:02X}"),
}


@pytest.mark.parametrize("row", rows("obd_info_types"), ids=lambda row: row["type"])
def test_each_info_type_is_answered(show: Show, row: dict[str, str]) -> None:
    number = int(row["type"], 16)
    name, request = INFO_ANSWERED_BY.get(number, (TISCA, "09{:02X}"))
    engine = next(m for m in show(name).modules if m.profile.id == "ECM")
    answers = [item.payload for item in engine.answer(bytes.fromhex(request.format(number)), False, 300.0)]
    assert answers and all(payload[0] in (0x49, 0x62) for payload in answers)
    assert info_type(number).kind == row["kind"]
    for payload in answers:
        assert decode_answer(payload, engine.profile.framing.is_can).encode() == payload


@pytest.mark.parametrize("row", rows("obd_pids"), ids=lambda row: row["pid"])
def test_each_pid_can_be_made_and_read_back(row: dict[str, str]) -> None:
    """The encoder holds a value to half a step of the table's scaling."""
    pid = int(row["pid"], 16)
    length = data_lengths(pid)[0]
    fields = [field for field in signals(pid) if field.start + field.size <= length]
    wanted = tuple(float(field.offset + 37 * field.scale) for field in fields)
    data = pid_data(pid, wanted or (1.0,))
    assert len(data) == length
    told = {one.name: one.value for one in readings(pid, data) if isinstance(one, Quantity)}
    for field, value in zip(fields, wanted, strict=True):
        assert told[field.name] == pytest.approx(value, abs=float(field.scale) / 2)


# -- every service over every framing -------------------------------------------------------------------

PROFILE = """format = 1
[vehicle]
make = "Ostrell"
model = "Test"
[[module]]
id = "ECM"
role = "engine_control_a"
request = {node}
framing = "{framing}"
speaks = [{speaks}]
buses = ["B"]
calibration = "KV20"
[[bus]]
id = "B"
protocol = "{protocol}"
line = ["ECM", "far end"]
terminated_in = ["ECM", "ECM"]
at_connector = "ECM"
"""
REST = """format = 1
[monitors]
ECM = ["components"]
[readings.ECM]
0C = 0
[freeze_frames]
ECM = 2
[local.ECM]
01 = "AA"
[[oxygen_test]]
module = "ECM"
sensor = 1
test = 1
value = 0.45
[[limit_test]]
module = "ECM"
test = 1
component = 1
limit_is = "lowest"
value = 2
limit = 1
[[monitor_test]]
module = "ECM"
monitor = 1
test = 1
scaling = 1
value = 1
"""
LESSON = """format = 1
vehicle = "x.vehicle.toml"
rest = "x.rest.toml"
[order]
number = "1"
complaint = "none"
technician = "A"
shop = "B"
vin = "1D4GP00R55B123456"
odometer = 1
[[history]]
module = "ECM"
code = "P0133"
status = 0x2F
[[history]]
module = "ECM"
code = "P0420"
status = 0x28
"""
REQUESTS = {
    0x01: "010C",
    0x02: "020C00",
    0x03: "03",
    0x05: "050101",
    0x06: "0601",
    0x07: "07",
    0x09: "0902",
    0x0A: "0A",
    0x10: "1001",
    0x13: "13FF00",
    0x17: "170133",
    0x18: "1800FF00",
    0x19: "1902FF",
    0x1A: "1A90",
    0x21: "2101",
    0x22: "22F190",
    0x3E: "3E00",
    0x81: "81",
    0x82: "82",
}
OTHERWISE = {"kwp": {0x3E: "3E"}, "obd_on_uds": {0x19: "194233081E"}}
"""KWP2000 has no sub-function behind 3E; a module of OBD on UDS alone lists codes by its own report."""
J1979_ON_CAN = {0x01, 0x02, 0x03, 0x06, 0x07, 0x09, 0x0A}
J1979_OFF_CAN = J1979_ON_CAN - {0x0A} | {0x05}
KWP = {0x13, 0x17, 0x18, 0x1A, 0x21}
KWP_LINE = {0x3E, 0x81, 0x82} | KWP
"""Without 10: the sessions of ISO 14230-3 have other numbers, which the guard does not let out."""
UDS = {0x10, 0x19, 0x22, 0x3E}
WALK = [
    *(
        (protocol, ("j1979", "uds"), J1979_ON_CAN | UDS)
        for protocol in BusProtocol
        if protocol.framing.is_can
    ),
    *((protocol, ("obd_on_uds",), UDS) for protocol in BusProtocol if protocol.framing.is_can),
    *((protocol, ("kwp",), KWP | {0x3E}) for protocol in BusProtocol if protocol.framing.is_can),
    (BusProtocol.ISO9141_2, ("j1979",), J1979_OFF_CAN),
    (BusProtocol.J1850_PWM, ("j1979",), J1979_OFF_CAN),
    (BusProtocol.J1850_VPW, ("j1979",), J1979_OFF_CAN),
    (BusProtocol.ISO14230_SLOW, ("j1979", "kwp"), J1979_OFF_CAN | KWP_LINE),
    (BusProtocol.ISO14230_FAST, ("j1979", "kwp"), J1979_OFF_CAN | KWP_LINE),
]
NODES = {"can11": 0x7E0, "can29": 0x18DA10F1}


def vehicle_on(folder: Path, protocol: BusProtocol, speaks: tuple[str, ...]) -> Vehicle:
    """A vehicle with one module that has something to say to every question of its languages."""
    framing = protocol.framing.value
    profile = PROFILE.format(
        node=NODES.get(framing, 0x10),
        framing=framing,
        speaks=", ".join(f'"{language}"' for language in speaks),
        protocol=protocol.value,
    ).replace(', "far end"', "")
    rest = REST if EMISSION_LANGUAGES & set(speaks) else REST.replace("[readings.ECM]\n0C = 0\n", "")
    for name, text in (("vehicle", profile), ("rest", rest), ("lesson", LESSON)):
        (folder / f"x.{name}.toml").write_text(text, encoding="utf-8")
    return build_vehicle(load_lesson(folder / "x.lesson.toml"))


def answered(link: Link, vehicle: Vehicle) -> set[int]:
    """The services that the module answers positively over a link; a K-line is started first."""
    module = vehicle.lesson.profile.module[0]
    requests = dict(REQUESTS)
    for language in module.speaks:
        requests |= OTHERWISE.get(language, {})
    found = set()
    for service in sorted(requests, key=lambda number: (number != 0x81, number)):
        outcomes = link.exchange([Request(module.target, bytes.fromhex(requests[service]))])
        payloads = [item.payload for item in outcomes if isinstance(item, Reply)]
        if payloads and payloads[0][0] == service + 0x40:
            found.add(service)
    return found


def test_every_service_that_may_be_sent_has_a_question_here() -> None:
    assert set(REQUESTS) == set(READING_SERVICES)
    assert set().union(*(expected for _, _, expected in WALK)) == set(READING_SERVICES)


@pytest.mark.parametrize(
    ("protocol", "speaks", "expected"), WALK, ids=lambda item: getattr(item, "value", None)
)
def test_each_service_is_answered_over_each_framing(
    tmp_path: Path, text_link: Plug, protocol: BusProtocol, speaks: tuple[str, ...], expected: set[int]
) -> None:
    vehicle = vehicle_on(tmp_path, protocol, speaks)
    link = GuardedLink(text_link(vehicle))
    link.open_bus(protocol)
    assert answered(link, vehicle) == expected
