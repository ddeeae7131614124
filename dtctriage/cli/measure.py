"""`dtctriage measure`: answer the proposed check, or tell a reading of one's own."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.core import TyperCommand

from dtctriage.cli.choices import By, OrderNumber, OtherCheck, PriorsFile, RecordsUrl
from dtctriage.cli.moment import now

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from dtctriage.work.belief import Move
    from dtctriage.work.case import Case, Reasoning
    from dtctriage.work.take import Typed

_BELOW_ZERO = re.compile(r"-[0-9.,]")
_MINUS = "\u2212"
measure = typer.Typer(add_completion=False, rich_markup_mode=None)


class _Readings(TyperCommand):
    """Takes -0.2V for a reading, not for an option: a minus sign of its own stands for the hyphen."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        plain = [f"{_MINUS}{arg[1:]}" if _BELOW_ZERO.match(arg) else arg for arg in args]
        return super().parse_args(ctx, plain)


@measure.command("measure", cls=_Readings)
def take(
    order: OrderNumber,
    reading: Annotated[
        list[str] | None,
        typer.Argument(
            help="12.4 V, 0.9mV, 4k7, OL, lit, dark, click, corroded ... in the check's order; - for none.",
            show_default=False,
        ),
    ] = None,
    at: Annotated[
        list[str] | None,
        typer.Option(
            help='Where, for a reading of one\'s own: "X7:5 to battery +, key off". Once for each.',
            metavar="PLACE",
            show_default=False,
        ),
    ] = None,
    check: OtherCheck = None,
    keep: Annotated[bool, typer.Option("--keep", help="Keep a reading that cannot be, marked.")] = False,
    by: By = None,
    priors: PriorsFile = None,
    records: RecordsUrl = None,
) -> None:
    """Keep readings and say how they move the suspicion."""
    from dtctriage.errors import TriageError
    from dtctriage.records import Records
    from dtctriage.work.case import NOTHING_TO_WEIGH
    from dtctriage.work.log import keep as keep_in_log
    from dtctriage.work.opening import OwnTables, open_order
    from dtctriage.work.take import measurements, refuse_odd, unweighed

    words, places = [word.replace(_MINUS, "-") for word in reading or []], at or []
    if places and check is not None:
        raise TriageError("--at and --check contradict each other", "Leave one of them out")
    with Records.open(records, make=False) as kept:
        opened = open_order(kept, order, own=OwnTables(priors=priors))
        case, number = opened.case, opened.order.number
        if case.reasoning is None:
            entries = unweighed(words, places, case.nominal_volts, keep)
            lines = [f"Kept   {item.quantity} {item.place}: {item.reading}" for item in entries]
            lines.append(f"Nothing is weighed: {NOTHING_TO_WEIGH}.")
        else:
            taken = _typed(case, case.reasoning, words, places, check)
            refuse_odd(taken, keep)
            entries = measurements(taken, case.reasoning.spoken)
            lines = [*_kept(case.reasoning, taken), *_moves(case, case.reasoning, taken)]
            lines += ["", f"Next: dtctriage next {number}"]
        # Kept before it is shown.
        keep_in_log(kept, number, entries, who=by or opened.order.technician or "", at=now())
    typer.echo("\n".join(lines))


def _typed(
    case: Case, reasoning: Reasoning, words: Sequence[str], places: Sequence[str], check: str | None
) -> list[Typed]:
    from dtctriage.work.proposal import proposed
    from dtctriage.work.take import typed_at, typed_for_check

    if places:
        return typed_at(words, places, reasoning.spoken, case.nominal_volts)
    return typed_for_check(
        words, proposed(case.judged(), check, to_read=True), reasoning.spoken, case.nominal_volts
    )


def _kept(reasoning: Reasoning, taken: Sequence[Typed]) -> Iterator[str]:
    """What is kept, and what is odd in it."""
    from dtctriage.cli.proposal_text import WIDTH
    from dtctriage.sheet.columns import hanging
    from dtctriage.work.take import contradicted

    for item in taken:
        probe = reasoning.spoken.words(item.observation.probe)
        yield from hanging("Kept", f"{probe}: {item.words}", WIDTH, 7)
        if item.doubt:
            yield from hanging("  !", f"{item.doubt}. It has no weight", WIDTH, 7)
    for odd in contradicted(reasoning, taken):
        yield from hanging("  !", odd, WIDTH, 7)


def _moves(case: Case, reasoning: Reasoning, taken: Sequence[Typed]) -> Iterator[str]:
    """How belief moves, with the arithmetic, and what no suspect explains."""
    from dtctriage.cli.proposal_text import WIDTH
    from dtctriage.sheet.columns import hanging, wrap
    from dtctriage.work.belief import moved
    from dtctriage.work.take import unexplained

    new = [item.observation for item in taken if not item.doubt]
    if not new:
        return
    probes = {item.probe for item in new}
    before = reasoning.observations
    after = (*(item for item in before if item.probe not in probes), *new)
    found = list(moved(reasoning, case.judged(), before, after))
    if not found:
        yield "They move no suspicion."
        return
    for number, problem, moves in found:
        yield ""
        yield from wrap(f"Problem {number}: {problem.title}", WIDTH)
        for move in moves:
            yield from hanging("  ", _arithmetic(move), WIDTH, 3)
        for odd in unexplained(reasoning, problem, after, new):
            yield from hanging("  !", f"Not explained: {odd}", WIDTH, 7)
    yield "   (x: the readings' chance with it, beside that over all suspects together)"


def _arithmetic(move: Move) -> str:
    from dtctriage.sheet.words import percent

    if not move.before:
        return f"{move.suspect}: not suspected before, now {percent(move.after)}"
    return f"{move.suspect}: {percent(move.before)} -> {percent(move.after)} (x {move.factor:.3g})"
