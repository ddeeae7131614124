"""A watch over a simulated vehicle and a simulated clock: plugs are pulled, parts stick, codes come and go.

Scalings are those of SAE J1979: PID 45 and 4C in 100/255 %, PID 42 in mV, PID 05 in degC + 40; the status bit
testFailed is that of ISO 14229-1 Annex D.
"""

from __future__ import annotations

import csv
import errno
import io
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from dtctriage.codes.dtc import Dtc
from dtctriage.errors import TriageError
from dtctriage.guard import GuardedLink
from dtctriage.link import (
    Adapter,
    BusActivity,
    BusProtocol,
    Finished,
    Framing,
    LinkLost,
    Opened,
    Outcome,
    Reply,
    Request,
    Target,
    physical,
)
from dtctriage.services.definitions import DataDefinition, Definitions, Flag
from dtctriage.services.readings import Signal
from dtctriage.services.supported import mask_of
from dtctriage.services.uds import DtcStatus
from dtctriage.sweep.picture import ModuleSaid, Picture, StoredCode
from dtctriage.sweep.questions import Language
from dtctriage.watch import Board, Round, Wanted, choose, watch
from dtctriage.watch.choice import readings_for
from dtctriage.watch.log import COLUMNS, WatchLog

ECM, BCM = physical(Framing.CAN11, 0x7E0), physical(Framing.CAN11, 0x7E2)
USUAL = Wanted()
Answers = Callable[[float], bytes | None]


class Vehicle:
    """A link whose answers depend on the time; a question takes a hundredth of a second."""

    def __init__(self) -> None:
        self.now = 1000.0
        self.start = self.now
        self.data: dict[int, Answers] = {}
        self.status: Answers = lambda at: bytes.fromhex("5902FF") + b"\x01\x23\x11\x28"
        self.ecm: Callable[[float], bool] = lambda at: True
        self.volts: Callable[[float], float | None] = lambda at: None
        self.lost_at: float | None = None
        self.oil: Answers = lambda at: None
        self.kwp: Callable[[bytes, float], bytes | None] = lambda payload, at: None
        self.adapter = Adapter("simulated", "memory:")
        self.protocols: Sequence[BusProtocol] = ()
        self.asked: list[bytes] = []

    @property
    def at(self) -> float:
        return self.now - self.start

    def clock(self) -> float:
        return self.now

    def wait(self, seconds: float) -> None:
        self.now += max(0.0, seconds)

    def open_bus(self, protocol: BusProtocol | None = None) -> Opened:
        return Opened(protocol, False)

    def exchange(self, requests: Sequence[Request]) -> Iterator[Outcome]:
        for request in requests:
            if self.lost_at is not None and self.at >= self.lost_at:
                raise LinkLost("The adapter was unplugged", "Plug it in")
            self.now += 0.01
            self.asked.append(request.payload)
            answer = self._answer(request)
            if answer is not None:
                yield Reply(request, request.target.answer or 0, answer, self.now)
            yield Finished(request, self.now)

    def _answer(self, request: Request) -> bytes | None:
        if request.target.framing is Framing.ISO14230:
            return self.kwp(request.payload, self.at)
        if request.target == BCM:
            return b"\x7e\x00"
        if not self.ecm(self.at):
            return None
        if request.payload[0] == 0x22:
            data = self.oil(self.at)
            return None if data is None else b"\x62" + request.payload[1:] + data
        if request.payload[0] == 0x19:
            return self.status(self.at)
        found = [(pid, self.data[pid](self.at)) for pid in request.payload[1:] if pid in self.data]
        items = b"".join(bytes([pid]) + data for pid, data in found if data is not None)
        return b"\x41" + items if items else b"\x7f\x01\x12"

    def listen(self, seconds: float) -> BusActivity:
        return BusActivity(seconds, {}, 0, False)

    def supply_voltage(self) -> float | None:
        return self.volts(self.at)

    def close(self) -> None:
        return None


def byte(*values: tuple[float, int]) -> Answers:
    """One byte that changes at times: pairs of when and what."""
    return lambda at: bytes([[value for since, value in values if at >= since][-1]])


def intake(codes: Sequence[str] = ("P0123-11",), pids: Sequence[int] = ()) -> Picture:
    """What the last intake found: an engine module with PIDs and codes, and a body module."""
    masks = {block: mask_of(block, [*pids, 0x20, 0x40]) for block in (0x00, 0x20, 0x40)}
    stored = [StoredCode(Dtc.parse(text), "stored", DtcStatus(0x28)) for text in codes]
    languages = {Language.J1979, Language.UDS}
    ecm = ModuleSaid(ECM, 0x7E8, 3, 3, languages=languages, masks=masks, codes=stored, codes_read=True)
    bcm = ModuleSaid(BCM, 0x7EA, 3, 3, languages={Language.UDS}, codes_read=True)
    picture = Picture(finished=True)
    picture.modules = {ECM: ecm, BCM: bcm}
    return picture


def watched(vehicle: Vehicle, seen: Picture, seconds: float, wanted: Wanted = USUAL) -> list[Round]:
    choices = choose(seen, None, wanted)
    return list(
        watch(
            GuardedLink(vehicle),
            choices,
            Board(),
            every=0.5,
            seconds=seconds,
            clock=vehicle.clock,
            wait=vehicle.wait,
        )
    )


def flips(rounds: list[Round]) -> list[tuple[float, str, str, str]]:
    """Each flip with its time to half a second."""
    return [
        (round(flip.at * 2) / 2, f"{flip.module} {flip.name}", flip.before, flip.after)
        for taken in rounds
        for flip in taken.flips
    ]


def test_rounds_keep_their_interval() -> None:
    rounds = watched(Vehicle(), intake(), 3.0)
    assert [round(taken.seconds, 1) for taken in rounds] == [0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0]


def test_a_plug_pulled_shows_when_the_module_fell_silent_and_came_back() -> None:
    vehicle = Vehicle()
    vehicle.ecm = lambda at: not 1.9 < at < 3.4
    vehicle.data[0x42] = lambda at: (12_400).to_bytes(2, "big")
    assert flips(watched(vehicle, intake(pids=[0x42]), 5.0)) == [
        (2.0, "7E0 module", "answers", "no answer"),
        (3.5, "7E0 module", "no answer", "answers"),
    ]


def test_a_code_that_comes_and_goes_while_the_harness_is_moved() -> None:
    """Status 2F: failing now; 2E: not any more (ISO 14229-1 Annex D, bit 0)."""
    vehicle = Vehicle()
    vehicle.status = lambda at: bytes.fromhex("5902FF012311") + (b"\x2f" if 1.4 < at < 2.9 else b"\x2e")
    assert flips(watched(vehicle, intake(), 4.0)) == [
        (1.5, "7E0 code P0123-11", "not failing now", "failing now"),
        (3.0, "7E0 code P0123-11", "failing now", "not failing now"),
    ]


def test_a_part_that_does_not_follow_disagrees_after_its_settling_time() -> None:
    """Commanded 60 %, actual 15 %; the table allows a throttle one second."""
    vehicle = Vehicle()
    vehicle.data[0x4C] = byte((0.0, 38), (2.0, 153))
    vehicle.data[0x45] = byte((0.0, 38))
    rounds = watched(vehicle, intake(pids=[0x4C, 0x45]), 5.0)
    (flip,) = [item for item in flips(rounds) if "throttle" in item[1] and "agree" in item[2]]
    assert flip[:3] == (2.0, "7E0 throttle", "agree")
    assert flip[3] == "commanded 60, actual 14.9 % DISAGREE"
    side_by_side = next(sample for sample in rounds[0].samples if sample.name == "throttle")
    assert side_by_side.text == "commanded 14.9, actual 14.9 % agree"


def test_a_sensor_that_drops_out_leaps() -> None:
    vehicle = Vehicle()
    vehicle.data[0x05] = byte((0.0, 59), (1.4, 0), (2.4, 60))  # 19 degC, -40 (wire open), 20
    assert flips(watched(vehicle, intake(["P0118"], [0x05]), 3.0)) == [
        (1.5, "7E0 coolant temperature", "19 degC", "-40 degC"),
        (2.5, "7E0 coolant temperature", "-40 degC", "20 degC"),
    ]


def test_a_supply_that_breaks_down_leaps_at_the_module_and_at_pin_16() -> None:
    vehicle = Vehicle()
    vehicle.volts = lambda at: 9.0 if at > 1.4 else 12.4
    vehicle.data[0x42] = lambda at: (9_000 if at > 1.4 else 12_400).to_bytes(2, "big")
    assert [name for _, name, _, _ in flips(watched(vehicle, intake(pids=[0x42]), 2.0))] == [
        "connector pin 16",
        "7E0 control module voltage",
    ]


def test_an_answer_that_makes_no_sense_is_no_reading_and_ends_nothing() -> None:
    vehicle = Vehicle()
    vehicle.data[0x42] = lambda at: b"\x30\x70" if at < 0.9 else b"\x30"
    vehicle.status = lambda at: b"\x59\x02"
    rounds = watched(vehicle, intake(pids=[0x42]), 2.0)
    assert len(rounds) == 5
    last = {sample.name: sample.text for sample in rounds[-1].samples if sample.module == "7E0"}
    assert last == {
        "module": "answers",
        "code P0123-11": "no reading",
        "control module voltage": "no reading",
    }


def test_a_link_that_is_lost_ends_it_after_what_was_seen() -> None:
    vehicle = Vehicle()
    vehicle.lost_at = 1.2
    seen: list[Round] = []
    with pytest.raises(LinkLost):
        seen.extend(
            watch(
                GuardedLink(vehicle),
                choose(intake(), None, Wanted()),
                Board(),
                every=0.5,
                seconds=None,
                clock=vehicle.clock,
                wait=vehicle.wait,
            )
        )
    assert vehicle.at < 2.0


# What is watched ------------------------------------------------------------------------------------------

PIDS = [0x05, 0x0C, 0x11, 0x42, 0x45, 0x4C]


def pids_of(seen: Picture, wanted: Wanted = USUAL) -> set[int]:
    return {pid for choice in choose(seen, None, wanted) for pid in choice.pids}


def test_what_belongs_to_the_codes_is_watched_and_the_supply() -> None:
    assert pids_of(intake(["P0118"], PIDS)) == {0x05, 0x42}
    assert pids_of(intake(["P0123-11"], PIDS)) == {0x11, 0x42, 0x45, 0x4C}
    assert pids_of(intake([], PIDS)) == {0x42}


def test_identifiers_that_a_profile_lays_out_are_watched_on_request() -> None:
    level = Signal("oil level", 0, 1, False, Fraction(1, 2), Fraction(0), "mm")
    definitions = Definitions({0x3B01: DataDefinition("oil", 2, (level,), (Flag("oil pump", 1, 7),))})
    seen = intake([])
    seen.modules[ECM].definitions = definitions
    seen.modules[ECM].identifiers[0x3B01] = b"\x50\x80"
    vehicle = Vehicle()
    vehicle.oil = lambda at: b"\x50\x00" if at > 1.4 else b"\x50\x80"
    rounds = watched(vehicle, seen, 2.0, Wanted(everything=True))
    assert flips(rounds) == [(1.5, "7E0 oil pump", "on", "off")]
    assert {sample.name: sample.text for sample in rounds[0].samples}["oil level"] == "40 mm"
    assert not any(sample.name == "oil level" for sample in watched(vehicle, seen, 0.0)[0].samples)


def test_everything_is_watched_on_request() -> None:
    assert pids_of(intake([], PIDS), Wanted(everything=True)) == set(PIDS)


def test_a_wanted_pid_stands_alone() -> None:
    assert pids_of(intake(["P0118"], PIDS), Wanted(pids=(("", 0x0C),))) == {0x0C}


@pytest.mark.parametrize(
    ("label", "pid", "why"),
    [
        ("", 0x5C, "PID 5C is not offered by no module"),
        ("7E2", 0x0C, "not offered by 7E2"),
        ("TCM", 0x0C, "No module TCM"),
    ],
)
def test_what_is_not_there_cannot_be_wanted(label: str, pid: int, why: str) -> None:
    with pytest.raises(TriageError, match=why):
        choose(intake([], PIDS), None, Wanted(pids=((label, pid),)))


def test_a_code_of_one_module_brings_the_readings_of_all() -> None:
    """The body module's code may be about what the engine module reads."""
    assert readings_for([Dtc.parse("P0118")]) == {0x05, 0x67}
    assert readings_for([Dtc.parse("U0100")]) == set()


def test_on_a_k_line_a_module_is_greeted_until_it_answers() -> None:
    """StartCommunication (ISO 14230-2); the module answers C1 and then its codes by service 18."""
    node = Target(Framing.ISO14230, 0x58, 0x58)
    said = ModuleSaid(node, 0x58, 3, 3, languages={Language.KWP}, codes_read=True)
    said.codes = [StoredCode(Dtc.parse("B0012"), "stored")]
    picture = Picture(finished=True)
    picture.modules = {node: said}
    vehicle = Vehicle()
    answers = {b"\x81": b"\xc1\x8f\xef", b"\x18\x00\xff\x00": bytes.fromhex("5801801260")}
    vehicle.kwp = lambda payload, at: answers[payload] if at > 0.7 else None
    rounds = watched(vehicle, picture, 2.0)
    assert vehicle.asked.count(b"\x81") == 3
    assert flips(rounds) == [(1.0, "58 module", "no answer", "answers")]


def test_only_reading_questions_are_asked() -> None:
    vehicle = Vehicle()
    watched(vehicle, intake(["P0123-11"], PIDS), 1.0, Wanted(everything=True))
    assert {payload[0] for payload in vehicle.asked} <= {0x01, 0x19, 0x3E}


# The log --------------------------------------------------------------------------------------------------


def test_the_log_holds_every_sample_and_is_written_while_it_runs(tmp_path: Path) -> None:
    vehicle, place = Vehicle(), tmp_path / "deep" / "watch.csv"
    vehicle.ecm = lambda at: at < 1.4
    started = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
    with WatchLog(place, started) as log:
        for taken in watched(vehicle, intake(), 2.0):
            log.keep(taken)
            written = list(csv.reader(place.read_text(encoding="utf-8").splitlines()))
            assert len(written[-1]) == len(COLUMNS)
    rows = list(csv.DictReader(place.read_text(encoding="utf-8").splitlines()))
    silent = [row for row in rows if row["flip"]]
    assert [(row["module"], row["flip"]) for row in silent] == [("7E0", "answers -> no answer")]
    assert silent[0]["at"].startswith("2026-11-25T09:00:01.5")
    with pytest.raises(TriageError, match="exists and is left as it is"):
        WatchLog(place, started)


class Disk(io.RawIOBase):
    """A file on a disk that is full after so many bytes."""

    def __init__(self, room: int) -> None:
        self._room = room

    def writable(self) -> bool:
        return True

    def write(self, data: Any) -> int:
        self._room -= len(data)
        if self._room < 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        return len(data)


def test_a_full_disk_is_told_as_such(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The file holds what it could not write, and fails again when it is closed."""
    disk = io.TextIOWrapper(io.BufferedWriter(Disk(room=200)), encoding="utf-8")
    monkeypatch.setattr(Path, "open", lambda *_, **__: disk)
    told = r"cannot be written \(No space left on device\). Choose another"
    started = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
    with pytest.raises(TriageError, match=told), WatchLog(tmp_path / "watch.csv", started) as log:
        for taken in watched(Vehicle(), intake(), 5.0):
            log.keep(taken)
    assert disk.closed
