"""What a simulated module says to each request, read back with the tool's decoders and by udsoncan."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
import udsoncan
from hypothesis import given
from hypothesis import strategies as st
from udsoncan.services import ReadDTCInformation

from dtctriage.services.j1979_codes import CountedCodes, decode_codes
from dtctriage.services.j1979_data import decode_current_data, decode_freeze_frame
from dtctriage.services.j1979_info import InfoItems, decode_info
from dtctriage.services.pids import data_lengths, readings
from dtctriage.services.readiness import Readiness
from dtctriage.services.readings import Quantity
from dtctriage.services.supported import numbers_of
from dtctriage.services.uds import decode_data, decode_refusal
from dtctriage.services.uds_codes import decode_code_list, decode_count
from dtctriage_adapters.classroom.lesson import Lesson, load_lesson
from dtctriage_adapters.classroom.module import SimulatedModule
from dtctriage_adapters.classroom.obd_data import pid_data
from dtctriage_adapters.classroom.vehicle import build_vehicle

DEMO = Path(__file__).parents[2] / "demo"
LATE = 300.0
"""Seconds of key on by which every test of every module has judged."""


def lesson(name: str) -> Lesson:
    return load_lesson(DEMO / f"{name}.lesson.toml")


def module(name: str, module_id: str, **changes: object) -> SimulatedModule:
    given_lesson = lesson(name)
    file = given_lesson.file.model_copy(update=changes)
    vehicle = build_vehicle(replace(given_lesson, file=file))
    return next(item for item in vehicle.modules if item.profile.id == module_id)


def ask(asked: SimulatedModule, request: str, now: float = LATE, functional: bool = False) -> bytes:
    """The only answer to a request, b"" when there is none."""
    answers = asked.answer(bytes.fromhex(request), functional, now)
    assert len(answers) <= 1
    return answers[0].payload if answers else b""


HEALTHY = "lessons/yearly-service"


def test_the_masks_name_exactly_the_pids_that_are_answered() -> None:
    engine = module(HEALTHY, "ECM")
    named: set[int] = set()
    block = 0
    while True:
        data = decode_current_data(ask(engine, f"01{block:02X}")).data_of(block)
        assert data is not None
        numbers = numbers_of(block, data)
        named |= {number for number in numbers if number % 0x20}
        if block + 0x20 not in numbers:
            break
        block += 0x20
    answered = {pid for pid in range(256) if pid % 0x20 and ask(engine, f"01{pid:02X}")[0] == 0x41}
    assert named == answered
    # PIDs 00, 01, 1C and 42 are what every emission module has (SAE J1979, from memory).
    assert {0x01, 0x1C, 0x42} <= named


def test_several_pids_come_in_one_answer_and_absent_ones_are_left_out() -> None:
    answer = decode_current_data(ask(module(HEALTHY, "ECM"), "010C05FE42"))
    assert [item.pid for item in answer.items] == [0x0C, 0x05, 0x42]


def test_pid_42_is_the_modules_own_supply() -> None:
    vehicle = build_vehicle(lesson(HEALTHY))
    for item in vehicle.modules:
        if item.emission:
            data = decode_current_data(ask(item, "0142")).data_of(0x42)
            assert data is not None
            assert int.from_bytes(data, "big") == round(vehicle.effects.volts[item.profile.id] * 1000)


def test_a_healthy_vehicle_has_no_code_in_any_memory() -> None:
    for item in build_vehicle(lesson(HEALTHY)).modules:
        assert decode_code_list(ask(item, "1902AF")).records == ()
        assert decode_count(ask(item, "1901AF")).count == 0
        if item.emission:
            assert [ask(item, service).hex() for service in ("03", "07", "0A")] == ["4300", "4700", "4a00"]
            readiness = Readiness(decode_current_data(ask(item, "0101")).items[0].data)
            assert (readiness.mil_on, readiness.code_count, readiness.all_incomplete) == (False, 0, False)


def test_a_lost_partner_ages_into_a_code() -> None:
    """Bits of ISO 14229-1 Annex D: 50 after a clear; 27 failed and pending; 2F with confirmed."""
    selector = module("second", "GSM")
    after = selector.profile.lost_after

    def status(now: float) -> int:
        records = decode_code_list(ask(selector, "190A", now)).records
        return next(record.status.value for record in records if str(record.dtc) == "U0100-87")

    ages = [0.0, after - 0.01, after, 2 * after - 0.01, 2 * after]
    assert [status(now) for now in ages] == [0x50, 0x50, 0x27, 0x27, 0x2F]
    assert decode_code_list(ask(selector, "1902AF", after - 0.01)).records == ()


def test_a_partner_that_is_heard_passes_its_test() -> None:
    cluster = module("second", "IPC")
    records = decode_code_list(ask(cluster, "190A")).records
    assert {record.status.value for record in records} == {0}


def test_too_low_a_supply_leaves_the_tests_unjudged() -> None:
    starved = lesson(HEALTHY)
    profile = starved.profile.model_copy(
        update={"battery": starved.profile.battery.model_copy(update={"volts": 9.8})}
    )
    vehicle = build_vehicle(replace(starved, profile=profile))
    cluster = next(item for item in vehicle.modules if item.profile.id == "IPC")
    assert cluster.profile.works_from <= vehicle.effects.volts["IPC"] < cluster.profile.judges_from
    records = decode_code_list(ask(cluster, "190A")).records
    assert {record.status.value for record in records} == {0x50}


def test_an_engine_module_reports_one_memory_in_two_languages() -> None:
    engine = module("third", "ECM")
    stored = decode_codes(ask(engine, "03"), on_can=True)
    assert isinstance(stored, CountedCodes)
    assert [str(code) for code in stored.codes] == ["P0420", "P0615"]
    assert ask(engine, "07").hex() == "4701" + "0615"
    assert ask(engine, "0A").hex() == "4a01" + "0615"
    readiness = Readiness(decode_current_data(ask(engine, "0101")).items[0].data)
    assert readiness.mil_on and readiness.code_count == len(stored.codes)
    records = {str(r.dtc): r.status for r in decode_code_list(ask(engine, "1902FF")).records}
    assert records["P0615-13"].value == 0xAF
    assert records["P0420-00"].value == 0x28


def test_udsoncan_reads_the_code_list_alike() -> None:
    engine = module("third", "ECM")
    answer = udsoncan.Response.from_payload(ask(engine, "1902AF"))
    theirs = ReadDTCInformation.interpret_response(answer, 2).service_data
    ours = decode_code_list(ask(engine, "1902AF")).records
    assert [(code.id, code.status.get_byte_as_int()) for code in theirs.dtcs] == [
        (int.from_bytes(record.dtc.to_bytes(), "big"), record.status.value) for record in ours
    ]


def test_the_freeze_frame_belongs_to_the_first_confirmed_code() -> None:
    engine = module("third", "ECM")
    frame = decode_freeze_frame(ask(engine, "02020005000C00"))
    assert [(entry.item.pid, entry.frame) for entry in frame.items] == [(0x02, 0), (0x05, 0), (0x0C, 0)]
    assert frame.items[0].item.data.hex() == "0420"
    assert ask(engine, "020201").hex() == "7f0212"


def test_without_a_code_the_freeze_frame_names_none() -> None:
    assert ask(module(HEALTHY, "ECM"), "020200").hex() == "420200" + "0000"


@pytest.mark.parametrize("info", [0x02, 0x04, 0x06, 0x0A])
def test_vehicle_information_is_what_its_mask_says(info: int) -> None:
    engine = module(HEALTHY, "ECM")
    answer = decode_info(ask(engine, f"09{info:02X}"), on_can=True)
    assert isinstance(answer, InfoItems)
    assert info in numbers_of(0, ask(engine, "0900")[2:])


def test_the_vin_is_told_alike_by_both_services() -> None:
    engine = module(HEALTHY, "ECM")
    vin = lesson(HEALTHY).vin
    assert ask(engine, "0902")[3:].decode() == vin
    assert decode_data(ask(engine, "22F190")).data_of(0xF190) == vin.encode()


def test_the_paperwork_may_name_another_vehicle() -> None:
    engine = module(HEALTHY, "ECM", vin="G0ZKV5C24P1004950")
    assert ask(engine, "0902")[3:].decode() == "G0ZKV5C24P1004950" != lesson(HEALTHY).file.order.vin


def test_a_module_from_another_vehicle_keeps_its_vin_and_a_new_one_has_none() -> None:
    assert ask(module("lessons/auction", "TCM"), "0902")[3:].decode() == "G0ZKV5C2XP1000417"
    assert ask(module("lessons/auction", "RAD"), "22F190")[3:] == b"\xff" * 17
    assert ask(module("lessons/auction", "TPM"), "22F190").hex() == "7f2231"


def test_a_cleared_vehicle_says_so_by_its_readiness_and_counters() -> None:
    engine = module("lessons/auction", "ECM")
    data = decode_current_data(ask(engine, "0101303 1".replace(" ", "")))
    readiness = data.data_of(0x01)
    assert readiness is not None and Readiness(readiness).all_incomplete
    assert (data.data_of(0x30), data.data_of(0x31)) == (b"\x01", b"\x00\x0b")


REFUSALS = {
    # Request, negative response code (ISO 14229-1 Annex A: 11 service, 12 sub-function, 13 length, 31 range).
    "2E F190 00": 0x11,
    "14 FFFF": 0x13,
    "14 123456": 0x31,
    "27 01": 0x11,
    "31 01 0203": 0x11,
    "10 02": 0x12,
    "3E 05": 0x12,
    "19 55 33": 0x12,
    "10": 0x13,
    "10 01 00": 0x13,
    "19": 0x13,
    "19 02": 0x13,
    "22 F1": 0x13,
    "22 F190 F1": 0x13,
    "22 1234": 0x31,
}


@pytest.mark.parametrize(("request_text", "code"), REFUSALS.items())
def test_what_a_module_does_not_do_is_refused(request_text: str, code: int) -> None:
    asked = module(HEALTHY, "BCM")
    request = request_text.replace(" ", "")
    refusal = decode_refusal(ask(asked, request))
    assert (refusal.service, refusal.code) == (int(request[:2], 16), code)


def test_only_uds_means_that_service_01_is_not_supported() -> None:
    assert ask(module(HEALTHY, "BCM"), "0100").hex() == "7f0111"


def test_to_all_nobody_says_not_supported() -> None:
    """No 11, 12 or 31 to functional requests (SAE J1979; ISO 14229-1, 7.5), but 13 is said."""
    engine = module(HEALTHY, "ECM")
    for request in ("01FE", "0977", "2E00", "22 1234".replace(" ", ""), "3E05"):
        assert ask(engine, request, functional=True) == b""
    assert ask(engine, "0300", functional=True).hex() == "7f0313"


def test_the_suppress_bit_is_obeyed_and_a_session_ends_by_itself() -> None:
    body = module(HEALTHY, "BCM")
    assert ask(body, "1083", now=10.0) == b""
    assert ask(body, "22F186", now=10.1).hex() == "62f186" + "03"
    assert ask(body, "3E80", now=14.0) == b""
    assert ask(body, "22F186", now=18.9)[3] == 0x03
    # S3 server is 5 s (ISO 14229-2).
    assert ask(body, "22F186", now=24.0)[3] == 0x01
    assert ask(body, "1003", now=25.0).hex() == "5003" + "003201f4"


def test_response_pending_comes_first_and_the_answer_last() -> None:
    airbag = module("lessons/slow-talkers", "SRS")
    answers = airbag.answer(bytes.fromhex("1902AF"), False, LATE)
    assert [answer.payload.hex() for answer in answers] == ["7f1978", "7f1978", "59027f"]
    assert [answer.after for answer in answers] == pytest.approx([0.012, 0.212, 0.412])
    # While it works it takes nothing else; afterwards it does.
    assert airbag.answer(b"\x3e\x00", False, LATE + 0.4) == ()
    assert [item.payload.hex() for item in airbag.answer(b"\x3e\x00", False, LATE + 0.42)] == ["7e00"]


def test_an_unsteady_module_answers_two_of_three() -> None:
    tyres = module("lessons/auction", "TPM")
    assert [bool(ask(tyres, "3E00")) for _ in range(7)] == [True, True, False, True, True, False, True]


@given(payload=st.binary(max_size=12), functional=st.booleans(), now=st.floats(0, 1e5))
def test_any_request_gets_a_legal_answer_or_none(payload: bytes, functional: bool, now: float) -> None:
    for answer in ENGINE.answer(payload, functional, now):
        if answer.payload[0] == 0x7F:
            assert decode_refusal(answer.payload).service == payload[0]
        else:
            assert answer.payload[0] == payload[0] + 0x40


ENGINE = module("third", "ECM")


@given(
    pid=st.sampled_from([0x05, 0x0B, 0x0C, 0x11, 0x2F, 0x31, 0x33, 0x42, 0x46]), value=st.floats(-40, 2000)
)
def test_a_reading_comes_back_as_given_within_its_resolution(pid: int, value: float) -> None:
    data = pid_data(pid, (value,))
    (reading,) = readings(pid, data)
    assert isinstance(reading, Quantity)
    held = pid_data(pid, (reading.value,))
    assert held == data and len(data) == data_lengths(pid)[0]
