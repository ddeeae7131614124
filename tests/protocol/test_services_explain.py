"""The explanation of a payload, byte by byte."""

from __future__ import annotations

import pytest

from dtctriage.services.errors import DecodeError
from dtctriage.services.explain import Part, explain


def test_codes() -> None:
    told = explain(bytes.fromhex("43010143"), on_can=True)
    assert (told.service, told.title, [str(code) for code in told.codes]) == (0x43, "stored codes", ["P0143"])
    assert told.parts == (
        Part(0, b"\x43", "answer to service 03: stored codes"),
        Part(1, b"\x01", "number of codes: 1"),
        Part(2, b"\x01\x43", "code P0143"),
    )


def test_identified_data_of_the_obd_pages() -> None:
    speed = explain(bytes.fromhex("62F40D4A"), on_can=True)
    assert speed.parts[-1].meaning == "vehicle speed 74 km/h"
    vin = explain(bytes.fromhex("62F802") + b"W0L000051T2123456", on_can=True)
    assert vin.parts[-1].meaning == "VIN: W0L000051T2123456"
    serial = explain(bytes.fromhex("62F18C") + b"A17", on_can=True)
    assert serial.parts[-1].meaning == "A17"
    raw = explain(bytes.fromhex("62F8020102"), on_can=True)
    assert raw.parts[-1].meaning == "data"


def test_requests_and_refusals() -> None:
    assert [part.meaning for part in explain(bytes.fromhex("22F190"), on_can=True).parts] == [
        "service 22: read data by identifier",
        "identifier F190: VIN",
    ]
    refused = explain(bytes.fromhex("7F1931"), on_can=True)
    assert refused.title == "refusal of service 19"
    assert refused.parts[-1].meaning == "RequestOutOfRange: the module does not have what was asked for"


@pytest.mark.parametrize("payload", ["", "08", "2701", "3101FF00", "6701", "FF", "0101020304050607"])
def test_what_is_no_reading_service(payload: str) -> None:
    with pytest.raises(DecodeError):
        explain(bytes.fromhex(payload), on_can=True)
