"""SAE J1979-2 and WWH-OBD: the requests of the mapping, and answers that give the same values as J1979.

Mapping: PUBLIC-NOTES and CSDN-130332781 (stored codes); pending codes, item counts and monitor layout are
from memory of the standards.
"""

from __future__ import annotations

import pytest

from dtctriage.codes.dtc import Dtc
from dtctriage.services import j1979_data, j1979_info, j1979_tests, obd_on_uds
from dtctriage.services.errors import DecodeError


def hexed(text: str) -> bytes:
    return bytes.fromhex(text)


def test_requests() -> None:
    assert obd_on_uds.protocol_request() == hexed("22F810")
    assert obd_on_uds.current_data(0x0C, 0x05) == hexed("22F40CF405")
    assert obd_on_uds.monitor_tests(0x01) == hexed("22F601")
    assert obd_on_uds.vehicle_information(0x02) == hexed("22F802")
    assert obd_on_uds.stored_codes() == hexed("194233081E")
    assert obd_on_uds.pending_codes() == hexed("194233041E")
    assert obd_on_uds.permanent_codes() == hexed("195533")
    assert obd_on_uds.freeze_frame(Dtc(0x0143, 0x11)) == hexed("190401431100")
    assert obd_on_uds.extended_support(0x92) == hexed("191A92")
    assert obd_on_uds.readiness_group(0x01) == hexed("19563301")


def test_detection() -> None:
    assert obd_on_uds.speaks_obd_on_uds(hexed("62F81001"))
    assert not obd_on_uds.speaks_obd_on_uds(hexed("62F81000"))
    for payload in ("62F810", "62F8100100", "62F80201", "7F2231"):
        with pytest.raises(DecodeError):
            obd_on_uds.speaks_obd_on_uds(hexed(payload))


def test_current_data_are_those_of_j1979() -> None:
    assert obd_on_uds.decode_current_data(hexed("62F40C1AF8F4055A"), asked=(0x0C, 0x05)) == (
        j1979_data.decode_current_data(hexed("410C1AF8055A"))
    )
    with pytest.raises(DecodeError):
        obd_on_uds.decode_current_data(hexed("62F19041"))
    with pytest.raises(DecodeError, match="not asked for"):
        obd_on_uds.decode_current_data(hexed("62F40C1AF8"), asked=(0x05,))


@pytest.mark.parametrize("payload", ["62F6010A0B0BB00BB00BB0", "62F601010A0B0BB00BB00BB0"])
def test_monitor_results_with_and_without_their_monitor(payload: str) -> None:
    expected = j1979_tests.decode_monitor_tests(hexed("46010A0B0BB00BB00BB0"))
    assert obd_on_uds.decode_monitor_tests(hexed(payload)) == expected


def test_masks() -> None:
    assert obd_on_uds.decode_monitor_tests(hexed("62F600C0000001")) == j1979_tests.decode_monitor_tests(
        hexed("4600C0000001")
    )
    assert obd_on_uds.decode_info(hexed("62F80055400000")) == j1979_info.InfoMask(0, hexed("55400000"))


@pytest.mark.parametrize("count", ["", "01"])
def test_information_with_and_without_its_count(count: str) -> None:
    info = obd_on_uds.decode_info(hexed("62F802" + count) + b"W0L000051T2123456")
    assert info == j1979_info.InfoItems(0x02, (b"W0L000051T2123456",))


@pytest.mark.parametrize("payload", ["62F802", "62F80241", "62F8000000", "62F601", "62F6010A", "62F600C0"])
def test_damaged(payload: str) -> None:
    decode = obd_on_uds.decode_info if payload[4:6] == "F8" else obd_on_uds.decode_monitor_tests
    with pytest.raises(DecodeError):
        decode(hexed(payload))
