"""Options and arguments of the commands: each is described once, whoever takes it."""

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
WAY_IN = "The way in, such as serial:COM3 or can:socketcan/can0."
Link = Annotated[str, typer.Argument(help=WAY_IN, show_default=False)]
OtherCheck = Annotated[
    str | None, typer.Option("--check", help="Another check of the sheet, such as 1.2.", show_default=False)
]
By = Annotated[
    str | None,
    typer.Option(help="Who does this. Default: the order's technician.", metavar="NAME", show_default=False),
]
WireLog = Annotated[
    Path | None,
    typer.Option(help="Where the wire log goes. Default: the user's data folder.", show_default=False),
]
MOST_ID = 2**31 - 1
"""The largest id that a database gives to a sweep (INTEGER of PostgreSQL)."""
EarlierSweep = Annotated[
    int | None,
    typer.Option(
        help="An earlier sweep by its id (dtctriage orders ORDER).",
        min=1,
        max=MOST_ID,
        metavar="ID",
        show_default=False,
    ),
]

# What intake alone is told.
LinkOption = Annotated[str, typer.Option(help=WAY_IN, show_default=False)]
NewOrder = Annotated[
    str | None, typer.Option(help="The repair order's number; without it a new one.", show_default=False)
]
Vin = Annotated[str | None, typer.Option(help="VIN from the plate or papers.", show_default=False)]
VehicleMake = Annotated[
    str | None,
    typer.Option(
        "--make",
        help="The vehicle's make; it also picks the shop's own meanings. Default: the profile's.",
        metavar="NAME",
        show_default=False,
    ),
]
VehicleModel = Annotated[
    str | None,
    typer.Option("--model", help="Its model. Default: the profile's.", metavar="NAME", show_default=False),
]
Complaint = Annotated[str | None, typer.Option(help="What the customer says.", show_default=False)]
TakenBy = Annotated[
    str | None,
    typer.Option("--by", help="Who takes it in: the order's technician.", metavar="NAME", show_default=False),
]
Shop = Annotated[
    str | None,
    typer.Option(help="The shop's name on the sheet.", envvar="DTCTRIAGE_SHOP", show_default=False),
]
Distance = Annotated[
    str | None, typer.Option("--odometer", help="Such as 38812km or 24100mi.", show_default=False)
]
Rounds = Annotated[int, typer.Option(help="How often the roll is called.", min=1, max=20)]
Full = Annotated[bool, typer.Option("--full", help="Call every diagnostic address too.")]
Quick = Annotated[bool, typer.Option("--quick", help="Only who answers, codes and readiness.")]
Deep = Annotated[bool, typer.Option("--deep", help="Everything a module can say, which takes its time.")]
Protocol = Annotated[
    str | None, typer.Option(help="A fixed protocol, such as can11-500.", show_default=False)
]
Soak = Annotated[
    float | None, typer.Option(help="Hours it has stood, engine off.", min=0, show_default=False)
]
EngineState = Annotated[
    str | None,
    typer.Option("--engine", help="off, cranking or running, where no module can tell.", show_default=False),
]
CorrectVin = Annotated[bool, typer.Option("--correct-vin", help="Replace the VIN the order holds.")]
