"""KWP2000 in the mouth of a simulated module, on K-line and on CAN (ISO 14230-2 and -3, from memory)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from dtctriage.link import BusProtocol, Framing
from dtctriage.services.kwp import (
    KwpStatus,
    Storage,
    decode_kwp_codes,
    decode_kwp_plain_codes,
    decode_kwp_status,
)
from dtctriage.services.kwp_data import decode_identification, decode_local_data, decode_started
from dtctriage.services.line_format import Stripped, strip
from dtctriage_adapters.classroom.line_message import answer_message, request_message
from dtctriage_adapters.classroom.line_network import LineNetwork
from dtctriage_adapters.classroom.vehicle import Vehicle

Show = Callable[[str], Vehicle]
Say = Callable[..., bytes]
ORRO, TISCA = "lessons/kinds/orro", "lessons/kinds/tisca"


def codes(payload: bytes) -> dict[str, KwpStatus]:
    """The statuses of an answer 58 by code."""
    return {str(record.dtc): record.status for record in decode_kwp_codes(payload).records}


def test_a_code_ages_from_not_stored_to_present(show: Show, ask: Say) -> None:
    vehicle = show(ORRO)

    def storage(now: float) -> tuple[Storage, bool, bool]:
        status = codes(ask(vehicle, "ECM", "1801FF00", now))["P0403"]
        return status.storage, status.lamp, status.test_complete

    assert storage(0.0) == (Storage.NONE, False, False)
    assert storage(1.0) == (Storage.MATURING, False, True)
    assert storage(2.0) == (Storage.PRESENT, True, True)
    assert codes(ask(vehicle, "ECM", "1800FF00", 0.0)) == {}


def test_the_symptom_tells_what_the_failure_type_told(show: Show, ask: Say) -> None:
    """An open circuit is no signal; a code without a failure type has no symptom."""
    vehicle = show(ORRO)
    assert codes(ask(vehicle, "ECM", "1800FF00"))["P0403"].symptom == "no signal"
    old = codes(ask(vehicle, "SRS", "1800FF00"))["B1318"]
    assert (old.storage, old.symptom, old.lamp) == (Storage.STORED, "no symptom told", False)


def test_groups_select(show: Show, ask: Say) -> None:
    vehicle = show(ORRO)
    assert set(codes(ask(vehicle, "ECM", "18010000"))) == {"P0403", "P0489", "P0490"}
    assert set(codes(ask(vehicle, "ECM", "1801C000"))) == {"U0101", "U0121"}
    assert codes(ask(vehicle, "ECM", "18004000")) == {}
    assert set(codes(ask(vehicle, "ECM", "18010403"))) == {"P0403"}
    assert ask(vehicle, "ECM", "18011234").hex() == "7f1831"
    assert ask(vehicle, "ECM", "1804FF00").hex() == "7f1812"


def test_codes_without_status_and_the_status_of_one(show: Show, ask: Say) -> None:
    vehicle = show(ORRO)
    for request in ("13", "13FF00", "130000"):
        assert [str(dtc) for dtc in decode_kwp_plain_codes(ask(vehicle, "ECM", request)).codes] == ["P0403"]
    told = decode_kwp_status(ask(vehicle, "ECM", "170403"))
    assert told.record.status.storage is Storage.PRESENT
    # The maker's surroundings: odometer in km (three bytes), supply in 0.1 V.
    assert int.from_bytes(told.surroundings[:3], "big") == 268_310
    assert told.surroundings[3] == round(vehicle.effects.volts["ECM"] * 10)
    assert ask(vehicle, "ECM", "171234").hex() == "7f1731"
    assert decode_kwp_status(ask(vehicle, "ECM", "170489")).surroundings == b""


def test_identification_by_option(show: Show, ask: Say) -> None:
    vehicle = show(ORRO)
    assert decode_identification(ask(vehicle, "ECM", "1A90"), 0x90).data == vehicle.lesson.vin.encode()
    assert decode_identification(ask(vehicle, "ABS", "1A87")).data == b"RR22-4500-A"
    assert decode_identification(ask(show(TISCA), "ABS", "1A94")).data == b"88040250"
    assert ask(vehicle, "SRS", "1A90").hex() == "7f1a12"


def test_local_data_is_raw_or_refused(show: Show, ask: Say) -> None:
    vehicle = show(ORRO)
    assert decode_local_data(ask(vehicle, "ECM", "2110"), 0x10).data.hex() == "00c80fa00064"
    assert ask(vehicle, "ECM", "2111").hex() == "7f2131"
    assert ask(vehicle, "ABS", "2110").hex() == "7f2111"


def test_tester_present_and_session(show: Show, ask: Say) -> None:
    vehicle = show(ORRO)
    assert [ask(vehicle, "ABS", text).hex() for text in ("3E", "3E01", "3E02")] == ["7e", "7e", ""]
    assert ask(vehicle, "ABS", "1081").hex() == "5081"


@pytest.mark.parametrize(("name", "module"), [(ORRO, "ABS"), (TISCA, "ABS")])
def test_uds_services_are_not_known(show: Show, ask: Say, name: str, module: str) -> None:
    vehicle = show(name)
    for request in ("22F190", "1902FF", "2E000000", "0100"):
        assert ask(vehicle, module, request).hex() == f"7f{request[:2].lower()}11"
    # No code for a wrong length in this standard.
    for request in ("18", "1A", "3E00", "1001", "14FFFFFF"):
        assert ask(vehicle, module, request).hex() == f"7f{request[:2].lower()}12"


def test_on_can_there_is_no_start_of_communication(show: Show, ask: Say) -> None:
    assert ask(show(TISCA), "ABS", "81").hex() == "7f8111"
    assert codes(ask(show(TISCA), "ABS", "1800FF00"))["C0035"].symptom == "no signal"


# -- the K-line -----------------------------------------------------------------------------------------


def hear(line: LineNetwork, target: int, data: bytes, now: float = 100.0) -> list[tuple[int, bytes]]:
    """Ask one address; the senders and their data."""
    line.receive(request_message(Framing.ISO14230, bytes([0x80, target, 0xF1]), data), now)
    found = []
    while (due := line.next_due()) is not None:
        for _, message in line.poll(due):
            stripped = strip(Framing.ISO14230, message.encode(Framing.ISO14230))
            assert isinstance(stripped, Stripped)
            found.append((stripped.source, stripped.payload))
    return found


def test_a_module_listens_from_start_to_stop(show: Show) -> None:
    vehicle = show(ORRO)
    assert vehicle.line is not None
    assert hear(vehicle.line, 0x58, b"\x3e") == []
    ((source, started),) = hear(vehicle.line, 0x58, b"\x81")
    # Key word 2027: length in the format byte or in one of its own, addresses in the header.
    assert (source, decode_started(started).key_word) == (0x58, 2027)
    assert hear(vehicle.line, 0x58, b"\x3e") == [(0x58, b"\x7e")]
    assert hear(vehicle.line, 0x28, b"\x3e") == []
    assert hear(vehicle.line, 0x58, b"\x82") == [(0x58, b"\xc2")]
    assert hear(vehicle.line, 0x58, b"\x3e") == []


def test_the_start_for_all_reaches_the_emission_modules(show: Show) -> None:
    vehicle = show(ORRO)
    assert vehicle.line is not None and vehicle.line.start(0x33, to_all=True)
    told = [bool(hear(vehicle.line, node, b"\x3e")) for node in (0x10, 0x18, 0x28, 0x58)]
    assert told == [True, True, False, False]
    assert not vehicle.line.start(0x77, to_all=False)


def test_a_long_message_has_its_length_in_a_byte_of_its_own() -> None:
    """ISO 14230-2: format byte with length 0, target, source, length."""
    data = bytes(range(100))
    message = answer_message(Framing.ISO14230, 0x10, data)
    assert message.encode(Framing.ISO14230)[:4].hex() == "80f11064"
    assert strip(Framing.ISO14230, message.encode(Framing.ISO14230)) == Stripped(0x10, data)


@pytest.fixture
def at_van(terminal: Callable[..., Any], show: Show) -> Any:
    """A terminal at the van, with its protocol set and headers on."""
    made = terminal(show(ORRO))
    made.ask("ATSP5")
    made.ask("ATH1")
    return made


def test_a_module_is_reached_through_the_chip_after_its_own_start(at_van: Any) -> None:
    assert at_van.ask("0100")[0] == "BUS INIT: OK"
    at_van.ask("ATSH8258F1")
    assert at_van.ask("1A87") == ["NO DATA"]
    assert at_van.ask("81") == ["83 F1 58 C1 6B 8F 87"]
    assert at_van.ask("1A87")[0].startswith("8D F1 58 5A 87 52 52 32 32")


def test_a_fast_start_calls_the_address_in_the_header(at_van: Any) -> None:
    """FI: ELM327J-p11. With the engine module dead the others can still be called."""
    at_van.ask("ATSH8228F1")
    assert at_van.ask("ATFI") == ["BUS INIT: OK"]
    assert at_van.ask("3E") == ["81 F1 28 7E 18"]
    at_van.ask("ATSH8277F1")
    assert at_van.ask("ATFI") == ["BUS INIT: ERROR"]
    assert at_van.ask("ATSI") == ["?"]


def test_a_slow_start_calls_the_address_that_was_set(
    terminal: Callable[..., Any], small_vehicle: Callable[[str, str], Vehicle]
) -> None:
    """SI: ELM327J-p11; IIA and its default 33: MEMORY."""
    plugged = terminal(small_vehicle("iso14230-slow", "iso14230"))
    plugged.ask("ATSP4")
    plugged.ask("ATIIA18")
    assert plugged.ask("ATSI") == ["BUS INIT: ...OK"]
    plugged.ask("ATSH8218F1")
    assert plugged.ask("3E00") == ["7E 00"]
    plugged.ask("ATIIA44")
    plugged.ask("ATPC")
    assert plugged.ask("3E00") == ["BUS INIT: ...ERROR"]
    assert plugged.ask("ATFI") == ["?"]


def test_a_line_without_its_emission_modules_does_not_start(terminal: Callable[..., Any], show: Show) -> None:
    vehicle = show(ORRO)
    others = [module for module in vehicle.modules if not module.emission]
    line = LineNetwork(others, BusProtocol.ISO14230_FAST)
    plugged = terminal(replace(vehicle, line=line))
    assert plugged.ask("0100") == ["SEARCHING...", "UNABLE TO CONNECT"]
    plugged.ask("ATSP5")
    assert plugged.ask("0100") == ["BUS INIT: ERROR"]
