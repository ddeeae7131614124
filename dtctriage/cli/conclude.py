"""`dtctriage conclude`: enter the cause that was found, held against the evidence."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from dtctriage.cli.choices import By, OrderNumber, PriorsFile, RecordsUrl
from dtctriage.cli.moment import now

if TYPE_CHECKING:
    from collections.abc import Iterator

    from dtctriage.work.conclude import Verdict


def conclude(
    order: OrderNumber,
    text: Annotated[list[str], typer.Argument(help="The cause that was found.", show_default=False)],
    suspect: Annotated[
        str | None,
        typer.Option(
            help="The suspect that it names: a letter of the sheet's list (a, 2b) or a place (F7).",
            metavar="NAME",
            show_default=False,
        ),
    ] = None,
    anyway: Annotated[
        bool, typer.Option("--anyway", help="Keep it although evidence speaks against it.")
    ] = False,
    by: By = None,
    priors: PriorsFile = None,
    records: RecordsUrl = None,
) -> None:
    """Enter the cause that was found.

    Evidence that speaks against the suspect it names is told first.
    """
    from dtctriage.errors import TriageError
    from dtctriage.records import Conclusion, Records
    from dtctriage.work.case import NOTHING_TO_WEIGH
    from dtctriage.work.conclude import cause_text, kinds_of, named_suspect, verdict
    from dtctriage.work.opening import OwnTables, open_order

    words = " ".join(" ".join(text).split())
    if not words:
        raise TriageError("The conclusion is empty", "Type the cause that was found")
    with Records.open(records, make=False) as kept:
        opened = open_order(kept, order, own=OwnTables(priors=priors))
        case, number = opened.case, opened.order.number
        kinds: tuple[str, ...] = ()
        cause, found = None, None
        if suspect is not None:
            if case.reasoning is None:
                raise TriageError(f"No suspect is weighed: {NOTHING_TO_WEIGH}", "Leave --suspect out")
            assessment = case.judged()
            problem, faults = named_suspect(case.reasoning, assessment, suspect)
            found, cause = verdict(case.reasoning, problem, faults), cause_text(faults)
            kinds = kinds_of(case.reasoning, faults)
        if found is not None and found.against and not anyway:
            typer.echo("\n".join(_lines(found)))
            raise TriageError("Not kept: evidence speaks against it", "Measure again, or add --anyway")
        entry = Conclusion(words, cause, kinds=kinds)
        who = by or opened.order.technician or ""
        kept.log.add(number, entry, who=who, at=now())
    for line in _lines(found) if found else _unchecked():
        typer.echo(line)
    typer.echo(f"Conclusion kept for {number}.")


def _lines(found: Verdict) -> Iterator[str]:
    from dtctriage.cli.proposal_text import WIDTH
    from dtctriage.sheet.columns import hanging
    from dtctriage.sheet.words import chance

    share = "not suspected" if found.share is None else chance(found.share)
    yield from hanging("Suspect", f"{found.suspect}: {share}", WIDTH, 9)
    if found.first != found.suspect:
        yield from hanging("", f"suspected first is {found.first}", WIDTH, 9)
    for text in found.against:
        yield from hanging("Against", text, WIDTH, 9)
    if not found.against:
        yield "No evidence speaks against it."


def _unchecked() -> Iterator[str]:
    yield "It names no suspect: nothing was held against the evidence (--suspect a)."
