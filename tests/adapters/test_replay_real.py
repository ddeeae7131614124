"""Recordings of real traffic, where the folder that DTCTRIAGE_CAPTURES names holds them.

They hold real identification numbers: nothing here prints or compares them in the open.
"""

from __future__ import annotations

import os
from collections import Counter, deque
from pathlib import Path

import can
import isotp
import pytest

from dtctriage.link import Damaged, Finished, Framing, Notice, Outcome, Recording, Reply, Target
from dtctriage_adapters.replay import open_link

FOLDER = os.environ.get("DTCTRIAGE_CAPTURES", "")
pytestmark = pytest.mark.skipif(not FOLDER, reason="DTCTRIAGE_CAPTURES names no folder with recordings")

KWP = "kwp_21_answer_id_not_plus_8.log"
OBD = "obd_11bit_one_module.log"
UDS_29 = "uds_29bit_identification.log"
LOSSY = "uds_three_modules_lost_frames.log"

PAIRS = {
    KWP: {Target(Framing.CAN11, 0x79B, 0x7BB)},
    OBD: {Target(Framing.CAN11, 0x7E0, 0x7E8)},
    UDS_29: {Target(Framing.CAN29, 0x18DAEEFB, 0x18DAFBEE)},
    LOSSY: {
        Target(Framing.CAN11, 0x7E4, 0x7EC),
        Target(Framing.CAN11, 0x7A0, 0x7A8),
        Target(Framing.CAN11, 0x7B3, 0x7BB),
    },
}
"""Which id answers which: read off the recordings by hand, and told by the note that came with them."""


def _session(name: str) -> tuple[Recording, list[Outcome]]:
    link = open_link(str(Path(FOLDER) / name))
    assert isinstance(link, Recording)
    assert link.open_bus().notices == ()
    return link, [item for request in link.recorded_requests for item in link.exchange([request])]


def _foreign_messages(name: str, answer: int, extended: bool) -> list[bytes]:
    """What can-isotp, listening only, puts together from one identifier's frames."""
    inbox: deque[isotp.CanMessage] = deque()
    mode = isotp.AddressingMode.Normal_29bits if extended else isotp.AddressingMode.Normal_11bits
    layer = isotp.TransportLayerLogic(
        rxfn=lambda timeout: inbox.popleft() if inbox else None,
        txfn=lambda frame: None,
        address=isotp.Address(mode, txid=0x7FF, rxid=answer),
        error_handler=lambda error: None,
        params={"listen_mode": True, "logger_name": "dtctriage.isotp"},
    )
    for frame in can.LogReader(Path(FOLDER) / name):
        if frame.arbitration_id == answer:
            inbox.append(isotp.CanMessage(arbitration_id=answer, data=frame.data, extended_id=extended))
            layer.process()
    return [bytes(layer.recv() or b"") for _ in iter(layer.available, False)]


@pytest.mark.parametrize("name", PAIRS)
def test_request_and_answer_ids_are_paired(name: str) -> None:
    link, _ = _session(name)
    assert {request.target for request in link.recorded_requests} == PAIRS[name]


@pytest.mark.parametrize("name", PAIRS)
def test_whole_answers_are_those_that_can_isotp_puts_together(name: str) -> None:
    _, outcomes = _session(name)
    for target in PAIRS[name]:
        ours = [item.payload for item in outcomes if isinstance(item, Reply) and item.source == target.answer]
        theirs = _foreign_messages(name, target.answer or 0, target.framing is Framing.CAN29)
        alike = Counter(ours) == Counter(theirs)
        assert alike, f"{target.label}: {len(ours)} answers of ours, {len(theirs)} of theirs"


@pytest.mark.parametrize("name", [KWP, OBD, UDS_29])
def test_a_clean_recording_answers_every_question(name: str) -> None:
    link, outcomes = _session(name)
    kinds = Counter(type(item) for item in outcomes)
    assert kinds == {Reply: len(link.recorded_requests), Finished: len(link.recorded_requests)}


def test_really_lost_frames_are_named_and_silence_stays_silence() -> None:
    """Of 24 questions to 7B3 nine stay without any frame; of the 15 answers one is whole."""
    link, outcomes = _session(LOSSY)
    asked = [request for request in link.recorded_requests if request.target.request == 0x7B3]
    mine = [item for item in outcomes if isinstance(item, Reply | Damaged) and item.source == 0x7BB]
    damaged = [item for item in mine if isinstance(item, Damaged)]
    assert (len(asked), len(mine), len(damaged)) == (24, 15, 14)
    assert all(" is missing, " in item.problem for item in damaged)
    assert {len(item.raw) for item in damaged} == {13, 20}
    assert not any(isinstance(item, Notice) for item in outcomes)
