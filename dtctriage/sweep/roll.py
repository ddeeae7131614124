"""Opening the bus and calling the roll: who is there at all."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from dtctriage.link import BusProtocol, Framing, Target, functional
from dtctriage.sweep import questions as q
from dtctriage.sweep.events import Ask, BusHeard, BusOpened, Event, Stage, StageBegun
from dtctriage.sweep.plan import Depth, Plan
from dtctriage.sweep.talk import Talk, notice

LISTEN_SECONDS = 0.3


class Roll:
    """Settles on a protocol and calls each address in every round."""

    def __init__(self, talk: Talk, plan: Plan) -> None:
        self._talk = talk
        self._plan = plan
        self._called: set[Target] = set()

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
        """Call the roll in every round; addresses that nobody named once, and who answered there again.

        On a bus that is dead one round is enough.
        """
        targets = self._targets(framing)
        once = self._others(framing, targets) if self._calls_all(framing) else []
        questions = self._plan.rounds * (1 + len(targets)) + framing.is_can + len(once)
        yield StageBegun(Stage.ROLL_CALL, questions)
        if framing.is_can:
            yield from self._talk.put([Ask(Stage.ROLL_CALL, functional(framing), q.OBD_PROTOCOL, 1)])
        for turn in range(1, self._plan.rounds + 1):
            yield from self._talk.put([Ask(Stage.ROLL_CALL, functional(framing), q.SUPPORTED_PIDS, turn)])
            yield from self._call(targets, turn)
            if self._talk.dead:
                return
            if turn == 1:
                yield from self._call(once, turn)
            else:
                yield from self._again(once, turn)

    def _calls_all(self, framing: Framing) -> bool:
        """Whether every address is called once, so that a silent one was asked.

        On 11 bit a profile says where to ask, and a quick sweep saves the time.
        """
        if framing is Framing.CAN11:
            return not self._plan.expected and self._plan.depth > Depth.QUICK
        return framing is Framing.CAN29

    def _widened(self, framing: Framing) -> Iterator[Event]:
        """Nobody answered a quick sweep and no profile says where to ask: call every other address too.

        Dead emission modules must not hide the rest of the vehicle.
        """
        if framing is not Framing.CAN11 or self._plan.expected:
            return
        called = {target.request for target in self._called if target.framing is framing}
        once = [target for target in q.all_targets(framing) if target.request not in called]
        if not once:
            return
        yield StageBegun(Stage.ROLL_CALL, len(once))
        yield from self._call(once, 1)
        for turn in range(2, self._plan.rounds + 1):
            yield from self._again(once, turn)

    def recalled(self, framing: Framing) -> Iterator[Event]:
        """Call addresses that are known of a VIN which the vehicle itself gave after the roll call.

        A silent one is called again where it is known now on which identifier it answers.
        """
        vins = {vin for said in self._talk.modules.values() for vin in said.vins.values() if vin}
        known = sorted({target for vin in vins for target in self._plan.recall(vin)})
        heard = {target.request for target in self._talk.modules}
        late = [
            target
            for target in known
            if _may_be_called(target, framing) and target not in self._called and target.request not in heard
        ]
        if late:
            yield StageBegun(Stage.ROLL_CALL, self._plan.rounds * len(late))
            for turn in range(1, self._plan.rounds + 1):
                yield from self._call(late, turn)

    def _again(self, once: Sequence[Target], turn: int) -> Iterator[Event]:
        """Call those of the addresses called once that have answered."""
        heard = {target.request for target in self._talk.modules}
        answering = [target for target in once if target.request in heard]
        if answering:
            yield StageBegun(Stage.ROLL_CALL, len(answering))
            yield from self._call(answering, turn)

    def _call(self, targets: Sequence[Target], turn: int) -> Iterator[Event]:
        """Call modules by their own address."""
        self._called.update(targets)
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

    def _targets(self, framing: Framing) -> list[Target]:
        wanted = [target for target in self._plan.expected if target.framing is framing]
        named = {target.request for target in wanted}
        earlier = (target for target in self._plan.remembered if target.framing is framing)
        wanted += [target for target in earlier if target.request not in named]
        if not framing.is_can:
            return [target for target in wanted if _may_be_called(target, framing)]
        taken = {target.request for target in wanted}
        others = q.all_targets(framing) if self._plan.full else q.usual_targets(framing)
        return [*wanted, *(target for target in others if target.request not in taken)]


def _may_be_called(target: Target, framing: Framing) -> bool:
    """Whether a module can be called by its own address on a bus of this framing."""
    return target.framing is framing and (framing.is_can or framing is Framing.ISO14230)


def listen(talk: Talk) -> Iterator[Event]:
    """What the bus does while nobody asks."""
    yield BusHeard(talk.link.listen(LISTEN_SECONDS))
