"""Opening a recording: which kind it is, and a session out of it."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from dtctriage.link import (
    BusActivity,
    BusProtocol,
    Framing,
    LinkUnavailable,
    LinkUrlError,
    Notice,
    NoticeKind,
    Opened,
    id_text,
)
from dtctriage.wirelog import is_wire_log, read
from dtctriage_adapters.replay.capture import Capture, read_capture
from dtctriage_adapters.replay.from_log import session_of
from dtctriage_adapters.replay.recover import Recovered, recover
from dtctriage_adapters.replay.session import ReplayLink, Session

_ASSUMED = {Framing.CAN11: BusProtocol.CAN11_500, Framing.CAN29: BusProtocol.CAN29_500}
"""A capture does not tell its bit rate. 500 kbit/s is what most vehicles use at the diagnostic connector
(common practice, no source)."""


def open_recording(rest: str) -> ReplayLink:
    """Open the file. Raises LinkUrlError, LinkUnavailable, LinkDriverMissing or WireLogError."""
    if not rest:
        raise LinkUrlError("replay: names no file", "Write replay:PATH")
    path = Path(rest)
    try:
        own = is_wire_log(path)
    except OSError as error:
        raise LinkUnavailable(
            f"{path} cannot be read ({error.strerror})", "Check its name and permissions"
        ) from error
    session = session_of(read(path)) if own else capture_session(path)
    return ReplayLink(session, f"replay:{rest}")


def capture_session(path: Path) -> Session:
    """A session from a raw capture."""
    capture = read_capture(path)
    recovered = recover(capture.traces)
    framings = Counter(asked.request.target.framing for asked in recovered.asked)
    protocols = tuple(_ASSUMED[framing] for framing, _ in framings.most_common())
    notices = (*_of_reading(path, capture), *_of_pairing(recovered), *_of_nothing(path, capture, recovered))
    return Session(
        name=f"bus capture {path.name}, its bit rate is not recorded",
        protocols=protocols,
        opened=(Opened(protocols[0] if protocols else None, searched=False, notices=notices),),
        asked=recovered.asked,
        activities=(_activity(capture, recovered),),
        breaks_off=f"{path.name}: {capture.problem}" if capture.problem else "",
    )


def _activity(capture: Capture, recovered: Recovered) -> BusActivity:
    """Traffic beside the diagnostic one. A logger may have left it out, so its absence proves nothing."""
    others = {source: trace for source, trace in capture.traces.items() if source not in recovered.used}
    frames: dict[int, int] = {}
    for (_, number), trace in others.items():
        frames[number] = frames.get(number, 0) + trace.count
    return BusActivity(capture.seconds, frames, capture.errors, heard=bool(frames or capture.errors))


def _of_reading(path: Path, capture: Capture) -> list[Notice]:
    if not capture.problem:
        return []
    text = f"{path.name}: {capture.problem}"
    return [Notice(NoticeKind.INTERRUPTED, text, "What came before it is used")]


def _of_pairing(recovered: Recovered) -> list[Notice]:
    notices = [
        Notice(
            NoticeKind.DATA_ERROR,
            f"{id_text(*source)} answers, but the capture does not tell which request id it was asked on",
            "Its answers are left out; a longer capture tells more",
        )
        for source in recovered.undecided
    ]
    notices += [
        Notice(
            NoticeKind.DATA_ERROR,
            f"{count} messages of {id_text(*source)} answer no question in the capture",
            "They are left out; the capture may begin too late or have lost frames",
        )
        for source, count in sorted(recovered.orphans.items(), key=lambda item: item[0][1])
    ]
    return notices


def _of_nothing(path: Path, capture: Capture, recovered: Recovered) -> list[Notice]:
    if recovered.asked:
        return []
    seen = f"{capture.frames} frames on {len(capture.traces)} identifiers"
    text = f"{path.name} holds no diagnostic question: {seen}"
    return [Notice(NoticeKind.NO_PROTOCOL, text, "Capture at the diagnostic connector while a tester reads")]
