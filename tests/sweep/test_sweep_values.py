"""Current data, test results and what else the masks offer: asked in few requests, each answer kept."""

from __future__ import annotations

from typing import Any

import pytest

from dtctriage.link import BusProtocol, Notice, NoticeKind, Opened, Request
from dtctriage.services.j1979_tests import MonitorResult
from dtctriage.services.supported import mask_of
from dtctriage.services.uds_codes import Report
from dtctriage.sweep.events import NoticeGiven, Silent, StageBegun
from dtctriage.sweep.known import Known
from dtctriage.sweep.run import Depth

Swept = Any
VALUES = {
    0x04: "40", 0x05: "5A", 0x0B: "63", 0x0C: "0BB8", 0x0D: "00", 0x0F: "3C", 0x11: "26", 0x1F: "0010",
    0x2F: "80", 0x42: "3138", 0x45: "03", 0x46: "3C", 0xA6: "0001E240",
}  # fmt: skip
"""Data of an engine module, by PID; A6 (odometer) lies in the sixth block."""


def data_of(pid: int) -> str:
    return mask_of(pid, VALUES).hex() if pid % 0x20 == 0 else VALUES.get(pid, "")


class Engine:
    """Services 01, 06 and 09 of a module at 7E0. `most`: PIDs that it takes in one request."""

    def __init__(self, most: int = 6) -> None:
        self.most = most

    def __call__(self, request: Request, turn: int) -> list[tuple[int, str]]:
        payload = request.payload
        if request.target.request not in (0x7DF, 0x7E0):
            return []
        if request.target.request == 0x7DF and payload != b"\x01\x00":
            return []
        answer = self._answer(payload)
        return [(0x7E8, answer)] if answer else []

    def _answer(self, payload: bytes) -> str:
        tests = {0x21: "2180030016000000462181030050000000" + "46", 0x3C: "3C82180012000000" + "20"}
        match payload[0]:
            case 0x01 if len(payload) - 1 <= self.most:
                told = [(pid, data_of(pid)) for pid in payload[1:]]
                return (
                    "41" + "".join(f"{pid:02X}{data}" for pid, data in told if data)
                    if any(data for _, data in told)
                    else ""
                )
            case 0x01:
                return "7F0112"
            case 0x06 if payload[1] % 0x20 == 0:
                return f"46{payload[1]:02X}{mask_of(payload[1], tests).hex()}" if payload[1] <= 0x20 else ""
            case 0x06:
                return f"46{tests[payload[1]]}"
            case 0x3E:
                return "7E00"
        return ""


def payloads(link: Any, service: str) -> list[str]:
    """What was asked of 7E0 in a service."""
    return [payload for target, payload in link.payloads if target == "7E0" and payload.startswith(service)]


def test_all_supported_current_data_are_read_six_at_a_time(swept: Swept) -> None:
    """SAE J1979: up to six PIDs in a request on CAN, each block's mask promising the next."""
    link = swept.Link(Engine())
    (module,) = swept.picture(link, rounds=1).modules.values()
    assert {pid: data.hex().upper() for pid, data in module.data.items()} == VALUES
    assert sorted(module.masks) == [0x00, 0x20, 0x40, 0x60, 0x80, 0xA0]
    asked = payloads(link, "01")
    masks = [f"01{block:02X}" for block in range(0x20, 0xC0, 0x20)]
    assert asked == ["0101", *masks, "0142", "0104050B0C0D0F", "01111F2F4546A6"]


@pytest.mark.parametrize("most", [1, 2, 5])
def test_what_does_not_fit_a_request_for_several_is_asked_singly(swept: Swept, most: int) -> None:
    link = swept.Link(Engine(most))
    (module,) = swept.picture(link, rounds=1).modules.values()
    assert {pid: data.hex().upper() for pid, data in module.data.items()} == VALUES
    asked = payloads(link, "01")
    assert [payload for payload in asked if len(payload) > 4] == ["0104050B0C0D0F"]
    assert len(asked) == len(set(asked))


def test_a_pid_that_an_answer_leaves_out_is_asked_again_alone(swept: Swept) -> None:
    engine = Engine()

    def forgetful(request: Request, turn: int) -> list[tuple[int, str]]:
        if request.payload.hex().upper() == "0104050B0C0D0F":
            return [(0x7E8, "4104400C0BB8")]
        return engine(request, turn)

    link = swept.Link(forgetful)
    (module,) = swept.picture(link, rounds=1).modules.values()
    assert {pid: data.hex().upper() for pid, data in module.data.items()} == VALUES
    assert payloads(link, "01")[-4:] == ["0105", "010B", "010D", "010F"]


def test_test_results_of_every_monitor(swept: Swept) -> None:
    link = swept.Link(Engine())
    (module,) = swept.picture(link, rounds=1).modules.values()
    assert payloads(link, "06") == ["0600", "0620", "0621", "063C"]
    results = [result for result in module.tests if isinstance(result, MonitorResult)]
    assert [(result.mid, result.tid, result.raw) for result in results] == [
        (0x21, 0x80, 0x16),
        (0x21, 0x81, 0x50),
        (0x3C, 0x82, 0x12),
    ]


def test_obd_on_uds_is_walked_by_its_pages(swept: Swept) -> None:
    """SAE J1979-2: F4xx, F6xx and F8xx are services 01, 06 and 09; three identifiers fit one frame."""
    info = {0x02: b"G0ZKV5C2XP1000417".hex(), 0x0A: b"ECM\0-EngineControl".ljust(20, b"\0").hex()}
    tests = {0x21: "800300160000" + "0046"}

    def script(request: Request, turn: int) -> list[tuple[int, str]]:
        payload = request.payload.hex().upper()
        if payload == "22F810":
            return [(0x7E8, "62F81001")]
        if request.target.request != 0x7E0 or not payload.startswith("22"):
            return []
        dids = [payload[at : at + 4] for at in range(2, len(payload), 4)]
        tables = {"F4": VALUES, "F6": tests, "F8": info}
        told = ""
        for did in dids:
            table, number = tables.get(did[:2], {}), int(did[2:], 16)
            if number % 0x20 == 0:
                told += did + mask_of(number, table).hex()
            elif number in table:
                told += did + table[number]
        return [(0x7E8, f"62{told}" if told else "7F2231")]

    link = swept.Link(script)
    (module,) = swept.picture(link, rounds=1).modules.values()
    assert {pid: data.hex().upper() for pid, data in module.data.items()} == VALUES
    assert module.vins == {"service 09": "G0ZKV5C2XP1000417"}
    assert [result.mid for result in module.tests if isinstance(result, MonitorResult)] == [0x21]
    assert "22F404F405F40B" in payloads(link, "22F4")


def test_identifiers_that_the_profile_names_are_read(swept: Swept) -> None:
    def script(request: Request, turn: int) -> list[tuple[int, str]]:
        answers = {"3E00": "7E00", "223A02": "623A027B"}
        if request.target.request != 0x7E1:
            return []
        answer = answers.get(request.payload.hex().upper())
        return [(0x7E9, answer)] if answer else []

    known = {swept.target(0x7E1): Known(live=(0x3A02,))}
    (module,) = swept.picture(swept.Link(script), rounds=1, known=known).modules.values()
    assert module.identifiers == {0x3A02: b"\x7b"}
    assert set(module.heard_at) == {0x3A02}


# A deep intake ---------------------------------------------------------------------------------------------


def uds(request: Request, turn: int) -> list[tuple[int, str]]:
    """A UDS module at 7E1 with a code, a permanent one, one on its way and a user memory."""
    answers = {
        "3E00": "7E00",
        "22F18C": "62F18C" + b"S-4711".hex(),
        "1902AF": "5902FF03010009",
        "1914": "5914042000" + "40",
        "1915": "5915FF03010009",
        "190A": "590AFF03010009" + "04200050",
        "1917AF02": "591702FF12340009",
        "1904030100FF": "590403010009",
        "1918123400FF02": "591802" + "12340009" + "0101F40D21",
        "1919123400FF02": "591902" + "12340009" + "0105",
    }
    if request.target.request != 0x7E1:
        return []
    answer = answers.get(request.payload.hex().upper(), f"7F{request.payload[0]:02X}12")
    return [(0x7E9, answer)]


def test_a_deep_intake_reads_what_a_usual_one_leaves(swept: Swept) -> None:
    """ISO 14229-1: 19 15 permanent, 19 0A supported, 19 17-19 user memory; F180-F19F identification."""
    known = {swept.target(0x7E1): Known(user_memory=0x02)}
    link = swept.Link(uds)
    (module,) = swept.picture(link, rounds=1, depth=Depth.DEEP, known=known).modules.values()
    assert [(str(code.dtc), code.memory) for code in module.codes] == [
        ("P0301-00", "stored"),
        ("P0301-00", "permanent"),
        ("P1234-00", "user"),
    ]
    assert {str(dtc): status.value for dtc, status in module.supported.items()} == {
        "P0301-00": 0x09,
        "P0420-00": 0x50,
    }
    assert module.identifiers == {0xF18C: b"S-4711"}
    assert [(str(kept.dtc), kept.extended, kept.items) for kept in module.kept] == [
        ("P1234-00", False, ((0xF40D, b"\x21"),)),
        ("P1234-00", True, ((1, b"\x05"),)),
    ]
    asked = {payload for _, payload in link.payloads}
    assert "1904123400FF" not in asked
    assert {f"22F1{number:02X}" for number in range(0x80, 0xA0)} <= asked
    usual = swept.Link(uds)
    swept.picture(usual, rounds=1, known=known)
    reports = {payload[2:4] for _, payload in usual.payloads if payload.startswith("19")}
    assert reports == {f"{report:02X}" for report in (Report.BY_STATUS, Report.FAULT_COUNTERS, 4, 6)}


def test_codes_on_their_way_are_read_in_every_intake(swept: Swept) -> None:
    (module,) = swept.picture(swept.Link(uds), rounds=1).modules.values()
    assert {str(dtc): counter for dtc, counter in module.maturing.items()} == {"P0420-00": 0x40}


def test_kwp_codes_without_status_where_18_is_refused(swept: Swept) -> None:
    """ISO 14230-3 (from memory): 13 gives the codes of a group, 17 the status of one."""

    def script(request: Request, turn: int) -> list[tuple[int, str]]:
        answers = {"13FF00": "530203010420", "170301": "5701030160", "170420": "7F1731"}
        if request.target.request != 0x7E1:
            return []
        answer = answers.get(request.payload.hex().upper(), f"7F{request.payload[0]:02X}11")
        return [(0x7E9, answer)]

    link = swept.Link(script)
    (module,) = swept.picture(link, rounds=1).modules.values()
    assert [(str(code.dtc), code.now) for code in module.codes] == [("P0301", True), ("P0420", None)]
    assert module.codes_read and payloads(link, "13") == []


def test_oxygen_sensors_off_can_in_a_deep_intake(swept: Swept) -> None:
    """SAE J1979:2002 service 05 (from memory): a mask by sensor, then each test."""
    answers = {
        "0100": "4100" + mask_of(0, [0x13]).hex(), "0113": "411303", "050001": "450001C0000000",
        "050002": "45000280000000", "050101": "4501015A", "050201": "45020130", "050102": "4501025A",
        "0600": "4600FF80000000", "0601": "46010100640080",
    }  # fmt: skip

    def line(request: Request, turn: int) -> list[tuple[int, str]]:
        answer = answers.get(request.payload.hex().upper())
        return [(0x10, answer)] if answer else []

    def take(depth: Depth) -> tuple[Any, int]:
        link = swept.Link(line, opens=lambda _: Opened(BusProtocol.ISO9141_2, True))
        (module,) = swept.picture(link, rounds=1, depth=depth).modules.values()
        return link, len(module.tests)

    link, results = take(Depth.DEEP)
    assert results == 4
    assert [p for _, p in link.payloads if p.startswith("05")] == [
        "050001", "050002", "050101", "050201", "050102",
    ]  # fmt: skip
    link, results = take(Depth.USUAL)
    assert results == 1 and not any(payload.startswith("05") for _, payload in link.payloads)


# Freeze frames ---------------------------------------------------------------------------------------------


def test_further_freeze_frames_are_read_where_they_hold_a_code(swept: Swept) -> None:
    """Frame 00 is the law's, the numbers after it are the maker's (SAE J1979 service 02)."""
    frames = {
        "020200": "4202000301", "020201": "4202010420", "020202": "4202020000",
        "020000": "420000" + mask_of(0, [0x02, 0x05, 0x0C]).hex(),
        "0205000C00": "42050041" + "0C001AF8", "0205010C01": "42050155" + "0C010BB8",
    }  # fmt: skip

    def script(request: Request, turn: int) -> list[tuple[int, str]]:
        frame = frames | {"0100": "410080000000", "03": "43010301", "3E00": "7E00"}
        answer = frame.get(request.payload.hex().upper())
        return [(0x7E8, answer)] if answer and request.target.request in (0x7DF, 0x7E0) else []

    link = swept.Link(script)
    (module,) = swept.picture(link, rounds=1).modules.values()
    assert {frame: data[0x05].hex() for frame, data in module.frames.items() if 0x05 in data} == {
        0: "41",
        1: "55",
    }
    assert payloads(link, "020203") == []


# A dead bus and the stages' names --------------------------------------------------------------------------


@pytest.mark.parametrize(
    "kind", [NoticeKind.NO_ACKNOWLEDGE, NoticeKind.BUS_ERROR, NoticeKind.CAN_ERROR, NoticeKind.CAN_BLOCKED]
)
@pytest.mark.parametrize("protocol", [None, BusProtocol.CAN11_500])
def test_a_bus_that_nobody_acknowledges_is_told_once_and_called_once(
    swept: Swept, kind: NoticeKind, protocol: BusProtocol | None
) -> None:
    link = swept.Link(lambda request, _: [Notice(kind, "alone", "check the bus", request)])
    events = swept.events(link, rounds=3, protocol=protocol)
    assert [event.text for event in events if isinstance(event, NoticeGiven)] == ["alone"]
    assert [payload for _, payload in link.payloads] == ["22F810", "0100", *["3E00"] * 8]
    assert sum(isinstance(event, Silent) for event in events) == 10


def test_a_bus_that_fails_for_a_moment_is_called_on(swept: Swept) -> None:
    """Where somebody answers, each notice is told: how often it comes says how bad the contact is."""
    engine = Engine()

    def script(request: Request, turn: int) -> list[Any]:
        noise = [Notice(NoticeKind.CAN_ERROR, "noise", "check the bus", request)]
        return engine(request, turn) or (noise if request.target.request != 0x7E0 else [])

    link = swept.Link(script)
    events = swept.events(link, rounds=2, depth=Depth.QUICK)
    assert sum(payload == "0100" for _, payload in link.payloads) == 2
    assert sum(isinstance(event, NoticeGiven) for event in events) == 15


def test_a_replay_names_the_stage_of_its_questions(swept: Swept) -> None:
    asked = [
        "0100", "3E00", "0902", "22F190", "22F802", "03", "1902AF", "18" "00FF00", "0101", "22F442", "020200",
        "1904030100FF", "010C", "22F40C", "223A02", "0621", "22F621", "050101",
    ]  # fmt: skip
    link = swept.Link(lambda request, turn: [])
    events = swept.events(
        link, recorded=tuple(Request(swept.target(0x7E0), bytes.fromhex(payload)) for payload in asked)
    )
    begun = [(event.stage, event.questions) for event in events if isinstance(event, StageBegun)]
    assert begun == [
        ("adapter", 1),
        ("roll call", 2),
        ("identification", 3),
        ("codes", 3),
        ("state", 2),
        ("snapshots", 2),
        ("current data", 3),
        ("test results", 3),
    ]
    stages = {e.ask.payload.hex().upper(): e.ask.stage for e in events if isinstance(e, Silent)}
    assert len(stages) == len(asked)
