"""The one thing beyond reading: only with a permit whose grounds hold, each request once, from one place.

Service numbers: SAE J1979 (04), ISO 14229-1 (14 with three bytes of group), SAE J1979-2 (14 FF FF 33),
ISO 14230-3 (14 with two bytes of group, from memory).
"""

from __future__ import annotations

import ast
import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dtctriage.guard import CLEARING_REQUESTS, Grounds, GuardedLink, NotAllowed, Permit, reads
from dtctriage.link import (
    Adapter,
    BusActivity,
    BusProtocol,
    Finished,
    Framing,
    Opened,
    Outcome,
    Request,
    Target,
    functional,
    physical,
)

ECM, BCM = physical(Framing.CAN11, 0x7E0), Target(Framing.CAN11, 0x740, 0x748)
GROUNDS = Grounds("RO-7", "RO-7", 3, frozenset({ECM, BCM}), 0.0, 12.5, 11.0)
CLEAR = b"\x14\xff\xff\xff"


class Wire:
    """A link that remembers what was sent."""

    def __init__(self) -> None:
        self.sent: list[Request] = []
        self.adapter = Adapter("wire", "memory:")
        self.protocols: Sequence[BusProtocol] = ()

    def open_bus(self, protocol: BusProtocol | None = None) -> Opened:
        return Opened(protocol, False)

    def exchange(self, requests: Sequence[Request]) -> Iterator[Outcome]:
        for request in requests:
            self.sent.append(request)
            yield Finished(request, 0.0)

    def listen(self, seconds: float) -> BusActivity:
        return BusActivity(seconds, {}, 0, False)

    def supply_voltage(self) -> float | None:
        return None

    def close(self) -> None:
        return None


def test_a_permitted_request_is_sent_once() -> None:
    wire, request = Wire(), Request(ECM, b"\x04")
    permit, guarded = Permit(GROUNDS, [request]), GuardedLink(wire)
    list(guarded.send_clearing(request, permit))
    assert wire.sent == [request]
    with pytest.raises(NotAllowed, match="sent before"):
        guarded.send_clearing(request, permit)
    assert wire.sent == [request]


@pytest.mark.parametrize("payload", CLEARING_REQUESTS)
def test_no_clearing_request_passes_among_the_reading_ones(payload: bytes) -> None:
    wire = Wire()
    permit = Permit(GROUNDS, [Request(ECM, payload)])
    with pytest.raises(NotAllowed):
        GuardedLink(wire).exchange([Request(ECM, b"\x03"), Request(ECM, payload)])
    assert wire.sent == [] and permit is not None


@pytest.mark.parametrize(
    ("grounds", "why"),
    [
        (replace(GROUNDS, typed=""), "not typed"),
        (replace(GROUNDS, typed="RO-8"), "not typed"),
        (replace(GROUNDS, order="", typed=""), "not typed"),
        (replace(GROUNDS, intake=0), "no complete intake"),
        (replace(GROUNDS, engine_rpm=650.0), "engine"),
        (replace(GROUNDS, engine_rpm=math.nan), "engine"),
        (replace(GROUNDS, volts=10.9), "supply"),
        (replace(GROUNDS, volts=math.nan), "supply"),
        (replace(GROUNDS, read=frozenset()), "not read"),
        (replace(GROUNDS, read=frozenset({BCM})), "7E0 was not read"),
    ],
)
def test_without_its_grounds_there_is_no_permit(grounds: Grounds, why: str) -> None:
    with pytest.raises(NotAllowed, match=why):
        Permit(grounds, [Request(ECM, CLEAR)])


def test_on_can_no_permit_reaches_every_module_at_once() -> None:
    everybody = functional(Framing.CAN11)
    with pytest.raises(NotAllowed, match="every module at once"):
        Permit(replace(GROUNDS, read=frozenset({everybody})), [Request(everybody, b"\x04")])


def test_off_can_everybody_is_asked_at_once_where_all_were_read() -> None:
    everybody = functional(Framing.ISO9141)
    request = Request(everybody, b"\x04")
    assert Permit(replace(GROUNDS, read=frozenset({everybody})), [request])
    with pytest.raises(NotAllowed):
        Permit(GROUNDS, [request])


def test_a_permit_names_its_module() -> None:
    permit = Permit(GROUNDS, [Request(ECM, CLEAR)])
    for other in (Request(BCM, CLEAR), Request(ECM, b"\x04"), Request(ECM, CLEAR, 1.0)):
        with pytest.raises(NotAllowed, match="does not name it"):
            GuardedLink(Wire()).send_clearing(other, permit)


@given(st.binary(max_size=6).filter(lambda payload: payload not in CLEARING_REQUESTS))
def test_a_permit_lets_nothing_through_but_clearing(payload: bytes) -> None:
    with pytest.raises(NotAllowed):
        Permit(GROUNDS, [Request(ECM, payload)])


PAYLOADS = st.one_of(
    st.sampled_from(sorted(CLEARING_REQUESTS)), st.binary(max_size=5), st.just(b"\x03"), st.just(b"\x04")
)


@given(st.lists(PAYLOADS, max_size=5), st.lists(PAYLOADS, max_size=5))
def test_whatever_is_tried_only_reading_and_permitted_requests_reach_the_wire(
    permitted: list[bytes], tried: list[bytes]
) -> None:
    wire = Wire()
    allowed = [Request(ECM, payload) for payload in permitted if payload in CLEARING_REQUESTS]
    permit = Permit(GROUNDS, allowed)
    for payload in tried:
        request = Request(ECM, payload)
        for send in (
            lambda r=request: GuardedLink(wire).exchange([r]),
            lambda r=request: GuardedLink(wire).send_clearing(r, permit),
        ):
            try:
                list(send())
            except NotAllowed:
                continue
    beyond = [request for request in wire.sent if not reads(request.payload)]
    assert all(beyond.count(request) <= allowed.count(request) for request in beyond)


# The source ------------------------------------------------------------------------------------------------

OF_A_PERMIT = {"Permit", "Grounds", "send_clearing"}
ALLOWED = {"guard", "clearing/clear"}
"""Which modules of the package may name what belongs to a permit."""
ASKING = {"link", "guard", "wirelog", "sweep", "clearing", "watch"}
"""The parts that know `exchange`: beside the links' wrappers the sweep, the clearing and the watch."""


def sources(repository: Path) -> Iterator[tuple[str, ast.Module]]:
    for path in sorted((repository / "dtctriage").rglob("*.py")):
        name = path.relative_to(repository / "dtctriage").with_suffix("").as_posix()
        yield name, ast.parse(path.read_text(encoding="utf-8"))


def names(tree: ast.Module) -> set[str]:
    """Every name and attribute that a source mentions."""
    found = {node.id for node in ast.walk(tree) if isinstance(node, ast.Name)}
    found |= {node.attr for node in ast.walk(tree) if isinstance(node, ast.Attribute)}
    imported = (node for node in ast.walk(tree) if isinstance(node, ast.ImportFrom))
    return found | {alias.name for node in imported for alias in node.names}


def test_only_the_clear_command_makes_and_uses_a_permit(repository: Path) -> None:
    for name, tree in sources(repository):
        assert name in ALLOWED or not OF_A_PERMIT & names(tree), name


def test_only_a_few_places_ask_a_link_anything(repository: Path) -> None:
    asking = {name.partition("/")[0] for name, tree in sources(repository) if "exchange" in names(tree)}
    assert asking <= ASKING


def test_every_sweep_goes_through_the_guard(repository: Path) -> None:
    """A sweep is started on a guarded link wherever one is started."""
    started = [
        (name, ast.unparse(node.args[0]))
        for name, tree in sources(repository)
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "sweep"
    ]
    assert len(started) >= 2
    assert {link for _, link in started} <= {"guarded", "GuardedLink(link)"}, started
