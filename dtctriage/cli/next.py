"""`dtctriage next`: the check to do next on an order."""

from __future__ import annotations

from typing import Annotated

import typer

from dtctriage.cli.choices import OrderNumber, OtherCheck, PriorsFile, RecordsUrl


def next(  # noqa: A001 - the command's name
    order: OrderNumber,
    check: OtherCheck = None,
    ahead: Annotated[
        int, typer.Option(help="2: also what would follow from each outcome.", min=1, max=2)
    ] = 1,
    explain: Annotated[
        bool, typer.Option("--explain", help="Follow each figure to a formula and a source.")
    ] = False,
    priors: PriorsFile = None,
    records: RecordsUrl = None,
) -> None:
    """Say what to check next, and what each outcome means."""
    from dtctriage.cli.proposal_text import follow_lines, list_lines, part_lines, proposal_lines
    from dtctriage.records import Records
    from dtctriage.work.circuits import lacking
    from dtctriage.work.explain import explained_check, explained_shares
    from dtctriage.work.opening import OwnTables, open_order
    from dtctriage.work.proposal import follow_ups, proposed

    with Records.open(records, make=False) as kept:
        opened = open_order(kept, order, own=OwnTables(priors=priors))
    case, assessment = opened.case, opened.case.judged()
    if check is None and not any(problem.checks for problem in assessment.problems):
        typer.echo("\n".join(list_lines(opened.order.number, assessment)))
        for item in lacking(opened.grounds):
            typer.echo(f"Not in the profile: {item.title}. With its diagram at hand:")
            typer.echo(f"  dtctriage circuit add {opened.order.number} {(item.codes or (item.name,))[0]}")
        return
    proposal = proposed(assessment, check)
    spoken = case.reasoning.spoken if case.reasoning else None
    lines = list(proposal_lines(opened.order.number, proposal, spoken))
    if ahead > 1:
        lines += ["", "AFTER IT"]
        lines += [line for follow in follow_ups(case, proposal) for line in follow_lines(follow)]
    if explain:
        shares = explained_shares(case.reasoning, proposal.problem_number, proposal.problem)
        parts = [*shares, explained_check(case.reasoning, proposal.name, proposal.check)]
        lines += [line for part in parts for line in part_lines(part)]
    typer.echo("\n".join(lines))
