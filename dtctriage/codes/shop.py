"""A shop's own meanings: one CSV a make, kept in a folder outside the package.

`<make>.csv`, UTF-8, with the columns `code` (P1234, or P1234-11 for one failure type only) and `text`; where
`text` is empty it is composed from `subject`, `place` and `kind`, a key of the table fault_kinds. These three
may also be given beside a text, for what reasons on them. A column `note` is for people.
"""

from __future__ import annotations

import csv
from pathlib import Path

from dtctriage.codes.dtc import CodeError, Dtc
from dtctriage.codes.families import Entry
from dtctriage.codes.meaning import NO_SHOP, Meaning, Origin, ShopMeanings, compose, kinds
from dtctriage.codes.place import parse_place
from dtctriage.errors import text_of

COLUMNS = ("code", "text", "subject", "place", "kind", "note")
QUALITY = "shop"


class ShopTableError(CodeError):
    """A shop's table cannot be used; the message names file and line."""


def makes(folder: Path) -> list[str]:
    """The makes that a folder holds tables of. Raises ShopTableError where there is no such folder."""
    if not folder.is_dir():
        raise ShopTableError(
            f"There is no folder {folder}", "Name the folder that holds one CSV for each make."
        )
    return sorted(path.stem for path in folder.glob("*.csv"))


def load_meanings(folder: Path, make: str) -> dict[Dtc, Meaning]:
    """The meanings that `<folder>/<make>.csv` gives. Case does not matter. Raises ShopTableError."""
    stem = next((name for name in makes(folder) if name.casefold() == make.casefold()), None)
    if stem is None:
        known = ", ".join(makes(folder)) or "none"
        raise ShopTableError(f"{folder} holds no table for {make!r}", f"It has: {known}.")
    return read_meanings(folder / f"{stem}.csv")


def meanings_for(folder: Path | None, named: str | None, vehicle: str = "") -> ShopMeanings:
    """The meanings for the make that was named, else for the vehicle's where the folder has its table.

    Raises ShopTableError where there is no folder or no table for a make that was named.
    """
    if folder is None:
        if named is not None:
            raise ShopTableError(f"There is no folder with meanings for {named}", "Name it with --meanings.")
        return NO_SHOP
    if named is None and vehicle.casefold() not in (make.casefold() for make in makes(folder)):
        return NO_SHOP
    return load_meanings(folder, vehicle if named is None else named)


def read_meanings(path: Path) -> dict[Dtc, Meaning]:
    """The meanings of one table. Raises ShopTableError with file and line."""
    return parse_meanings(text_of(path, ShopTableError, "utf-8-sig"), path)


def parse_meanings(text: str, path: Path) -> dict[Dtc, Meaning]:
    """The meanings that the text of a table holds. Raises ShopTableError with file and line."""
    table = csv.DictReader(text.splitlines(), strict=True)
    try:
        unknown = [name for name in table.fieldnames or () if name not in COLUMNS]
        if unknown or "code" not in (table.fieldnames or ()):
            raise ShopTableError(
                f"{path}, line 1: columns must be among {', '.join(COLUMNS)}", "`code` is needed."
            )
        rows = [(f"{path}, line {table.line_num}", row) for row in table]
    except csv.Error as error:
        raise ShopTableError(f"{path}, line {table.line_num}: {error}", "Save it as CSV again.") from error
    found: dict[Dtc, Meaning] = {}
    for where, row in rows:
        dtc, told = _row({key: (value or "").strip() for key, value in row.items() if key}, path.stem, where)
        if dtc in found:
            raise ShopTableError(f"{where}: {dtc} stands twice", "Keep one of the two lines.")
        found[dtc] = told
    return found


def _row(row: dict[str, str], make: str, where: str) -> tuple[Dtc, Meaning]:
    try:
        dtc = Dtc.parse(row["code"])
    except CodeError as error:
        raise ShopTableError(f"{where}: {error.message}", error.advice) from error
    subject, place, kind = (row.get(column, "") for column in ("subject", "place", "kind"))
    if kind and kind not in kinds():
        raise ShopTableError(f"{where}: {kind!r} is not a fault kind", "See the table fault_kinds.")
    text = row.get("text", "")
    if not all(cell.isprintable() for cell in row.values()):
        raise ShopTableError(f"{where}: a character that cannot be printed", "Take it out.")
    if not text:
        if not subject or not kind:
            raise ShopTableError(f"{where}: {dtc} has no text", "Give a text, or a subject and a kind.")
        text = compose(Entry(subject, place, kind, QUALITY, make))
    try:
        return dtc, Meaning(subject, parse_place(place), kind, text, Origin.SHOP, QUALITY, make)
    except ValueError:
        advice = "Banks and cylinders have numbers: bank 1, cylinder 3."
        raise ShopTableError(f"{where}: {place!r} is no place", advice) from None
