"""Questions and answers out of a raw capture, paired by how the identifiers behave.

Nothing is taken from an identifier's number alone: modules answer on 7BB for 79B, and a tester need not be
F1. What counts is an answer of the right shape after a question, and flow control in between.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from statistics import median

from dtctriage.link import Damaged, Finished, Framing, Outcome, Reply, Request, Target, physical
from dtctriage.services.shape import answers, is_pending
from dtctriage_adapters.can_frames.calls import NEVER_ANSWERED, P2, P2_STAR
from dtctriage_adapters.can_frames.directory import Source, habitual_request
from dtctriage_adapters.replay.capture import Trace
from dtctriage_adapters.replay.messages import Message, flow_controls, messages_of
from dtctriage_adapters.replay.roles import is_answer, is_question
from dtctriage_adapters.replay.session import Asked

LATE = 1.0
"""Seconds after a question in which a recorded answer counts: loggers and gateways delay. Own choice."""

_Score = tuple[int, int, bool, bool]


@dataclass(slots=True)
class Asker:
    """An identifier on which questions are sent."""

    source: Source
    questions: list[Message]
    flow: list[float]

    @property
    def functional(self) -> bool:
        return Target(*self.source).functional

    def before(self, at: float) -> Message | None:
        """The last question before `at`."""
        found = bisect_right(self.questions, at, key=lambda question: question.at)
        return self.questions[found - 1] if found else None


@dataclass(frozen=True, slots=True)
class Recovered:
    """`undecided`: answer ids of which several request ids could be meant. `orphans`: answers by id whose
    question is not in the capture. `used`: identifiers that belong to the diagnostic traffic."""

    asked: tuple[Asked, ...]
    undecided: tuple[Source, ...]
    orphans: Mapping[Source, int]
    used: frozenset[Source]


@dataclass(slots=True)
class _Open:
    """A question on its way through the capture."""

    at: float
    asker: Source
    asked: Asked
    until: float
    answered: set[int] = field(default_factory=set)
    waiting: set[int] = field(default_factory=set)


def recover(traces: Mapping[Source, Trace]) -> Recovered:
    """Take the diagnostic traffic of a capture apart."""
    askers: dict[Source, Asker] = {}
    answerers: dict[Source, list[Message]] = {}
    for source, trace in traces.items():
        if not trace.diagnostic:
            continue
        messages = messages_of(trace.frames)
        questions = [item for item in messages if not item.problem and is_question(item.payload)]
        replies = [item for item in messages if item.problem or is_answer(item.payload)]
        if len(questions) > len(messages) / 2:
            askers[source] = Asker(source, questions, flow_controls(trace.frames))
        elif replies:
            answerers[source] = replies
    answerers = {
        source: items for source, items in answerers.items() if _talks_when_asked(source, items, askers)
    }
    pairs, undecided = _pair(askers, answerers)
    groups = [asker for asker in askers.values() if asker.functional]
    heard = [
        source
        for source, items in answerers.items()
        if source in pairs or any(True for group in groups for _ in _answered(group, items))
    ]
    asking = [asker for asker in askers.values() if _is_tester(asker, traces[asker.source], pairs, heard)]
    replies_of = {source: answerers[source] for source in heard}
    asked, orphans = _join(asking, replies_of, pairs)
    used = {*replies_of, *undecided, *(asker.source for asker in asking)}
    return Recovered(tuple(asked), tuple(undecided), orphans, frozenset(used))


# -- who answers whom -------------------------------------------------------------------------------------


def _pair(
    askers: Mapping[Source, Asker], answerers: Mapping[Source, Sequence[Message]]
) -> tuple[dict[Source, Source], list[Source]]:
    """Answer id -> request id, the best supported pairs first, and answer ids that stay undecided."""
    scores = {
        (answer, asker.source): score
        for answer, messages in answerers.items()
        for asker in askers.values()
        if not asker.functional
        and asker.source[0] is answer[0]
        and (score := _score(asker, answer, messages))
    }
    pairs: dict[Source, Source] = {}
    undecided: list[Source] = []
    open_answers = {answer for answer, _ in scores}
    while open_answers:
        free = {
            pair: score
            for pair, score in scores.items()
            if pair[0] in open_answers and pair[1] not in pairs.values()
        }
        if not free:
            break
        answer, request = max(free, key=lambda pair: (free[pair][0], -free[pair][1], pair))
        best, _ = free[answer, request]
        rivals = [score for pair, (score, _) in free.items() if pair[0] == answer and pair[1] != request]
        open_answers.discard(answer)
        if best in rivals:
            undecided.append(answer)
        else:
            pairs[answer] = request
    return pairs, sorted(undecided, key=lambda source: source[1])


def _score(asker: Asker, answer: Source, messages: Sequence[Message]) -> tuple[_Score, float] | None:
    """How well an answer id fits a request id, and the usual time between them; None when not at all.

    The number of answers that fit a question counts first, then flow control sent for them, then the
    pairing that ISO 15765-4 gives, then the usual habit.
    """
    latencies: list[float] = []
    controlled = 0
    for question, message in _answered(asker, messages):
        latencies.append(message.began - question.at)
        after = bisect_right(asker.flow, message.began)
        controlled += (
            message.at > message.began and after < len(asker.flow) and asker.flow[after] < message.at
        )
    if not latencies:
        return None
    framing, number = asker.source
    standard = physical(framing, number).answer == answer[1]
    habit = habitual_request(*answer) == number
    return (len(latencies), controlled, standard, habit), median(latencies)


def _answered(asker: Asker, messages: Sequence[Message]) -> Iterator[tuple[Message, Message]]:
    """The asker's questions that one of the messages may answer, each with the first that may."""
    last: Message | None = None
    for message in messages:
        question = asker.before(message.began)
        if question is None or question is last or not _fits(question, message):
            continue
        if not is_pending(message.payload):
            last = question
        yield question, message


def _talks_when_asked(source: Source, messages: Sequence[Message], askers: Mapping[Source, Asker]) -> bool:
    """Most of what an identifier sends can answer something: periodic traffic fits by chance at best."""
    mine = [asker for asker in askers.values() if asker.source[0] is source[0]]
    explained = {id(message) for asker in mine for _, message in _answered(asker, messages)}
    whole = [message for message in messages if is_answer(message.payload)]
    return 2 * len(explained) >= len(whole) > 0


def _fits(question: Message, message: Message) -> bool:
    in_time = 0 <= message.began - question.at <= (P2_STAR if is_pending(message.payload) else LATE)
    return in_time and answers(question.payload, message.payload)


def _is_tester(asker: Asker, trace: Trace, pairs: Mapping[Source, Source], heard: Sequence[Source]) -> bool:
    """Somebody answers it, or it lies where testers ask and carries nothing but questions."""
    if asker.source in pairs.values():
        return True
    framing, number = asker.source
    usual = number >> 8 == 0x7 if framing is Framing.CAN11 else number >> 16 in (0x18DA, 0x18DB)
    return usual and trace.misfits == 0 and len(asker.questions) + len(asker.flow) >= trace.count


# -- what came of each question -------------------------------------------------------------------------


def _join(
    askers: Sequence[Asker], answerers: Mapping[Source, Sequence[Message]], pairs: Mapping[Source, Source]
) -> tuple[list[Asked], dict[Source, int]]:
    """Every question in its order with its answers, and how many answers have no question."""
    answer_of = {request: answer[1] for answer, request in pairs.items()}
    functional = {asker.source for asker in askers if asker.functional}
    opened: dict[Source, _Open] = {}
    orphans: dict[Source, int] = {}
    asked: list[_Open] = []
    for source, message in _timeline(askers, answerers):
        if source not in answerers:
            target = Target(*source, answer_of.get(source))
            opened[source] = _Open(
                message.at, source, Asked(Request(target, message.payload)), message.at + LATE
            )
            asked.append(opened[source])
            continue
        candidates = [pairs[source]] if source in pairs else []
        candidates += [group for group in functional if group[0] is source[0]]
        question = next(
            (q for name in candidates if (q := opened.get(name)) and _takes(q, source, message)), None
        )
        if question is None:
            orphans[source] = orphans.get(source, 0) + 1
        else:
            _take(question, source[1], message)
    for question in asked:
        _finish(question)
    return [question.asked for question in asked], orphans


def _timeline(
    askers: Sequence[Asker], answerers: Mapping[Source, Sequence[Message]]
) -> Iterator[tuple[Source, Message]]:
    """All messages by the time of their first frame; a question before an answer of the same time."""
    rows = [(message.at, 0, source, message) for source, message in _questions(askers)]
    rows += [(message.began, 1, source, message) for source, items in answerers.items() for message in items]
    rows.sort(key=lambda row: row[:2])
    return ((source, message) for _, _, source, message in rows)


def _questions(askers: Sequence[Asker]) -> Iterator[tuple[Source, Message]]:
    return ((asker.source, question) for asker in askers for question in asker.questions)


def _takes(question: _Open, source: Source, message: Message) -> bool:
    """A message without its first frame shows no service: the question that is open takes it."""
    headless = bool(message.problem) and not is_answer(message.payload)
    fits = answers(question.asked.request.payload, message.payload)
    return message.began <= question.until and source[1] not in question.answered and (headless or fits)


def _take(question: _Open, source: int, message: Message) -> None:
    request = question.asked.request
    if is_pending(message.payload):
        question.until = message.at + P2_STAR
        question.waiting.add(source)
        return
    question.waiting.discard(source)
    question.answered.add(source)
    outcome: Outcome = Reply(request, source, message.payload, message.at)
    if message.problem:
        outcome = Damaged(request, source, message.problem, message.payload, message.at)
    question.asked.outcomes.append(outcome)


def _finish(question: _Open) -> None:
    request, outcomes = question.asked.request, question.asked.outcomes
    for source in sorted(question.waiting):
        outcomes.append(Damaged(request, source, NEVER_ANSWERED, b"", question.until))
    came = [item.at for item in outcomes if isinstance(item, Reply | Damaged)]
    outcomes.append(Finished(request, max([question.at + P2, *came])))
