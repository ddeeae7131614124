"""`dtctriage decode`: explain anything pasted, without a vehicle."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dtctriage.cli import EXIT_INPUT
from dtctriage.cli.choices import Meanings
from dtctriage.codes.meaning import NO_SHOP, ShopMeanings
from dtctriage.errors import TriageError
from dtctriage.pasted import plain_codes, read


class NothingToDecode(TriageError):
    """Nothing was given on the command line or piped in."""


def decode(
    items: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="ITEM",
            help="Codes, hex bytes with or without header, adapter text, candump lines, a VIN; - for a pipe.",
            show_default=False,
        ),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
    meanings: Meanings = None,
    make: Annotated[
        str | None, typer.Option(help="Which make's own meanings to use.", metavar="NAME")
    ] = None,
    coverage: Annotated[
        bool, typer.Option("--coverage", help="Count the catalogue's codes by range and quality.")
    ] = False,
) -> None:
    """Explain pasted codes, bytes, adapter text or bus logs.

    It says what it took each for and what each byte is. Exit code 2: something was not understood.
    """
    if coverage:
        _show_coverage(as_json)
        return
    shop = _shop(meanings, make)
    text = _text(items or [])
    codes = None if as_json else plain_codes(text)
    found = read(text) if codes is None else []
    if not codes and not found:
        raise _nothing()
    if codes:
        from dtctriage.pasted.code_text import code_lines

        typer.echo("\n".join(line for dtc in codes for line in code_lines(dtc, shop)))
        return
    from dtctriage.pasted.items import NotUnderstood

    if as_json:
        import json

        from dtctriage.pasted.document import document

        typer.echo(json.dumps(document(found, shop), indent=2, ensure_ascii=False))
    else:
        from dtctriage.pasted.show import lines_of

        typer.echo("\n\n".join("\n".join(lines_of(item, shop)) for item in found))
    if any(isinstance(item, NotUnderstood) for item in found):
        raise typer.Exit(EXIT_INPUT)


def _text(items: list[str]) -> str:
    """What was typed, or what a pipe brings where nothing or a dash was.

    An item that was quoted with spaces in it is a line of its own, and so are those beside it.
    """
    text = ("\n" if any(" " in item.strip() for item in items) else " ").join(items)
    if not text or text == "-":
        stdin = typer.get_text_stream("stdin", errors="replace")
        text = "" if stdin is None or stdin.isatty() else stdin.read()
    return text


def _nothing() -> NothingToDecode:
    return NothingToDecode("There is nothing to decode", "Type a code as P0301, or pipe text in.")


def _shop(folder: Path | None, make: str | None) -> ShopMeanings:
    """The shop's own meanings for the make; where no make is named, those of a folder's only table."""
    if folder is None:
        if make is not None:
            raise NothingToDecode(f"There is no folder with meanings for {make}", "Name it with --meanings.")
        return NO_SHOP
    from dtctriage.codes.shop import load_meanings, makes

    if make is None:
        known = makes(folder)
        if len(known) != 1:
            return NO_SHOP
        make = known[0]
    return load_meanings(folder, make)


def _show_coverage(as_json: bool) -> None:
    from dtctriage.codes.coverage import coverage, table

    if as_json:
        import json

        rows = [{"first": r.first, "last": r.last, "total": r.total, **r.by_quality} for r in coverage()]
        typer.echo(json.dumps(rows, indent=2))
        return
    cells = table()
    widths = [max(len(row[column]) for row in cells) for column in range(len(cells[0]))]
    for row in cells:
        numbers = (cell.rjust(width) for cell, width in zip(row[1:], widths[1:], strict=True))
        typer.echo("  ".join([row[0].ljust(widths[0]), *numbers]))
