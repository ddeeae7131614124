"""Opening the bus and calling the roll: who is there at all."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from dtctriage.link import BusProtocol, Framing, Target, functional
from dtctriage.sweep import questions as q
from dtctriage.sweep.events import Ask, BusHeard, BusOpened, Event, Stage, StageBegun
from dtctriage.sweep.plan import Plan
from dtctriage.sweep.talk import Talk, notice

LISTEN_SECONDS = 0.3


class Roll:
    """Settles on a protocol and calls each address in every round."""

    def __init__(self, talk: Talk, plan: Plan) -> None:
        self._talk = talk
        self._plan = plan

    def open(self) -> Iterator[Event]:
        """Settle on a protocol and call the roll on it; without an answer try each CAN protocol."""
        opened = self._talk.link.open_bus(self._plan.protocol)
        yield from (notice(None, item) for item in opened.notices)
        if opened.protocol is not None:
            yield BusOpened(opened.protocol, assumed=False)
            yield from self._call_on(opened.protocol)
            return
        # Modules that are no emission modules stay silent in the search and may still answer their own
        # address: a dead engine module must not hide them.
        for protocol in self._guesses():
            again = self._talk.link.open_bus(protocol)
            yield from (notice(None, item) for item in again.notices)
            yield BusOpened(protocol, assumed=True)
            yield from self._call_on(protocol)
            if self._talk.modules or self._talk.dead:
                return

    def _guesses(self) -> list[BusProtocol]:
        framings = {target.framing for target in self._plan.expected}
        able = [item for item in self._talk.link.protocols if item.framing.is_can]
        return [item for item in able if item.framing in framings] or able

    def _call_on(self, protocol: BusProtocol) -> Iterator[Event]:
        yield from listen(self._talk)
        yield from self._rounds(protocol.framing)
        if not self._talk.modules and not self._talk.dead:
            yield from self._widened(protocol.framing)

    def _rounds(self, framing: Framing) -> Iterator[Event]:
        """Call the roll in every round; on 29 bit every address once, and who answered again.

        On a bus that is dead one round is enough.
        """
        targets = self._targets(framing)
        once = self._others(framing, targets) if framing is Framing.CAN29 else []
        questions = self._plan.rounds * (1 + len(targets)) + framing.is_can + len(once)
        yield StageBegun(Stage.ROLL_CALL, questions)
        if framing.is_can:
            yield from self._talk.put([Ask(Stage.ROLL_CALL, functional(framing), q.OBD_PROTOCOL, 1)])
        for turn in range(1, self._plan.rounds + 1):
            yield from self._talk.put([Ask(Stage.ROLL_CALL, functional(framing), q.SUPPORTED_PIDS, turn)])
            yield from self._call(targets, turn)
            if self._talk.dead:
                return
            yield from self._call(self._heard_of(once, turn), turn)

    def _widened(self, framing: Framing) -> Iterator[Event]:
        """Nobody answered and no profile says where to ask: call every other address too.

        Dead emission modules must not hide the rest of the vehicle.
        """
        once = self._others(framing, self._targets(framing))
        if framing is not Framing.CAN11 or self._plan.expected or not once:
            return
        yield StageBegun(Stage.ROLL_CALL, len(once))
        for turn in range(1, self._plan.rounds + 1):
            yield from self._call(self._heard_of(once, turn), turn)

    def _call(self, targets: Sequence[Target], turn: int) -> Iterator[Event]:
        """Call modules by their own address."""
        yield from self._talk.put(
            [
                Ask(
                    Stage.ROLL_CALL,
                    each,
                    q.TESTER_PRESENT if each.framing.is_can else q.START_COMMUNICATION,
                    turn,
                )
                for each in targets
            ]
        )

    def _others(self, framing: Framing, called: Sequence[Target]) -> list[Target]:
        taken = {target.request for target in called}
        return [target for target in q.all_targets(framing) if target.request not in taken]

    def _heard_of(self, targets: Sequence[Target], turn: int) -> list[Target]:
        """All of them in the first round, then those that have answered."""
        heard = {target.request for target in self._talk.modules}
        return [target for target in targets if turn == 1 or target.request in heard]

    def _targets(self, framing: Framing) -> list[Target]:
        wanted = [target for target in self._plan.expected if target.framing is framing]
        named = {target.request for target in wanted}
        earlier = (target for target in self._plan.remembered if target.framing is framing)
        wanted += [target for target in earlier if target.request not in named]
        if not framing.is_can:
            return wanted if framing is Framing.ISO14230 else []
        taken = {target.request for target in wanted}
        others = q.all_targets(framing) if self._plan.full else q.usual_targets(framing)
        return [*wanted, *(target for target in others if target.request not in taken)]


def listen(talk: Talk) -> Iterator[Event]:
    """What the bus does while nobody asks."""
    yield BusHeard(talk.link.listen(LISTEN_SECONDS))
