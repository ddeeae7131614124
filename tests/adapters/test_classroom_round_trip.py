"""Every answer of every module, taken apart by the tool's decoders and put together again by its encoders."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest

from dtctriage.codes.dtc import Dtc
from dtctriage.services import obd_on_uds
from dtctriage.services.answers import decode_answer
from dtctriage.services.j1979_data import CurrentData
from dtctriage.services.j1979_info import InfoItems, InfoMask, RawInfo
from dtctriage.services.j1979_tests import MonitorMasks, MonitorResults
from dtctriage.services.uds_codes import Report
from dtctriage.services.uds_requests import ReadCodesRequest
from dtctriage_adapters.classroom.module import SimulatedModule
from dtctriage_adapters.classroom.vehicle import Vehicle
from dtctriage_reference import rows

LATE = 300.0
BYTES = range(0x100)
KINDS = ("tisca", "lumo", "orro", "denby")
LESSONS = ("third", *(f"lessons/kinds/{kind}" for kind in KINDS))

ANSWERED = {
    # What each vehicle's modules answer positively, by the service id of the answer.
    "third": {0x41, 0x42, 0x43, 0x46, 0x47, 0x49, 0x4A, 0x50, 0x59, 0x62, 0x7E},
    "lessons/kinds/tisca": {
        *(0x41, 0x42, 0x43, 0x46, 0x47, 0x49, 0x4A, 0x50, 0x59, 0x62, 0x7E),
        *(0x53, 0x57, 0x58, 0x5A, 0x61),
    },
    "lessons/kinds/lumo": {0x50, 0x59, 0x62, 0x7E},
    "lessons/kinds/orro": {
        *(0x41, 0x42, 0x43, 0x46, 0x47, 0x49),
        *(0x50, 0x53, 0x57, 0x58, 0x5A, 0x61, 0x7E),
    },
    "lessons/kinds/denby": {0x41, 0x42, 0x43, 0x45, 0x46, 0x47, 0x49},
}
REPORTS = {
    # The reports of service 19 that each vehicle gives.
    "third": {*range(0x01, 0x0F), *range(0x12, 0x1A)},
    "lessons/kinds/tisca": {*range(0x01, 0x1A)},
    "lessons/kinds/lumo": {*range(0x01, 0x0F), 0x14, 0x15, 0x16, 0x1A, 0x42, 0x55, 0x56},
}


def requests(vehicle: Vehicle, module: SimulatedModule) -> Iterator[bytes]:
    """Every reading request with every number that it can name."""
    for number in BYTES:
        yield from (bytes([service, number]) for service in (0x01, 0x06, 0x09, 0x1A, 0x21))
        yield from (bytes([0x02, number, frame]) for frame in range(3))
        yield from (bytes([0x05, number, 1 << place]) for place in range(8))
        yield from (bytes([0x22, page, number]) for page in (0xF1, 0xF4, 0xF6, 0xF8, 0x3A))
    yield from (bytes([service]) for service in (0x03, 0x07, 0x0A, 0x13, 0x3E))
    yield from (bytes.fromhex(text) for text in ("1001", "1003", "1081", "3E00", "3E01", "13FF00"))
    for wanted in range(4):
        yield from (bytes([0x18, wanted, group, 0x00]) for group in (0xFF, 0x00, 0x40, 0x80, 0xC0))
    codes = {dtc for known in vehicle.modules for dtc in codes_of(known)}
    for dtc in codes | {Dtc(0x1234, 0x56)}:
        yield b"\x17" + dtc.to_bytes()[:2]
        yield from reports(dtc)


def codes_of(module: SimulatedModule) -> set[Dtc]:
    """The codes that a module says it has."""
    found: set[Dtc] = set()
    for request in (b"\x19\x0a", b"\x19\x1a\x01", b"\x18\x01\xff\x00", b"\x03"):
        for answer in module.answer(request, False, LATE):
            if answer.payload[0] != 0x7F:
                codes = decode_answer(answer.payload, module.profile.framing.is_can).codes
                found |= {Dtc(dtc.number, dtc.failure_type or 0) for dtc in codes}
    return found


def reports(dtc: Dtc) -> Iterator[bytes]:
    """Each report of service 19 with several numbers in the place of its record, memory and groups."""
    for row in rows("uds_19_reports"):
        report = Report(int(row["sub"], 16))
        for record in (0x00, 0x01, 0x02, 0x18, 0x33, 0x90, 0xF0, 0xFF):
            values = {"SM": b"\xff", "SEV": b"\xff", "D": dtc.to_bytes(), "MEM": b"\x18", "FG": b"\x33"}
            values |= {"REC": bytes([record]), "RG": bytes([record])}
            parameters = b"".join(values[name] for name in row["parameters"].split())
            yield ReadCodesRequest(report, parameters).encode()


@pytest.mark.parametrize("name", LESSONS)
def test_what_is_answered_decodes_and_encodes_to_itself(show: Callable[[str], Vehicle], name: str) -> None:
    vehicle = show(name)
    definitions = vehicle.lesson.rest.definitions
    answered: set[int] = set()
    given: set[int] = set()
    for module in vehicle.modules:
        on_can = module.profile.framing.is_can
        for request in dict.fromkeys(requests(vehicle, module)):
            for answer in module.answer(request, False, LATE):
                payload = answer.payload
                assert decode_answer(payload, on_can, definitions).encode() == payload, request.hex()
                if payload[0] == 0x7F:
                    assert payload[1] == request[0]
                    continue
                assert payload[0] == request[0] + 0x40
                answered.add(payload[0])
                if payload[0] == 0x59:
                    given.add(payload[1])
    assert answered == ANSWERED[name]
    assert given == REPORTS.get(name, set())


@pytest.mark.parametrize("module_id", ["ECM", "TCM"])
def test_obd_on_uds_gives_j1979_values(
    show: Callable[[str], Vehicle], ask: Callable[..., bytes], module_id: str
) -> None:
    """What 22 F4xx, F6xx and F8xx carry reads back as the values of J1979."""
    vehicle = show("lessons/kinds/lumo")
    heard = {CurrentData: 0, MonitorMasks: 0, MonitorResults: 0, InfoMask: 0, InfoItems: 0}
    decoders = {0xF4: obd_on_uds.decode_current_data, 0xF6: obd_on_uds.decode_monitor_tests}
    decoders[0xF8] = obd_on_uds.decode_info
    for page, decode in decoders.items():
        for number in BYTES:
            payload = ask(vehicle, module_id, bytes([0x22, page, number]))
            if payload[0] == 0x62:
                message = decode(payload)
                assert not isinstance(message, RawInfo)
                heard[type(message)] += 1
    assert heard[CurrentData] > 6 and heard[InfoMask] == 1 and heard[InfoItems] >= 5
    assert (heard[MonitorMasks] > 0) == (heard[MonitorResults] > 0) == (module_id == "ECM")
