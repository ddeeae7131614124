"""The project's own wire log: every call on a link and what came of it, as JSON Lines.

The first line names the format, the others hold one call or outcome each, in the order in which they
happened. A line is on disk before its outcome is handed on, so that a sweep that dies leaves a log that
holds everything it showed. Bytes are hexadecimal text, times are monotonic seconds on the link's clock.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Final, Literal, TextIO, TypeVar

from pydantic import ConfigDict, Field, TypeAdapter, ValidationError
from pydantic.dataclasses import dataclass as line

from dtctriage.errors import TriageError, text_of
from dtctriage.link import (
    Adapter,
    BusActivity,
    BusProtocol,
    Damaged,
    Finished,
    Link,
    LinkError,
    Notice,
    Opened,
    Outcome,
    Reply,
    Request,
)

FORMAT: Final = "dtctriage wire log"
VERSION: Final = 1

T = TypeVar("T")

_config = ConfigDict(ser_json_bytes="hex", val_json_bytes="hex", extra="forbid")


class WireLogError(TriageError):
    """A wire log that cannot be read, with file and line."""


@line(frozen=True, config=_config)
class Header:
    """The first line: which format, and who stood between the tool and the vehicle."""

    format: Literal["dtctriage wire log"]
    version: Literal[1]
    adapter: Adapter
    protocols: tuple[BusProtocol, ...]


@line(frozen=True, config=_config)
class OpenAsked:
    """`open_bus` was called."""

    protocol: BusProtocol | None
    kind: Literal["open asked"] = "open asked"


@line(frozen=True, config=_config)
class OpenCame:
    """What opening the bus brought."""

    opened: Opened
    kind: Literal["open came"] = "open came"


@line(frozen=True, config=_config)
class BatchSent:
    """`exchange` was called; the outcomes up to the next call are its own."""

    requests: tuple[Request, ...]
    kind: Literal["batch sent"] = "batch sent"


@line(frozen=True, config=_config)
class ReplyCame:
    reply: Reply
    kind: Literal["reply came"] = "reply came"


@line(frozen=True, config=_config)
class DamagedCame:
    damaged: Damaged
    kind: Literal["damaged came"] = "damaged came"


@line(frozen=True, config=_config)
class NoticeCame:
    notice: Notice
    kind: Literal["notice came"] = "notice came"


@line(frozen=True, config=_config)
class FinishedCame:
    finished: Finished
    kind: Literal["finished came"] = "finished came"


@line(frozen=True, config=_config)
class Heard:
    """What `listen` brought."""

    activity: BusActivity
    kind: Literal["heard"] = "heard"


@line(frozen=True, config=_config)
class SupplySeen:
    """What `supply_voltage` brought, in volts."""

    volts: float | None
    kind: Literal["supply seen"] = "supply seen"


@line(frozen=True, config=_config)
class Failed:
    """A call ended in a LinkError."""

    message: str
    advice: str
    kind: Literal["failed"] = "failed"


Entry = (
    OpenAsked
    | OpenCame
    | BatchSent
    | ReplyCame
    | DamagedCame
    | NoticeCame
    | FinishedCame
    | Heard
    | SupplySeen
    | Failed
)

_entries: TypeAdapter[Entry] = TypeAdapter(Annotated[Entry, Field(discriminator="kind")])
_headers: TypeAdapter[Header] = TypeAdapter(Header)


@dataclass(frozen=True, slots=True)
class WireLog:
    """A log read back. `cut` is True when its last line broke off in the middle."""

    header: Header
    entries: tuple[Entry, ...]
    cut: bool


class RecordingLink:
    """A link that writes what passes through it. The stream stays the caller's to close."""

    def __init__(self, link: Link, stream: TextIO) -> None:
        self._link = link
        self._stream = stream
        header = Header(FORMAT, VERSION, link.adapter, tuple(link.protocols))
        self._write(_headers.dump_python(header, mode="json"))

    @property
    def adapter(self) -> Adapter:
        return self._link.adapter

    @property
    def protocols(self) -> Sequence[BusProtocol]:
        return self._link.protocols

    def open_bus(self, protocol: BusProtocol | None = None) -> Opened:
        self._log(OpenAsked(protocol))
        with self._failures():
            opened = self._link.open_bus(protocol)
        self._log(OpenCame(opened))
        return opened

    def exchange(self, requests: Sequence[Request]) -> Iterator[Outcome]:
        """Yield the link's outcomes, each after its line is written."""
        self._log(BatchSent(tuple(requests)))
        with self._failures():
            for outcome in self._link.exchange(requests):
                self._log(_outcome_line(outcome))
                yield outcome

    def listen(self, seconds: float) -> BusActivity:
        with self._failures():
            activity = self._link.listen(seconds)
        self._log(Heard(activity))
        return activity

    def supply_voltage(self) -> float | None:
        with self._failures():
            volts = self._link.supply_voltage()
        self._log(SupplySeen(volts))
        return volts

    def close(self) -> None:
        self._link.close()

    @contextmanager
    def _failures(self) -> Iterator[None]:
        try:
            yield
        except LinkError as error:
            self._log(Failed(error.message, error.advice))
            raise

    def _log(self, entry: Entry) -> None:
        self._write(_entries.dump_python(entry, mode="json"))

    def _write(self, document: dict[str, Any]) -> None:
        self._stream.write(json.dumps(document) + "\n")
        self._stream.flush()


def _outcome_line(outcome: Outcome) -> Entry:
    match outcome:
        case Reply():
            return ReplyCame(outcome)
        case Damaged():
            return DamagedCame(outcome)
        case Notice():
            return NoticeCame(outcome)
        case Finished():
            return FinishedCame(outcome)


def is_wire_log(path: Path) -> bool:
    """True when the file's first line says so. Raises OSError."""
    with path.open("rb") as stream:
        head = stream.readline(4096)
    return head.lstrip().startswith(b"{") and FORMAT.encode() in head


def read(path: Path) -> WireLog:
    """Read a log back. A last line that broke off is left out. Raises WireLogError."""
    lines = text_of(path, WireLogError).split("\n")
    cut = bool(lines[-1]) and not _is_json(lines[-1])
    if cut:
        lines.pop()
    if not lines or not lines[0]:
        raise WireLogError(f"{path}, line 1: no header", "This is not a wire log of dtctriage")
    header = _parse(_headers, lines[0], path, 1)
    entries = [_parse(_entries, item, path, number) for number, item in enumerate(lines[1:], start=2) if item]
    return WireLog(header, tuple(entries), cut)


def _is_json(text: str) -> bool:
    try:
        json.loads(text)
    except ValueError:
        return False
    return True


def _parse(kind: TypeAdapter[T], text: str, path: Path, number: int) -> T:
    try:
        return kind.validate_json(text)
    except ValidationError as error:
        first = error.errors(include_url=False, include_context=False, include_input=False)[0]
        place = ".".join(str(part) for part in first["loc"])
        what = f"{place}: {first['msg']}" if place else first["msg"]
        raise WireLogError(
            f"{path}, line {number}: {what}", "The log is damaged there or of another version"
        ) from error
