"""`dtctriage watch`: read again and again while somebody moves a harness, and say what flips when."""

from __future__ import annotations

import re
import shutil
import time
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dtctriage.cli.choices import By, Link, OrderNumber, RecordsUrl
from dtctriage.cli.moment import now, watch_log_path

if TYPE_CHECKING:
    from dtctriage.cli.live_screen import LiveScreen
    from dtctriage.guard import GuardedLink
    from dtctriage.link import BusProtocol, LinkError
    from dtctriage.records import Records
    from dtctriage.watch import Board, Choice, Wanted
    from dtctriage.watch.log import WatchLog

MOST_NOTED = 5
"""How many flips are noted with the order in words; all are in the log."""


def watch(
    order: OrderNumber,
    link: Link,
    every: Annotated[float, typer.Option(help="Seconds from round to round.", min=0.05, max=60)] = 0.5,
    seconds: Annotated[
        float | None, typer.Option(help="End after so long; else Ctrl-C ends it.", min=0, show_default=False)
    ] = None,
    everything: Annotated[
        bool, typer.Option("--all", help="All current data, not only the codes' own.")
    ] = False,
    pid: Annotated[
        list[str] | None,
        typer.Option(
            help="This PID alone, as 0C or ECM:0C; may be repeated.", metavar="PID", show_default=False
        ),
    ] = None,
    to: Annotated[
        Path | None,
        typer.Option(help="The log. Default: a CSV file in the user's data folder.", show_default=False),
    ] = None,
    by: By = None,
    records: RecordsUrl = None,
) -> None:
    """Watch readings while a harness is moved.

    It repeats what belongs to the codes of the order's last intake: who answers, what the codes say,
    commanded against actual, the readings concerned. What flips is told with its time.
    """
    from dtctriage.cli.live_screen import LiveScreen
    from dtctriage.guard import GuardedLink
    from dtctriage.links import open_link
    from dtctriage.records import Records
    from dtctriage.watch import Board
    from dtctriage.watch.log import WatchLog

    wanted = _wanted(everything, pid or [])
    with Records.open(records, make=False) as kept:
        known = kept.order(order)
        choices, protocol = _choices(kept, known.number, wanted)
        board, place = Board(), to or watch_log_path(known.number)
        with closing(open_link(link)) as way, WatchLog(place, now()) as log:
            guarded = GuardedLink(way)
            guarded.open_bus(protocol)
            title = f"Watching {known.number} every {every:g} s, Ctrl-C ends"
            lost = _watched(guarded, choices, board, every, seconds, log, LiveScreen(title))
        _conclude(kept, known.number, board, place, by or known.technician or "not named")
    if lost is not None:
        raise lost


def _choices(records: Records, order: str, wanted: Wanted) -> tuple[tuple[Choice, ...], BusProtocol | None]:
    """What to watch, by the order's last intake."""
    from dtctriage.errors import TriageError
    from dtctriage.watch import choose
    from dtctriage.work.opening import fold, profile_of, sweep_of

    sweep = sweep_of(records, order)
    profile = profile_of(sweep)
    chosen = choose(fold(records.sweep_events(sweep.id), profile), profile, wanted)
    if not chosen:
        raise TriageError(f"Nobody answered in the last intake of {order}", "Take the intake again")
    return chosen, sweep.protocol


def _watched(
    link: GuardedLink,
    choices: Sequence[Choice],
    board: Board,
    every: float,
    seconds: float | None,
    log: WatchLog,
    screen: LiveScreen,
) -> LinkError | None:
    """Watch until the end; returns the error where the link ended it, so that the summary still comes."""
    from dtctriage.link import LinkError
    from dtctriage.watch import watch as rounds

    with closing(screen):
        try:
            for taken in rounds(
                link, choices, board, every=every, seconds=seconds, clock=time.monotonic, wait=_wait
            ):
                log.keep(taken)
                screen.show(board, taken)
        except KeyboardInterrupt:
            return None
        except LinkError as error:
            return error
    return None


def _wait(seconds: float) -> None:
    time.sleep(max(0.0, seconds))


def _conclude(records: Records, order: str, board: Board, place: Path, who: str) -> None:
    """Print the summary, and note with the order what flipped."""
    from dtctriage.records import Note
    from dtctriage.watch.layout import clock_text, flip_text, summary

    typer.echo("\n".join(summary(board, shutil.get_terminal_size().columns)))
    typer.echo(f"Log: {place}")
    told = [flip_text(flip) for flip in board.flips[:MOST_NOTED]]
    more = len(board.flips) - len(told)
    text = "; ".join(told) + (f"; and {more} more" if more else "") if told else "nothing flipped"
    note = Note(f"Watched {clock_text(board.seconds)}: {text} (log {place})")
    records.log.add(order, note, who=who, at=now())


def _wanted(everything: bool, typed: list[str]) -> Wanted:
    """`0C` is PID 0C of every module, `ECM:0C` of one."""
    from dtctriage.errors import TriageError
    from dtctriage.watch import Wanted

    if everything and typed:
        raise TriageError("--all and --pid contradict each other", "Leave one of them out")
    pids = []
    for text in typed:
        label, _, number = text.rpartition(":")
        if not re.fullmatch("[0-9A-Fa-f]{2}", number):
            raise TriageError(f'"{text}" is no PID', "Write its two hexadecimal digits: 0C, or ECM:0C")
        pids.append((label, int(number, 16)))
    return Wanted(everything, tuple(pids))
