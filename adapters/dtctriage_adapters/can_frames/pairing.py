"""Which request id does an unknown answer id belong to? Found by asking again, all ids together.

An answer cannot come before its question. The roll call asks every id once, in order; whoever is asked
later than an answer came cannot be its module. So, in rounds:

1. everybody still possible is asked once more in the opposite order, the habitual id of each answer
   first. What was asked before the answer in both passes is left: for a module that answers after 5 ms,
   some forty of 256 ids, the likeliest being the one whose two latencies are equal;
2. the likeliest of each answer id are asked together; who stays silent gets the next two, four ... of its
   own. An answer leaves what was in the air;
3. when few are left, one is asked so that nothing else in the air can be meant. If it is answered, it is
   the one.

No I/O and no clock: times are seconds that the caller states. Own method, no source.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Collection

from dtctriage_adapters.can_frames.rollcall import Pass
from dtctriage_adapters.can_frames.suspect import Suspect

_FEW = 8
"""Candidates that are asked one by one."""
_STUCK = 3
"""Answers without news after which more than a few are asked one by one too."""
_TRIES = 2
"""How often everything possible is asked in vain before an answer id is given up."""
_SURPRISES = 2
"""Answers to nothing after which an id is taken for traffic that nobody asked for."""
_LIMIT = 3.0
"""Seconds after which who is not found yet is given up. Own choice, no source."""
_ANSWERS = 40
"""Answers after which an id is given up: each should have made the set of candidates smaller."""


class Pairing:
    """Told what was asked and heard, says what to ask next.

    `first` is the roll call's own pass, `fitting` the request ids whose question each answer id's answer
    fits, `window` how long an answer may take (P2) in seconds, `habit` the usual request id of an answer
    id. `found` maps answer ids to request ids; `lost` holds answer ids that could not be paired.
    """

    def __init__(
        self,
        first: Pass,
        fitting: Callable[[int], Collection[int]],
        habit: Callable[[int], int],
        window: float,
    ) -> None:
        self.found: dict[int, int] = {}
        self.lost: set[int] = set()
        self._window = window
        self._asked_at = first.asked_at
        self._active: dict[int, Suspect] = {}
        self._round: deque[int] = deque()
        self._awaited: set[int] = set()
        """Answer ids that this round may still bring to speak."""
        self._patience = window
        self._last = 0.0
        self._ends = 0.0
        for answer, times in first.heard_at.items():
            fits = fitting(answer)
            asked = {number: at for number, at in first.asked_at.items() if number in fits and at <= times[0]}
            self._active[answer] = Suspect(list(asked), habit(answer), window, asked)
            if len(first.asked_at) == 1 and asked:
                self._settle(answer, *asked)
            for at in times:
                self.spoke(answer, at)
        self._round = self._backwards()
        self._awaited = set(self._active)

    @property
    def done(self) -> bool:
        return not self._active

    def asked(self, number: int, at: float) -> None:
        """`number` was asked at `at`."""
        self._last = at
        for suspect in self._active.values():
            suspect.note(number, at)

    def spoke(self, answer: int, at: float) -> None:
        """`answer` began an answer at `at`."""
        suspect = self._active.get(answer)
        if suspect is None:
            if answer not in self.found:
                self.lost.add(answer)
        elif not suspect.asked:
            suspect.surprises += 1
            if suspect.surprises > _SURPRISES:
                self._give_up(answer)
        elif suspect.narrow(at):
            self._settle(answer, suspect.candidates[0])
        elif len(suspect.heard) > _ANSWERS:
            self._give_up(answer)
        else:
            self._awaited.discard(answer)

    def open_to(self, answer: int) -> list[int]:
        """The request ids that may be waiting for `answer`'s flow control, the likeliest first."""
        if answer in self.found:
            return [self.found[answer]]
        return list(self._active[answer].candidates) if answer in self._active else []

    def next(self, now: float) -> int | None:
        """The request id to ask now; None while there is only waiting to do."""
        self._ends = self._ends or now + _LIMIT
        if now >= self._ends:
            for answer in list(self._active):
                self._give_up(answer)
        while self._round and self._awaited:
            number = self._round.popleft()
            if any(number in self._active[answer].candidates for answer in self._awaited):
                return number
        if self._awaited and now < self._last + self._patience:
            return None
        self._open_round(now)
        return self._round.popleft() if self._round else None

    def wake(self) -> float:
        """When to call `next` again if nothing is heard until then."""
        if (self._round and self._awaited) or not self._active:
            return self._last
        if self._awaited:
            return self._last + self._patience
        ends = (at + s.patience for s in self._active.values() for at in s.asked.values())
        return min((end for end in ends if end > self._last), default=self._last + self._window)

    # -- rounds -----------------------------------------------------------------------------------------

    def _backwards(self) -> deque[int]:
        everyone = {number for suspect in self._active.values() for number in suspect.candidates}
        habits = dict.fromkeys(s.habit for s in self._active.values() if s.habit in everyone)
        rest = sorted(everyone.difference(habits), key=lambda number: self._asked_at[number], reverse=True)
        return deque([*habits, *rest])

    def _open_round(self, now: float) -> None:
        for answer, suspect in list(self._active.items()):
            suspect.age(now)
            if suspect.tries > _TRIES or not suspect.candidates:
                self._give_up(answer)
        picks = self._picks(now)
        self._round = deque(picks)
        self._awaited = {a for a, suspect in self._active.items() if picks.intersection(suspect.candidates)}
        self._patience = max((self._active[answer].patience for answer in self._awaited), default=0.0)

    def _picks(self, now: float) -> set[int]:
        """What to ask in the next round; never what will likely still be answered."""
        in_the_air = {number for suspect in self._active.values() for number in suspect.in_the_air(now)}
        picks: set[int] = set()
        reserved: set[int] = set()
        for suspect in sorted(self._active.values(), key=lambda suspect: len(suspect.candidates)):
            rest = [number for number in suspect.open() if number not in in_the_air]
            if len(suspect.candidates) > _FEW and suspect.stuck < _STUCK:
                picks.update([number for number in rest if number not in reserved][: suspect.step])
                suspect.step *= 2
            elif rest and rest[0] not in reserved and picks.isdisjoint(suspect.candidates):
                picks.add(rest[0])
                reserved.update(suspect.candidates)
        return picks

    # -- one answer id ----------------------------------------------------------------------------------

    def _settle(self, answer: int, number: int) -> None:
        self._drop(answer)
        self.found[answer] = number
        for other, rival in self._active.items():
            rival.cede(number)
            if not rival.asked and not self._round:
                self._awaited.discard(other)

    def _give_up(self, answer: int) -> None:
        self._drop(answer)
        self.lost.add(answer)

    def _drop(self, answer: int) -> None:
        del self._active[answer]
        self._awaited.discard(answer)
