"""What a running sweep shows: plain lines, or one status line on a terminal."""

from __future__ import annotations

import sys
from typing import TextIO

from dtctriage.cli.terminal import Display
from dtctriage.link import id_text
from dtctriage.sweep.events import (
    AnswerDamaged,
    Answered,
    Ask,
    BusOpened,
    Event,
    NoticeGiven,
    Refused,
    Silent,
    StageBegun,
    SupplyRead,
    SweepBroken,
    SweepFinished,
)


class Progress:
    """Consumes events and writes to stderr, so that stdout holds the sheet alone."""

    def __init__(self, stream: TextIO | None = None) -> None:
        self._display = Display(stream or sys.stderr)
        self._stage = ""
        self._questions = 0
        self._done = 0
        self._heard: set[int] = set()
        self._told: set[str] = set()
        self._width = 0
        self.anything_read = False
        """The vehicle was asked, or its supply seen."""

    def show(self, event: Event) -> None:
        """Show one event. What is shown here was kept before."""
        self.anything_read |= _tells(event)
        match event:
            case StageBegun(stage=stage, questions=questions):
                self._begin(stage, questions)
            case SupplyRead(volts=volts) if volts is not None:
                self._line(f"supply at the connector: {volts:.1f} V")
            case BusOpened(protocol=protocol, assumed=assumed):
                name = protocol.title if protocol else "no protocol found"
                self._line(f"protocol: {name}{' (assumed)' if assumed else ''}")
            case NoticeGiven(text=text, advice=advice):
                self._notice(f"adapter: {text}. {advice}")
            case SweepBroken(message=message, advice=advice):
                self._line(f"broken off: {message}. {advice}")
            case SweepFinished():
                self._line(f"{_counted(len(self._heard), 'module')} answered")
            case Answered(source=source, payload=payload):
                self._answer(event.ask, source, payload.hex(" ").upper())
            case Refused(source=source, code=code):
                self._answer(event.ask, source, f"refused, reason {code:02X}")
            case AnswerDamaged(source=source, problem=problem):
                self._answer(event.ask, source, f"damaged: {problem}")
            case Silent():
                self._step("")

    def close(self) -> None:
        """Leave the terminal with a clean line."""
        if self._display.live:
            self._clear()

    def _begin(self, stage: str, questions: int) -> None:
        """A stage that goes on counts on: what it asks next may depend on the answers."""
        more = "more " if stage == self._stage and self._questions else ""
        if stage == self._stage:
            self._questions += questions
        else:
            self._stage, self._questions, self._done = stage, questions, 0
        if questions and not self._display.live:
            self._line(f"{stage}: {_counted(questions, f'{more}question')}")

    def _notice(self, line: str) -> None:
        """A dead bus gives the same notice to every question: once is enough, the sheet counts them."""
        if line not in self._told:
            self._told.add(line)
            self._line(line)

    def _answer(self, ask: Ask, source: int | None, text: str) -> None:
        who = id_text(ask.target.framing, source) if source is not None else "?"
        if source is not None:
            self._heard.add(source)
        if self._display.live:
            self._step(f"{who} answers")
        else:
            self._done += 1
            self._line(f"  {who} to {ask.payload.hex(' ').upper()}: {text}")

    def _step(self, text: str) -> None:
        self._done += 1
        if not self._display.live:
            return
        share = f"{self._done} of {self._questions}" if self._questions else str(self._done)
        line = f"{self._stage}: {share}, {_counted(len(self._heard), 'module')}  {text}"
        # A line that fills the last column would wrap.
        line = line[: self._display.size.columns - 1]
        self._display.write("\r" + line.ljust(self._width))
        self._width = len(line)

    def _line(self, text: str) -> None:
        if self._display.live:
            self._clear()
        self._display.write(text + "\n")

    def _clear(self) -> None:
        self._display.write("\r" + " " * self._width + "\r")
        self._width = 0


def _counted(number: int, name: str) -> str:
    return f"{number} {name}" if number == 1 else f"{number} {name}s"


def _tells(event: Event) -> bool:
    if isinstance(event, SupplyRead):
        return event.volts is not None
    return isinstance(event, Answered | Refused | AnswerDamaged | Silent)
