"""A vehicle in memory: a link whose answers are a table, with time that a test sets."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field

import pytest

from dtctriage.errors import TriageError
from dtctriage.link import (
    Adapter,
    BusActivity,
    BusProtocol,
    Damaged,
    Finished,
    Framing,
    LinkLost,
    Notice,
    Opened,
    Outcome,
    Reply,
    Request,
    Target,
    physical,
)
from dtctriage.sweep.events import Event
from dtctriage.sweep.picture import Picture, picture
from dtctriage.sweep.run import Plan, sweep

Answer = tuple[int, str] | Damaged | Notice
"""Source and payload in hexadecimal, or something else that comes instead."""
Script = Callable[[Request, int], Sequence[Answer]]
"""What comes of a request, which is asked for the n-th time (from 1)."""


@dataclass
class ScriptedLink:
    """A link without a wire. `asked`: the batches that were sent; `lost_after`: requests until it breaks."""

    script: Script
    opens: Callable[[BusProtocol | None], Opened] = lambda _: Opened(BusProtocol.CAN11_500, True)
    protocols: Sequence[BusProtocol] = tuple(BusProtocol)
    supplies: list[float | None] = field(default_factory=lambda: [12.5, 12.4])
    activity: BusActivity = field(default_factory=lambda: BusActivity(0.3, {0x100: 7}, 0, True))
    lost_after: int | None = None
    loss: TriageError = field(default_factory=lambda: LinkLost("The adapter is gone", "Plug it in again"))
    adapter: Adapter = field(default_factory=lambda: Adapter("scripted", "memory:"))
    asked: list[list[Request]] = field(default_factory=list)
    opened: list[BusProtocol | None] = field(default_factory=list)
    now: float = 0.0

    def open_bus(self, protocol: BusProtocol | None = None) -> Opened:
        self.opened.append(protocol)
        return self.opens(protocol)

    def exchange(self, requests: Sequence[Request]) -> Iterator[Outcome]:
        self.asked.append([])
        for request in requests:
            if self.lost_after is not None and sum(map(len, self.asked)) >= self.lost_after:
                raise self.loss
            before = sum(batch.count(request) for batch in self.asked)
            self.asked[-1].append(request)
            self.now += 0.01
            for answer in self.script(request, before + 1):
                if isinstance(answer, tuple):
                    yield Reply(request, answer[0], bytes.fromhex(answer[1]), self.now)
                else:
                    yield answer
            yield Finished(request, self.now)

    def listen(self, seconds: float) -> BusActivity:
        return self.activity

    def supply_voltage(self) -> float | None:
        return self.supplies.pop(0) if len(self.supplies) > 1 else self.supplies[0]

    def close(self) -> None:
        """Nothing is open."""

    @property
    def payloads(self) -> list[tuple[str, str]]:
        """(request id, payload in hexadecimal) of everything that was sent, in order."""
        return [(r.target.label, r.payload.hex().upper()) for batch in self.asked for r in batch]


Table = dict[tuple[int, str], Sequence[Answer]]


class Swept:
    """Helpers for the tests of the sweep."""

    Link = ScriptedLink

    @staticmethod
    def target(request: int, answer: int | None = None) -> Target:
        standard = physical(Framing.CAN11, request)
        return standard if answer is None else Target(Framing.CAN11, request, answer)

    @staticmethod
    def table(answers: Table) -> Script:
        """A script from (request id, payload in hexadecimal); what is not in it is not answered."""

        def script(request: Request, turn: int) -> Sequence[Answer]:
            return answers.get((request.target.request, request.payload.hex().upper()), ())

        return script

    @staticmethod
    def events(link: ScriptedLink, **plan: object) -> list[Event]:
        return list(sweep(link, Plan(**plan)))  # type: ignore[arg-type]

    def picture(self, link: ScriptedLink, **plan: object) -> Picture:
        return picture(self.events(link, **plan), Plan(**plan).expected)  # type: ignore[arg-type]


@pytest.fixture(scope="session")
def swept() -> Swept:
    """How a test makes a link and sweeps it."""
    return Swept()


ENGINE: Table = {
    (0x7DF, "0100"): [(0x7E8, "4100BE3EA813"), (0x7E9, "410080000001")],
    (0x7E0, "3E00"): [(0x7E8, "7E00")],
    (0x7E1, "3E00"): [(0x7E9, "7F3E11")],
    (0x7E0, "0900"): [(0x7E8, "490054400000")],
    (0x7E0, "0902"): [(0x7E8, "490201" + b"G0ZKV5C2XP1000417".hex())],
    (0x7E0, "0904"): [(0x7E8, "490401" + b"KV20E5A07R3".ljust(16, b"\0").hex())],
    (0x7E0, "090A"): [(0x7E8, "490A01" + b"ECM\0-EngineControl".ljust(20, b"\0").hex())],
    (0x7E0, "22F190"): [(0x7E8, "62F190" + b"G0ZKV5C2XP1000417".hex())],
    (0x7E0, "22F187"): [(0x7E8, "7F2231")],
    (0x7E0, "03"): [(0x7E8, "43020301" + "0420")],
    (0x7E0, "07"): [(0x7E8, "4700")],
    (0x7E0, "0A"): [(0x7E8, "7F0A11")],
    (0x7E0, "1902AF"): [(0x7E8, "5902FF03010028" + "C1008708")],
    (0x7E0, "0101"): [(0x7E8, "41018207E500")],
    (0x7E0, "0120"): [(0x7E8, "412080000001")],
    (0x7E0, "0140"): [(0x7E8, "414040000000")],
    (0x7E0, "0142"): [(0x7E8, "41423040")],
    (0x7E0, "020200"): [(0x7E8, "4202000301")],
    (0x7E0, "020000"): [(0x7E8, "42000008180000")],
    (0x742, "3E00"): [(0x5C2, "7E00")],
}  # fmt: skip


@pytest.fixture
def engine() -> Table:
    """Answers of an engine module at 7E0, a second one at 7E1 and a third at 742 that answers on 5C2.

    Multi-frame payloads as they are after reassembly. 02 codes: P0301, P0420; U0100-87 in history.
    """
    return dict(ENGINE)
