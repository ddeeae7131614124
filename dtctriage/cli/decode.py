"""`dtctriage decode`."""

from typing import Annotated

import typer


def decode(items: Annotated[list[str], typer.Argument()]) -> None:
    from dtctriage.codes import Dtc, meaning

    for i in items:
        d = Dtc.parse(i)
        typer.echo(f"{d}  {meaning(d).text}")
