"""Options that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

RecordsUrl = Annotated[
    str | None,
    typer.Option(
        "--records",
        envvar="DTCTRIAGE_DATABASE",
        help="Where the records are: a file or a database URL. Default: the user's data folder.",
        show_default=False,
    ),
]
ProfileFile = Annotated[
    Path | None,
    typer.Option("--profile", help="The vehicle's .vehicle.toml file.", show_default=False),
]
Folder = Annotated[
    Path | None,
    typer.Option(
        "--out", help="Also write the sheet as HTML, PDF and JSON into this folder.", show_default=False
    ),
]
Meanings = Annotated[
    Path | None,
    typer.Option(
        "--meanings",
        envvar="DTCTRIAGE_MEANINGS",
        help="Folder with the shop's own meanings, one CSV for each make.",
        metavar="FOLDER",
        show_default=False,
    ),
]
Make = Annotated[
    str | None,
    typer.Option(
        "--make",
        help="Which make's own meanings to use; else that of order or profile.",
        metavar="NAME",
        show_default=False,
    ),
]
PriorsFile = Annotated[
    Path | None,
    typer.Option(
        "--priors",
        envvar="DTCTRIAGE_PRIORS",
        help="CSV with the shop's own weights of faults, where they differ from the table's.",
        metavar="FILE",
        show_default=False,
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print the sheet as JSON.")]
OrderNumber = Annotated[str, typer.Argument(help="The repair order's number.", show_default=False)]
By = Annotated[
    str | None,
    typer.Option(help="Who does this. Default: the order's technician.", metavar="NAME", show_default=False),
]
