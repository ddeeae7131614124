"""Which commands the next request needs, and that nothing is sent twice."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dtctriage.link import BusProtocol, Framing, Request, Target, functional, physical
from dtctriage_adapters.serial_text.addressing import (
    EVERYTHING,
    STANDARD_FILTERS,
    Filter,
    filter_for,
    frames_expected,
    header_of,
)
from dtctriage_adapters.serial_text.session import Session

ENGINE = physical(Framing.CAN11, 0x7E0)
GEARBOX = physical(Framing.CAN11, 0x7E1)
ODD = Target(Framing.CAN11, 0x742, 0x5C2)
PRESENT, VIN, PART = b"\x3e\x00", b"\x22\xf1\x90", b"\x22\xf1\x87"


def session_on(protocol: BusProtocol) -> Session:
    session = Session()
    session.protocol = protocol
    while (step := session.next_step()) is not None:
        session.accepted(step)
    return session


def commands(session: Session, target: Target, payload: bytes, window: float | None = None) -> list[str]:
    """What is sent before the request, all of it accepted."""
    needs, sent = session.needs(Request(target, payload, window), patient=False), []
    while (step := session.next_step(needs)) is not None:
        session.accepted(step)
        sent.append(step.command)
    return sent


def test_a_functional_request_needs_no_header_after_a_reset() -> None:
    # The chip's default header is the request to all (ELM327 data sheet; ISO 15765-4: 7DF).
    session = session_on(BusProtocol.CAN11_500)
    assert commands(session, functional(Framing.CAN11), b"\x01\x00") == ["AT0", "ST10"]


def test_only_what_changed_is_sent() -> None:
    session = session_on(BusProtocol.CAN11_500)
    assert commands(session, ENGINE, PRESENT) == ["AT0", "ST10", "SH7E0"]
    assert commands(session, ENGINE, VIN) == []
    assert commands(session, GEARBOX, PRESENT) == ["SH7E1"]
    assert commands(session, functional(Framing.CAN11), b"\x01\x00") == ["SH7DF"]


def test_a_reset_forgets_everything() -> None:
    session = session_on(BusProtocol.CAN11_500)
    commands(session, ENGINE, PRESENT)
    session.reset()
    assert commands(session, ENGINE, PRESENT) == [
        *("E0", "L0", "S0", "H1", "SP6", "CAF1"),
        *("AT0", "ST10", "SH7E0"),
    ]


@pytest.mark.parametrize(
    ("window", "count"),
    [(None, "ST10"), (0.05, "ST10"), (0.0, "ST04"), (0.2, "ST36"), (1.0, "STFE"), (9.0, "STFF")],
)
def test_a_window_becomes_a_timeout_with_its_margin(window: float | None, count: str) -> None:
    # ST counts 4 ms (ELM327 data sheet page 27); 50 ms is P2 of ISO 15765-4, 14 ms the margin.
    assert count in commands(session_on(BusProtocol.CAN11_500), ENGINE, PRESENT, window)


def test_off_can_the_chip_keeps_its_own_timing() -> None:
    for protocol in (BusProtocol.J1850_VPW, BusProtocol.ISO9141_2, BusProtocol.ISO14230_FAST):
        session = session_on(protocol)
        assert commands(session, functional(protocol.framing), b"\x01\x00") == []


def test_a_module_outside_the_standard_gets_its_filter_and_its_flow_control() -> None:
    session = session_on(BusProtocol.CAN11_500)
    assert commands(session, ODD, PART) == [
        *("AT0", "ST10", "SH742"),
        *("CF500", "CM500"),
        *("FCSH742", "FCSD300000", "FCSM1"),
    ]
    assert commands(session, ENGINE, PART) == ["SH7E0", "FCSM0"]
    assert commands(session, ODD, PRESENT) == ["SH742"]
    assert commands(session, ODD, PART) == ["FCSM1"]


def test_on_a_busy_bus_each_module_gets_a_filter_of_its_own() -> None:
    session = session_on(BusProtocol.CAN11_500)
    session.quiet = False
    assert commands(session, ODD, PRESENT)[-2:] == ["CF5C2", "CM7FF"]
    assert commands(session, ENGINE, PRESENT) == ["SH7E0", "CF7E8", "CM7F8"]


def test_29_bit_headers_are_set_in_two_parts() -> None:
    session = session_on(BusProtocol.CAN29_500)
    assert commands(session, physical(Framing.CAN29, 0x18DA10F1), PART) == ["AT0", "ST10", "SHDA10F1"]
    odd = Target(Framing.CAN29, 0x17FC0007, 0x17FE0007)
    assert commands(session, odd, PART) == [
        *("CP17", "SHFC0007", "CF17FE0007", "CM1FFFFFFF"),
        *("FCSH17FC0007", "FCSD300000", "FCSM1"),
    ]


@pytest.mark.parametrize(
    ("target", "header"),
    [
        # Functional headers: ELM327 data sheet; physical ones of SAE J2178 and ISO 14230-2 (from memory).
        (functional(Framing.J1850_PWM), "616AF1"),
        (functional(Framing.J1850_VPW), "686AF1"),
        (functional(Framing.ISO9141), "686AF1"),
        (functional(Framing.ISO14230), "C233F1"),
        (physical(Framing.J1850_PWM, 0x10), "C410F1"),
        (physical(Framing.J1850_VPW, 0x10), "6C10F1"),
        (physical(Framing.ISO9141, 0x10), "686AF1"),
        (physical(Framing.ISO14230, 0x10), "8210F1"),
    ],
)
def test_headers_off_can(target: Target, header: str) -> None:
    assert header_of(target) == header


def test_a_change_of_protocol_does_not_trust_what_was_set_before() -> None:
    session = session_on(BusProtocol.CAN11_500)
    commands(session, ODD, PART)
    session.protocol = BusProtocol.CAN11_250
    step = session.next_step()
    assert step is not None
    assert step.command == "SP8"
    session.accepted(step)
    assert commands(session, functional(Framing.CAN11), b"\x01\x00") == ["SH7DF", "CF7E8", "CM7F8", "FCSM0"]


def test_a_refused_command_is_not_tried_again() -> None:
    session = session_on(BusProtocol.CAN11_500)
    needs, tried = session.needs(Request(ODD, PART), patient=False), []
    while (step := session.next_step(needs)) is not None:
        tried.append(step.command)
        session.refused(step)
    assert tried == ["AT0", "ST10", "SH742", "SH000742", "CF500", "CM500", "FCSH742", "FCSD300000", "FCSM1"]
    assert session.next_step(needs) is None
    assert not session.can_reach(ODD)


@pytest.mark.parametrize(
    ("target", "payload", "frames"),
    [
        (ENGINE, "3E00", 1),
        (ENGINE, "1003", 1),
        (ENGINE, "0142", 1),
        (ENGINE, "0164", 1),
        (ENGINE, "0165", None),
        (ENGINE, "010C0D", None),
        (ENGINE, "0900", 1),
        (ENGINE, "0902", 3),
        (ENGINE, "22F190", 3),
        (ENGINE, "22F187", None),
        (ENGINE, "1902AF", None),
        (functional(Framing.CAN11), "0100", None),
        (Target(Framing.CAN11, 0x742), "3E00", None),
        (physical(Framing.ISO14230, 0x10), "3E00", None),
    ],
)
def test_frames_are_counted_only_where_the_answer_is_fixed(
    target: Target, payload: str, frames: int | None
) -> None:
    assert frames_expected(target, bytes.fromhex(payload)) == frames


IDS = st.integers(0, 0x7FF)
TARGETS = st.builds(Target, st.just(Framing.CAN11), IDS, st.none() | IDS)


@given(st.lists(TARGETS, max_size=12), st.booleans())
def test_whatever_filter_is_kept_no_answer_is_missed(targets: list[Target], quiet: bool) -> None:
    current: Filter | None = None
    for target in [functional(Framing.CAN11), *targets]:
        current = filter_for(target, current, quiet)
        if target.answer is not None:
            assert (target.answer ^ current.value) & current.mask == 0
        elif target.functional:
            assert current.covers(STANDARD_FILTERS[Framing.CAN11])


@given(IDS, IDS, IDS, IDS, IDS)
def test_a_widened_filter_covers_both(one: int, mask: int, other: int, other_mask: int, number: int) -> None:
    first, second = Filter(one & mask, mask), Filter(other & other_mask, other_mask)
    wide = first.widened(second)
    assert wide.covers(first)
    assert wide.covers(second)
    if any((number ^ item.value) & item.mask == 0 for item in (first, second)):
        assert (number ^ wide.value) & wide.mask == 0


@pytest.mark.parametrize(("quiet", "heard"), [(True, [0x5C2, 0x7A2]), (False, [0x74A, 0x7A2])])
def test_an_unknown_answer_is_looked_for_farther_where_nothing_else_talks(
    quiet: bool, heard: list[int]
) -> None:
    hears = filter_for(Target(Framing.CAN11, 0x742), None, quiet)
    assert all(hears.passes(identifier) for identifier in heard)
    assert hears.passes(0x5C2) is quiet
    assert not hears.passes(0x142)


def test_the_widest_filter_is_never_kept_for_a_request() -> None:
    assert filter_for(ENGINE, EVERYTHING, quiet=True) == STANDARD_FILTERS[Framing.CAN11]
