"""`dtctriage clear`: erase the codes of a vehicle that was read, and say which module refused."""

from __future__ import annotations

import sys
from contextlib import closing
from typing import TYPE_CHECKING, Annotated

import typer

from dtctriage.cli.choices import By, Link, OrderNumber, RecordsUrl, WireLog
from dtctriage.cli.moment import now, wire_log_path

if TYPE_CHECKING:
    from dtctriage.clearing import Ready
    from dtctriage.guard import GuardedLink
    from dtctriage.records import ClearingAnswer, Records

LOST = (
    "the lamp, the count of codes, pending and stored codes",
    "freeze frames and snapshots (they stay in the records of this order)",
    "readiness: all monitors must run again, and an inspection fails until they have",
    "results of monitor tests, distance and warm-ups since clear",
    "the history of intermittent faults: how often, when last",
    "in some modules learned values: idle, mixture, shifting may be rough for a while",
)
"""What goes with the codes (SAE J1979 service 04, from memory and service literature)."""


def clear(
    order: OrderNumber,
    link: Link,
    by: By = None,
    typed: Annotated[
        str | None,
        typer.Option(help="The order's number again, in place of the question for it.", show_default=False),
    ] = None,
    engine_off: Annotated[
        bool, typer.Option("--engine-off", help="The engine is off, where no module tells its speed.")
    ] = False,
    volts: Annotated[
        float | None,
        typer.Option(help="The battery as measured, in volts.", min=0, max=60, show_default=False),
    ] = None,
    every: Annotated[bool, typer.Option("--every-module", help="Also those that hold no code now.")] = False,
    records: RecordsUrl = None,
    wire_log: WireLog = None,
) -> None:
    """Clear the codes of a vehicle that was read.

    It refuses until a complete intake of this vehicle is kept, and reads the vehicle once more before it
    asks for the order's number. Modules without a code are left alone. Exit code 4: a module did not clear.
    """
    from dtctriage.clearing import Declared, prepare
    from dtctriage.cli.ends import ended_with
    from dtctriage.cli.progress import Progress
    from dtctriage.guard import GuardedLink
    from dtctriage.intake import WireLogFile
    from dtctriage.links import open_link
    from dtctriage.records import Records
    from dtctriage.wirelog import RecordingLink

    with Records.open(records, make=False) as kept:
        number, who = kept.order(order).number, _who(kept, order, by)
        with closing(open_link(link)) as way, WireLogFile(wire_log or wire_log_path(number)) as stream:
            guarded = GuardedLink(RecordingLink(way, stream))
            with ended_with("Nothing was cleared"):
                with closing(Progress()) as progress:
                    declared = Declared(engine_off, volts)
                    ready = prepare(kept, guarded, number, declared, progress.show, every=every)
                _warn(ready)
                again = typed if typed is not None else _asked(number)
            answers = _cleared(kept, guarded, ready, again, who)
    with ended_with(_kept(ready)):
        _conclude(ready, answers)


def _who(records: Records, order: str, by: str | None) -> str:
    from dtctriage.errors import TriageError

    who = (by or records.order(order).technician or "").strip()
    if not who:
        raise TriageError("Nobody is named who clears", "Say who: --by NAME")
    return who


def _asked(number: str) -> str:
    """What is typed when the order's number is asked for; "" at the end of the input."""
    typer.echo(f"Type {number} to clear: ", nl=False, err=True)
    stdin = typer.get_text_stream("stdin")
    try:
        return "" if stdin is None else stdin.readline().strip()
    except KeyboardInterrupt:
        typer.echo(err=True)  # what is said then begins a line of its own
        raise


def _warn(ready: Ready) -> None:
    codes = f"{ready.codes} code" if ready.codes == 1 else f"{ready.codes} codes"
    lines = [
        f"Order {ready.order}: {codes} would be erased by {len(ready.ways)} requests.",
        f"Engine {ready.state.engine}; supply {ready.state.supply}; read in intake {ready.intake}.",
        "Lost with the codes:",
        *(f"  - {text}" for text in LOST),
    ]
    if ready.failing:
        lines.insert(
            1,
            f"FAILING NOW, and not repaired: {', '.join(ready.failing)}. Cleared now they come back, and "
            "what was stored with them is gone.",
        )
    if ready.permanent:
        lines.append(f"These stay, for they are permanent: {', '.join(ready.permanent)}.")
    lines.append("Nothing may move and nobody may work on the vehicle: modules may start over.")
    typer.echo("\n".join(lines), err=True)


def _cleared(records: Records, link: GuardedLink, ready: Ready, typed: str, who: str) -> list[ClearingAnswer]:
    """Clear, and show each answer. Where that is broken off, first tell of whom there is none."""
    from dtctriage.clearing import ClearingRefused, clear_codes
    from dtctriage.cli.ends import Stopped
    from dtctriage.cli.terminal import Display
    from dtctriage.errors import TriageError

    # What cannot be shown leaves no module half-way: it is kept.
    display, answers = Display(sys.stdout), []
    try:
        for answer in clear_codes(records, link, ready, typed=typed, who=who, now=now):
            display.write(f"{_line(answer)}\n")
            answers.append(answer)
    except KeyboardInterrupt:
        _broken_off(ready, answers)
        raise Stopped("Stopped", _kept(ready)) from None
    except ClearingRefused:  # nothing was sent
        raise
    except TriageError:  # the link, the wire log or the records failed
        _broken_off(ready, answers)
        raise
    return answers


def _broken_off(ready: Ready, answers: list[ClearingAnswer]) -> None:
    from dtctriage.clearing import unanswered

    for told, left in zip(
        ("No answer, may have cleared", "Not asked"), unanswered(ready, answers), strict=True
    ):
        if left:
            asked = (f"{module} {request.hex(' ').upper()}" for module, request in left)
            typer.echo(f"{told}: {', '.join(asked)}")


def _kept(ready: Ready) -> str:
    return f"What was cleared is kept; see what comes back: dtctriage recheck {ready.order} LINK"


def _line(answer: ClearingAnswer) -> str:
    detail = f": {answer.detail}" if answer.detail else ""
    return f"{answer.module:<10} {answer.request.hex(' ').upper():<12} {answer.outcome.value}{detail}"


def _conclude(ready: Ready, answers: list[ClearingAnswer]) -> None:
    from dtctriage.cli.paper import EXIT_PARTIAL
    from dtctriage.records import Cleared

    done = sum(answer.outcome is Cleared.CLEARED for answer in answers)
    typer.echo(f"{done} of {len(answers)} cleared. It is kept with order {ready.order}.")
    if ready.permanent:
        typer.echo(
            f"Permanent, and erased by no tool: {', '.join(ready.permanent)}. Each leaves by itself once its "
            "monitor has run and passed (13 CCR 1968.2 (d)(2.5)); the recheck's second page says how."
        )
    typer.echo(f"See what comes back: dtctriage recheck {ready.order} LINK")
    if done < len(answers):
        raise typer.Exit(EXIT_PARTIAL)
