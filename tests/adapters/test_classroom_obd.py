"""SAE J1979 and J1979-2 in the mouth of a simulated module: frames, test results, information."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from dtctriage.services import obd_on_uds
from dtctriage.services.j1979_data import decode_freeze_frame
from dtctriage.services.j1979_info import (
    InfoItems,
    InfoMessageCount,
    InfoPart,
    counter_name,
    decode_info,
    join_info,
)
from dtctriage.services.j1979_tests import MonitorResults, Verdict, decode_monitor_tests
from dtctriage.services.j1979_tests_legacy import (
    OneLimitMask,
    OneLimitTest,
    OxygenConstant,
    OxygenTest,
    OxygenTestMask,
    decode_one_limit_test,
    decode_oxygen_test,
)
from dtctriage.services.readiness import Readiness
from dtctriage.services.supported import numbers_of
from dtctriage_adapters.classroom.assembly import build_module
from dtctriage_adapters.classroom.lesson_file import History
from dtctriage_adapters.classroom.vehicle import Vehicle

Show = Callable[[str], Vehicle]
Say = Callable[..., bytes]
TISCA, LUMO, ORRO, DENBY = (f"lessons/kinds/{name}" for name in ("tisca", "lumo", "orro", "denby"))


def answers(vehicle: Vehicle, module_id: str, request: str, now: float = 300.0) -> list[bytes]:
    """Off CAN a module may send several messages."""
    module = next(item for item in vehicle.modules if item.profile.id == module_id)
    return [answer.payload for answer in module.answer(bytes.fromhex(request), True, now)]


def test_no_frame_before_a_code_is_confirmed(show: Show, ask: Say) -> None:
    """PID 02 = 0000: no frame stored, and nothing else is answered from it (facts of J1979, from memory)."""
    vehicle = show(TISCA)
    assert ask(vehicle, "ECM", "020200", now=1.99).hex() == "420200" + "0000"
    assert ask(vehicle, "ECM", "020500", now=1.99).hex() == "7f0212"
    frame = decode_freeze_frame(ask(vehicle, "ECM", "02020005004200", now=2.0))
    assert [entry.item.data.hex() for entry in frame.items[:2]] == ["0646", "35"]


def test_a_module_may_keep_frames_of_its_makers(show: Show) -> None:
    """The van's engine module keeps two; only one code came, so only frame 00 holds anything."""
    vehicle = show(ORRO)
    assert answers(vehicle, "ECM", "020200") == [bytes.fromhex("420200" + "0403")]
    assert answers(vehicle, "ECM", "020201") == []


def test_the_second_confirmed_code_has_the_second_frame(show: Show) -> None:
    vehicle = show(ORRO)
    old = History(module="ECM", code="P0101", status=0x28)
    lesson = replace(vehicle.lesson, file=vehicle.lesson.file.model_copy(update={"history": (old,)}))
    engine = build_module(lesson.profile.module_named("ECM"), lesson, vehicle.course)
    codes = [engine.answer(bytes([0x02, 0x02, frame]), True, 300.0)[0].payload[3:].hex() for frame in (0, 1)]
    assert codes == ["0101", "0403"]
    assert engine.answer(b"\x02\x02\x02", True, 300.0) == ()


def test_results_fail_outside_their_limits_and_have_not_run_where_the_monitor_has_not(
    show: Show, ask: Say
) -> None:
    vehicle = show(LUMO)
    purge = obd_on_uds.decode_monitor_tests(ask(vehicle, "ECM", "22F63D"))
    assert isinstance(purge, MonitorResults)
    (result,) = purge.results
    assert result.verdict is Verdict.FAILED
    assert (result.value, result.low, result.high) == pytest.approx((0.12, 0.5, 4.0))
    assert result.margin == pytest.approx(-0.38)
    cleared = show("lessons/auction")
    catalyst = decode_monitor_tests(ask(cleared, "ECM", "0621"), 0x21)
    assert isinstance(catalyst, MonitorResults)
    assert [item.verdict for item in catalyst.results] == [Verdict.NOT_RUN]
    misfire = decode_monitor_tests(ask(cleared, "ECM", "06A2"), 0xA2)
    assert isinstance(misfire, MonitorResults)
    assert [item.verdict for item in misfire.results] == [Verdict.PASSED]


def test_masks_of_monitors_come_together(show: Show, ask: Say) -> None:
    answer = ask(show(TISCA), "ECM", "06002080A0")
    assert answer[0] == 0x46
    blocks = {answer[at]: answer[at + 1 : at + 5] for at in range(1, len(answer), 5)}
    named = {n for block, mask in blocks.items() for n in numbers_of(block, mask) if n % 0x20}
    assert named == {0x01, 0x21, 0xA2}


def test_a_module_without_tests_refuses_the_service(show: Show, ask: Say) -> None:
    assert ask(show(TISCA), "TCM", "0600").hex() == "7f0612"
    assert ask(show(TISCA), "ECM", "050001").hex() == "7f0511"


def test_oxygen_sensor_tests_are_told_off_can(show: Show) -> None:
    vehicle = show(DENBY)
    (mask,) = answers(vehicle, "ECM", "050001")
    told = decode_oxygen_test(mask)
    assert isinstance(told, OxygenTestMask)
    assert numbers_of(0, told.mask) == (0x01, 0x05)
    constant, measured = (decode_oxygen_test(answers(vehicle, "ECM", f"05{t}01")[0]) for t in ("01", "05"))
    assert isinstance(constant, OxygenConstant) and isinstance(measured, OxygenTest)
    # 0.45 V in steps of 5 mV; 60 ms of at most 100 in steps of 4 ms (SCAPY).
    assert (constant.raw, measured.raw, measured.raw_high) == (90, 15, 25)
    assert measured.verdict is Verdict.PASSED
    assert answers(vehicle, "ECM", "050501") and answers(vehicle, "ECM", "050502") == []


def test_tests_with_one_limit_are_told_off_can(show: Show) -> None:
    vehicle = show(DENBY)
    (mask,) = answers(vehicle, "ECM", "0600")
    told = decode_one_limit_test(mask)
    assert isinstance(told, OneLimitMask)
    assert numbers_of(0, told.mask) == (0x0A, 0x20)
    (leak,) = (decode_one_limit_test(item) for item in answers(vehicle, "ECM", "060A"))
    (catalyst,) = (decode_one_limit_test(item) for item in answers(vehicle, "ECM", "0621"))
    assert isinstance(leak, OneLimitTest) and isinstance(catalyst, OneLimitTest)
    assert (leak.verdict, leak.margin) == (Verdict.PASSED, 39)
    assert (catalyst.verdict, catalyst.margin) == (Verdict.FAILED, -24)
    # One number, two limits: two messages.
    assert len(answers(show(ORRO), "ECM", "0631")) == 2


@pytest.mark.parametrize(("name", "further"), [(DENBY, (0x0C, 0x0D)), (ORRO, (0x07, 0x0B))])
def test_off_can_a_count_says_in_how_many_messages_each_item_comes(
    show: Show, name: str, further: tuple[int, int]
) -> None:
    vehicle = show(name)
    (mask,) = answers(vehicle, "ECM", "0900")
    offered = numbers_of(0, mask[3:])
    pairs = [(0x01, 0x02), (0x03, 0x04), (0x05, 0x06), (0x09, 0x0A), further]
    assert set(offered) == {number for pair in pairs for number in pair}
    for count_type, item_type in pairs:
        (payload,) = answers(vehicle, "ECM", f"09{count_type:02X}")
        count = decode_info(payload, on_can=False)
        parts = [decode_info(item, on_can=False) for item in answers(vehicle, "ECM", f"09{item_type:02X}")]
        assert isinstance(count, InfoMessageCount) and count.count == len(parts)
        whole = join_info([part for part in parts if isinstance(part, InfoPart)])
        assert isinstance(whole, InfoItems) and whole.type == item_type


def test_in_use_counters_are_named_by_the_kind_of_ignition(show: Show, ask: Say) -> None:
    parts = [decode_info(item, on_can=False) for item in answers(show(ORRO), "ECM", "090B")]
    diesel = join_info([part for part in parts if isinstance(part, InfoPart)])
    spark = decode_info(ask(show(TISCA), "ECM", "0908"), on_can=True)
    assert isinstance(diesel, InfoItems) and isinstance(spark, InfoItems)
    assert (len(diesel.numbers), len(spark.numbers)) == (18, 20)
    assert diesel.numbers[2:4] == (7110, 8120) and counter_name(0x0B, 2) == "NMHC catalyst, completed"
    assert spark.numbers[2:4] == (377, 402) and counter_name(0x08, 2) == "catalyst bank 1, completed"


def test_further_information_is_what_the_rest_file_gives(show: Show, ask: Say) -> None:
    serial = decode_info(ask(show(TISCA), "ECM", "090D"), on_can=True)
    assert isinstance(serial, InfoItems) and serial.texts == ("TS18M40071133",)


def test_readiness_of_a_compression_ignition_engine(show: Show) -> None:
    (payload,) = answers(show(ORRO), "ECM", "0101")
    readiness = Readiness(payload[2:])
    assert readiness.compression_ignition
    monitored = {monitor.name for monitor in readiness.monitors if monitor.monitored}
    assert monitored == set(show(ORRO).lesson.rest.monitors["ECM"])


def test_permanent_codes_are_not_told_off_can(show: Show, ask: Say) -> None:
    """Only CAN vehicles have them (SCAPY-TEST, MAKER-LIT): a module off CAN does not know the service."""
    assert ask(show(DENBY), "TCM", "0A").hex() == "7f0a11"
    assert answers(show(DENBY), "TCM", "0A") == []


# -- OBD on UDS -----------------------------------------------------------------------------------------


def test_obd_on_uds_answers_all_at_once_and_j1979_not_at_all(show: Show) -> None:
    vehicle = show(LUMO)
    for request in ("22F810", "22F401", "22F802", "194233081E", "195533"):
        for module in ("ECM", "TCM"):
            (payload,) = answers(vehicle, module, request)
            assert payload[0] == int(request[:2], 16) + 0x40
    for service in range(0x01, 0x0B):
        assert answers(vehicle, "ECM", f"{service:02X}00") == []


def test_only_emission_modules_say_that_they_speak_obd_on_uds(show: Show, ask: Say) -> None:
    vehicle = show(LUMO)
    assert obd_on_uds.speaks_obd_on_uds(ask(vehicle, "ECM", "22F810"))
    assert ask(vehicle, "GW", "22F810").hex() == "7f2231"
    assert ask(vehicle, "GW", "194233081E").hex() == "7f1912"
    assert ask(vehicle, "GW", "14FFFF33").hex() == "7f1431"


def test_one_vehicle_is_read_alike_in_both_languages(show: Show, ask: Say) -> None:
    """VIN and readiness of F8 and F4 are those that a J1979 module would give."""
    vehicle = show(LUMO)
    vin = obd_on_uds.decode_info(ask(vehicle, "ECM", "22F802"))
    assert isinstance(vin, InfoItems) and vin.texts == (vehicle.lesson.vin,)
    data = obd_on_uds.decode_current_data(ask(vehicle, "ECM", "22F401F405"), (0x01, 0x05))
    readiness = Readiness(data.items[0].data)
    assert readiness.mil_on and readiness.code_count == 1
    told = {monitor.name: monitor.complete for monitor in readiness.monitors if monitor.monitored}
    assert told["evaporative"] is False and told["catalyst"] is True
