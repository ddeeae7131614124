"""`dtctriage links`: the ways into a vehicle that are installed."""

from __future__ import annotations

import typer


def links() -> None:
    """List the installed links and whether each can be used here."""
    from dtctriage.links import offers

    for offer in offers():
        typer.echo(f"{offer.name + ':':<12} {offer.problem or 'ready'}")
