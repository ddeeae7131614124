"""What happened during a sweep, one frozen class an event.

Events hold raw bytes, not decoded values: what was heard stays true when the decoding gets better. They
go to JSON and back without loss (`to_json`, `from_json`), so that records, the progress display and the
sheet all read one stream.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field, TypeAdapter
from pydantic.dataclasses import dataclass as event

from dtctriage.link import BusActivity, BusProtocol, NoticeKind, Target

_config = ConfigDict(ser_json_bytes="hex", val_json_bytes="hex")


class Stage:
    """Names of the stages of a sweep, in their order."""

    ADAPTER = "adapter"
    BUS = "bus"
    ROLL_CALL = "roll call"
    IDENTIFICATION = "identification"
    CODES = "codes"
    STATE = "state"
    SNAPSHOTS = "snapshots"
    CURRENT_DATA = "current data"
    TESTS = "test results"


@dataclass(frozen=True, slots=True)
class Ask:
    """A question within a sweep: to whom, which bytes, in which stage, in which round of the roll call."""

    stage: str
    target: Target
    payload: bytes
    round: int = 0


@event(frozen=True, config=_config)
class SweepStarted:
    """The adapter as it names itself, and how the link was asked for."""

    adapter: str
    url: str
    recorded: bool
    rounds: int
    kind: Literal["sweep started"] = "sweep started"


@event(frozen=True, config=_config)
class SupplyRead:
    """Voltage at the connector's pin 16; None where the link cannot tell."""

    volts: float | None
    kind: Literal["supply read"] = "supply read"


@event(frozen=True, config=_config)
class BusOpened:
    """The protocol settled on. `assumed`: no protocol answered the search, this one is tried anyway."""

    protocol: BusProtocol | None
    assumed: bool
    kind: Literal["bus opened"] = "bus opened"


@event(frozen=True, config=_config)
class BusHeard:
    """What the bus did while nobody asked."""

    activity: BusActivity
    kind: Literal["bus heard"] = "bus heard"


@event(frozen=True, config=_config)
class StageBegun:
    """A stage begins, or goes on, with the number of questions that come now: the next ones may depend on
    their answers."""

    stage: str
    questions: int
    kind: Literal["stage begun"] = "stage begun"


@event(frozen=True, config=_config)
class Answered:
    """A positive answer. `at` is monotonic seconds on the link's clock."""

    ask: Ask
    source: int
    payload: bytes
    at: float
    kind: Literal["answered"] = "answered"


@event(frozen=True, config=_config)
class Refused:
    """A negative answer (7F service code): an answer, not a silence."""

    ask: Ask
    source: int
    code: int
    at: float
    kind: Literal["refused"] = "refused"


@event(frozen=True, config=_config)
class Silent:
    """The window closed without any answer."""

    ask: Ask
    at: float
    kind: Literal["silent"] = "silent"


@event(frozen=True, config=_config)
class AnswerDamaged:
    """Something came, but not a complete answer."""

    ask: Ask
    source: int | None
    problem: str
    raw: bytes
    at: float
    kind: Literal["answer damaged"] = "answer damaged"


@event(frozen=True, config=_config)
class NoticeGiven:
    """The adapter or interface said something about the bus. `ask` is None when it belongs to none."""

    ask: Ask | None
    notice: NoticeKind
    text: str
    advice: str
    kind: Literal["notice given"] = "notice given"


@event(frozen=True, config=_config)
class SweepBroken:
    """The sweep ended before its time; what came before it stands."""

    message: str
    advice: str
    kind: Literal["sweep broken"] = "sweep broken"


@event(frozen=True, config=_config)
class SweepFinished:
    """Every planned question was asked."""

    kind: Literal["sweep finished"] = "sweep finished"


Event = (
    SweepStarted
    | SupplyRead
    | BusOpened
    | BusHeard
    | StageBegun
    | Answered
    | Refused
    | Silent
    | AnswerDamaged
    | NoticeGiven
    | SweepBroken
    | SweepFinished
)

_adapter: TypeAdapter[Event] = TypeAdapter(Annotated[Event, Field(discriminator="kind")])


def to_json(item: Event) -> dict[str, Any]:
    """The event as plain JSON values; bytes as hex text, enums by name."""
    document: dict[str, Any] = _adapter.dump_python(item, mode="json")
    return document


def from_json(document: dict[str, Any]) -> Event:
    """The event from `to_json`'s values. Raises ValueError for anything else."""
    return _adapter.validate_python(document)
