"""`dtctriage sheet`: print the triage sheet of an order again, from the records."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dtctriage.cli.choices import EarlierSweep, Make, Meanings, PriorsFile, RecordsUrl


def sheet(
    order: Annotated[
        str | None, typer.Argument(help="The repair order's number.", show_default=False)
    ] = None,
    form: Annotated[str, typer.Option(help="text, html, pdf or json.")] = "text",
    to: Annotated[Path | None, typer.Option(help="Write into this file.", show_default=False)] = None,
    sweep: EarlierSweep = None,
    readings: Annotated[
        bool, typer.Option("--readings", help="Append all data of the modules; JSON always holds them.")
    ] = False,
    schema: Annotated[
        bool, typer.Option("--schema", help="Print the JSON sheet's schema and leave.")
    ] = False,
    meanings: Meanings = None,
    make: Make = None,
    priors: PriorsFile = None,
    explain: Annotated[
        bool,
        typer.Option(
            "--explain", help="Then follow each figure to its source, and say why rules were silent."
        ),
    ] = False,
    records: RecordsUrl = None,
) -> None:
    """Print the sheet of an order's last sweep, or of an earlier one."""
    from dtctriage.cli.paper import EXIT_PARTIAL, show, show_explanation
    from dtctriage.cli.proposal_text import explanation_lines
    from dtctriage.desk import FORMS, set_sheet, write_form
    from dtctriage.errors import TriageError
    from dtctriage.records import Records
    from dtctriage.sheet import schema_text
    from dtctriage.work.opening import OwnTables, open_order

    if schema:
        typer.echo(schema_text())
        return
    if order is None:
        raise TriageError("No order was named", "Give its number; dtctriage orders lists them")
    if form not in FORMS:
        raise TriageError(f'"{form}" is no form of the sheet', f"Choose one of {', '.join(FORMS)}")
    with Records.open(records, make=False) as kept:
        opened = open_order(kept, order, sweep, OwnTables(meanings, make, priors))
        made = set_sheet(kept, opened)
    if to is None:
        show(made, form, readings=readings)
    else:
        write_form(made, form, to, readings=readings)
        typer.echo(f"Sheet of {order}: {to}")
    if explain:
        for line in explanation_lines(opened.case):
            typer.echo(line)
        show_explanation(made)
    if made.visit.partial:
        raise typer.Exit(EXIT_PARTIAL)
